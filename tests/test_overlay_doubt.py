"""What people are to look at in a photo stays in view. Oracles: the geometry of the drawn scene, pixels counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sizing.messages.picture_legend import LEGEND
from sizing.pictures.rivals import with_shown_rivals
from tests.test_overlay import overlap, scene
from vision.pictures.doubt import sides_in_doubt, whole_rivals
from vision.pictures.labels import Wanted, placed
from vision.pictures.looks import LOOKS
from vision.pictures.overlay import annotated_photo
from vision.request import Candidate, Warning_


def doubtful(width=2000, height=1500):
    """A scene whose left jamb is traced over a short piece, with another line 30 px inside it."""
    rgb, report, labels = scene(width, height)
    x0, x1, y0, y1 = 0.3 * width, 0.7 * width, 0.2 * height, 0.8 * height
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    piece = np.array([[x0, 0.55 * height], [x0, 0.5 * height]])
    warned = Warning_("edge-hidden", "no line shows the left jamb; it is placed by what lies about it", "left")
    rival = ("left", -30.0, piece + np.array([30.0, 0.0]))
    return (
        rgb,
        replace(
            report,
            corners_px=corners,
            sides_px=dict(report.sides_px) | {"left": piece},
            rivals_px=(rival,),
            warnings=(warned,),
        ),
        {name: (f"{name}|tape 54 3/8 in|photo about 54 3/8 in", kind) for name, (_, kind) in labels.items()},
    )


def boxes_of(monkeypatch, *drawn, **named):
    """Return the boxes of the labels that a picture got, and the picture."""
    seen = []

    def watched(*arguments, **more):
        seen.append(placed(*arguments, **more))
        return seen[-1]

    monkeypatch.setattr("vision.pictures.drawn_labels.placed", watched)
    picture = annotated_photo(*drawn, **named)
    return seen[-1], picture


def test_labels_cover_neither_corners_nor_a_side_in_doubt_nor_its_other_line(monkeypatch):
    rgb, report, labels = doubtful()
    boxes, _ = boxes_of(monkeypatch, rgb, report, labels)
    assert len(boxes) == len(labels) + 1
    for x, y in np.round(report.corners_px).astype(int):
        assert not [b for b in boxes if overlap(b, (x - 20, y - 20, x + 20, y + 20))]
    x0, y0 = report.corners_px[0].astype(int)
    y1 = int(report.corners_px[3, 1])
    assert not [b for b in boxes if overlap(b, (x0 - 2, y0, x0 + 2, y1))]
    assert not [b for b in boxes if overlap(b, (x0 + 28, y0, x0 + 32, y1))]


def test_a_label_covers_a_corner_where_there_is_no_other_place_but_over_a_sheet():
    line = np.array([[100.0, 50.0], [100.0, 150.0]])
    corner, sheet = np.array([[100.0, 150.0]]), (0, 0, 200, 100)
    (box,) = placed([Wanted((120, 40), line)], (200, 180), np.empty((0, 2)), keep_off=[sheet], telling_px=corner)
    assert not overlap(box, sheet)
    (free,) = placed([Wanted((120, 40), line)], (200, 400), np.empty((0, 2)), keep_off=[sheet], telling_px=corner)
    assert not overlap(free, (100, 150, 101, 151))


def test_the_other_line_is_drawn_in_dashes_as_long_as_its_side():
    rgb, report, _ = doubtful()
    (whole,) = whole_rivals(report)
    np.testing.assert_allclose(np.sort(whole[:, 1]), [300.0, 1200.0])
    np.testing.assert_allclose(whole[:, 0], 630.0)
    picture = np.asarray(annotated_photo(rgb, report, {})).astype(int)
    pink = np.abs(picture - LOOKS["rival"].colour).max(axis=2) < 40
    assert pink[:295].sum() == 0
    along = pink[310:1190, 628:633].any(axis=1)
    assert 0.3 < along.mean() < 0.9  # dashed
    assert along[:100].any()
    assert along[-100:].any()
    without = np.asarray(annotated_photo(rgb, replace(report, rivals_px=()), {})).astype(int)
    assert (np.abs(without - LOOKS["rival"].colour).max(axis=2) < 40).sum() == 0


def test_a_side_is_in_doubt_where_a_warning_or_another_line_says_so():
    _, report, _ = doubtful()
    assert sides_in_doubt(report) == {"left"}
    assert sides_in_doubt(replace(report, rivals_px=())) == {"left"}
    assert sides_in_doubt(replace(report, warnings=())) == {"left"}
    other = Warning_("blurred", "the sill is blurred")
    assert sides_in_doubt(replace(report, rivals_px=(), warnings=(other,))) == frozenset()


@pytest.mark.parametrize("size", [(2000, 1500), (900, 1600)])
def test_the_legend_stands_below_the_picture_and_names_what_is_drawn_alone(size):
    rgb, report, labels = doubtful(*size)
    bare = annotated_photo(rgb, report, labels)
    picture = annotated_photo(rgb, report, labels, legend=LEGEND)
    assert picture.width == bare.width
    np.testing.assert_array_equal(np.asarray(picture)[: bare.height], np.asarray(bare))
    strip = np.asarray(picture)[bare.height :].astype(int)
    # white letters have the grey of `face` at their rims
    shown = {kind for kind in LEGEND if kind != "face" and (np.abs(strip - LOOKS[kind].colour).max(axis=2) < 12).any()}
    # the side not seen is of the colour of those that are
    assert shown == {"side", "unseen", "rival", "reference", "agrees", "differs", "unproven", "none"}
    plain = scene(*size)[1]
    some = annotated_photo(rgb, plain, {}, legend=LEGEND)
    fewer = np.asarray(some)[bare.height :].astype(int)
    assert not (np.abs(fewer - LOOKS["rival"].colour).max(axis=2) < 12).any()
    assert np.asarray(annotated_photo(rgb, replace(plain, sides_px={}, references_px=()), {}, legend=LEGEND)).shape == (
        bare.height,
        bare.width,
        3,
    )


def test_other_lines_of_hardly_any_weight_are_not_shown():
    _, report, _ = doubtful()
    nine = np.zeros(9)

    def shown(weight):
        lines = (Candidate("left", 1 - weight, 0.0, nine), Candidate("left", weight, -30.0, nine))
        return len(with_shown_rivals(report, lines).rivals_px)

    assert [shown(0.3), shown(0.021), shown(0.019)] == [1, 1, 0]
    assert with_shown_rivals(report, ()).rivals_px == ()

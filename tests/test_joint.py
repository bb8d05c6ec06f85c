import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.views import BAR, CORNERS, camera_at, laid, paper, photo_of
from vision.depths import EdgeDepths
from vision.joint.measures import depth_warnings, measure_joint
from vision.joint.remedies import joint_remedies
from vision.joint.reports import said_together
from vision.joint.several_photos import measure_together
from vision.joint.solve import join
from vision.measures import measure
from vision.request import PARTS, SIDES, Candidate, CheckBar, OpeningRequest, Quantity, Reference, Warning_
from vision.stations import LaidUnits

A, B = ("sheet A", -850.0, 30.0, 0.01), ("sheet B", 860.0, -40.0, -0.02)
PLACES = (camera_at(-900, -200, 2300), camera_at(1000, 150, 2500), camera_at(50, 400, 2700))
TRUE = np.array([1200.0] * 3 + [900] * 3 + [1500, 1500, 0])
WORDS = {s: s for s in SIDES}


def depths(z=0.0, u=1.0):
    return EdgeDepths(dict.fromkeys(SIDES, z), np.full((4, 4), u**2))


def photos(seed=0, count=2, **given):
    rng = np.random.default_rng(seed)
    return [photo_of(PLACES[i], [A, B], rng, name=Path(f"{i}.jpg"), **given) for i in range(count)]


def u95(measured):
    return 2 * np.sqrt(np.diag(measured.cov_mm2))


def test_two_photos_give_the_true_sizes_within_what_they_claim():
    """Oracle: the scene; print scale, paper, depth of the edges, camera and noise drawn from their priors."""
    ratios = []
    for seed in range(10):
        rng = np.random.default_rng(100 + seed)
        papers = [paper(rng), paper(rng)]
        scene = {"papers": papers, "scale": rng.normal(0, 0.05 / 150), "depth": rng.normal(0, 1.0)}
        seen = [photo_of(c, [A, B], rng, **scene) for c in PLACES[:2]]
        m = measure_joint(join(seen, depths()), seen)
        ratios.append(((m.values_mm - TRUE) / np.sqrt(np.diag(m.cov_mm2)))[:8])
    rms = float(np.sqrt(np.mean(np.square(ratios))))
    assert 0.65 < rms < 1.35


def test_two_places_to_stand_show_how_far_the_trim_stands_out():
    """The depth comes from the views alone: the prior is as good as none."""
    seen = photos(1, 3, depth=-19.0)
    joint = join(seen, depths(-15.0, 10.0))
    z = joint.adjusted.state.sides[:, 2]
    assert z == pytest.approx(np.full(4, -19.0), abs=1.5)


def test_a_wrongly_declared_depth_is_contradicted_with_the_figure_found():
    seen = photos(2, 3, depth=-19.0)
    warned = depth_warnings(join(seen, depths(0.0, 1.0)), depths(0.0, 1.0), WORDS)
    assert {w.code for w in warned} == {"edge-depth-contradicted"}
    assert "not 0 mm as declared" in warned[0].message
    together = measure_together(request(), seen)
    assert together.measured.values_mm[:8] == pytest.approx(TRUE[:8], abs=2)


def test_a_rightly_declared_depth_is_not_contradicted():
    said = [depth_warnings(join(photos(s), depths()), depths(), WORDS) for s in range(3)]
    assert said == [[]] * 3


def test_a_sheet_that_stayed_is_shared_and_one_that_was_moved_is_not():
    rng = np.random.default_rng(3)
    moved = ("sheet B", 868.0, -40.0, -0.02)
    stayed = join([photo_of(PLACES[0], [A, B], rng), photo_of(PLACES[1], [A, B], rng)], depths())
    carried = join([photo_of(PLACES[0], [A, B], rng), photo_of(PLACES[1], [A, moved], rng)], depths())
    assert {pair[0][1] for pair in stayed.shared} == {0, 1}
    assert {pair[0][1] for pair in carried.shared} == {0}


def test_sheets_carried_to_another_place_still_join_by_the_opening():
    rng = np.random.default_rng(4)
    there = [("sheet A", -700.0, 600.0, 0.3), ("sheet B", 500.0, 640.0, 0.1)]
    seen = [photo_of(PLACES[0], [A, B], rng), photo_of(PLACES[1], there, rng)]
    joint = join(seen, depths())
    m = measure_joint(joint, seen)
    assert joint.shared == ()
    assert np.abs(m.values_mm - TRUE)[:8] == pytest.approx(0, abs=3)


def test_the_order_of_photos_does_not_matter():
    seen = photos(5, 3)
    m = [measure_joint(join(order, depths()), order) for order in (seen, seen[::-1])]
    assert m[0].values_mm == pytest.approx(m[1].values_mm, abs=0.1)  # where the iteration stops
    assert u95(m[0]) == pytest.approx(u95(m[1]), rel=0.05)


def test_a_second_photo_never_makes_the_uncertainty_larger():
    rng = np.random.default_rng(6)
    one = [photo_of(PLACES[0], [A], rng), photo_of(PLACES[1], [A], rng)]
    both = measure_joint(join(one, depths()), one)
    for photo in one:
        camera, parts = photo.solved.adjusted.state.camera, photo.solved.adjusted.parts
        alone = measure(camera, parts, photo.sides, np.ones((4, 4)))
        assert (u95(both)[:8] < u95(alone)[:8]).all()


def test_ends_of_a_wide_opening_are_joined_by_a_sheet_seen_in_both():
    """One photo shows head, sill and left jamb, the other the right jamb: no corner is common."""
    rng = np.random.default_rng(7)
    middle = ("sheet C", 0.0, 620.0, 0.0)
    left = photo_of(PLACES[0], [middle, A], rng, sides=("head", "sill", "left"))
    right = photo_of(PLACES[1], [middle, B], rng, sides=("head", "sill", "right"))
    hide = lambda p, gone: type(p)(**{f: getattr(p, f) for f in p.__slots__} | {"corners_px": gone})  # noqa: E731
    a, b = left.corners_px.copy(), right.corners_px.copy()
    a[[1, 2]], b[[0, 3]] = np.nan, np.nan
    seen = [hide(left, a), hide(right, b)]
    joint = join(seen, depths())
    m = measure_joint(joint, seen)
    assert np.abs(m.values_mm - TRUE)[:8] == pytest.approx(0, abs=4)


def test_ends_whose_only_sheet_was_moved_between_them_are_not_joined():
    """Head and sill tell how high both photos lie, and nothing how far apart: the width could be anything."""
    rng = np.random.default_rng(7)
    ends = []
    for place, sheet, gone in ((0, ("sheet C", 0.0, 620.0, 0.0), "right"), (1, ("sheet C", 25.0, 635.0, 0.0), "left")):
        photo = photo_of(PLACES[place], [sheet], rng, sides=tuple(s for s in SIDES if s != gone))
        corners = photo.corners_px.copy()
        corners[[1, 2] if gone == "right" else [0, 3]] = np.nan
        ends.append(replace(photo, corners_px=corners))
    assert join(ends, depths()) is None


def test_a_photo_that_hangs_on_one_which_itself_hangs_on_nothing_is_not_joined_either():
    """Nothing tells how high the second lies; without it nothing tells how far aside the third does."""
    rng = np.random.default_rng(7)
    shown = (
        (("right", "sill", "head"), 0.0, 620.0),
        (("left", "right"), 25.0, 635.0),
        (("left", "sill", "head"), -15.0, 600.0),
    )
    parts = [
        replace(photo_of(PLACES[k], [("sheet C", x, y, 0.0)], rng, sides=sides), corners_px=np.full((4, 2), np.nan))
        for k, (sides, x, y) in enumerate(shown)
    ]
    assert join(parts, depths()) is None


def test_a_photo_that_shows_no_side_is_held_by_its_sheet_and_leaves_the_sizes_as_they_are():
    rng = np.random.default_rng(7)
    bare = replace(photo_of(PLACES[2], [A], rng, sides=()), corners_px=np.full((4, 2), np.nan))
    seen = photos()
    found = [measure_joint(join(some, depths()), some) for some in (seen, [*seen, bare])]
    assert found[1].values_mm == pytest.approx(found[0].values_mm, abs=0.5 * u95(found[0]).min())


def request():
    return OpeningRequest((), "panel", edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 1.0)))


def test_a_photo_of_another_opening_is_left_out_and_named():
    rng = np.random.default_rng(8)
    other = CORNERS + np.array([[-25.0, 0], [25, 0], [25, 0], [-25, 0]])
    seen = [*photos(8, 2), photo_of(PLACES[2], [A, B], rng, name=Path("other.jpg"), corners=other)]
    together = measure_together(request(), seen)
    assert together.used == (0, 1)
    assert [w.code for w in together.warnings] == ["photos-disagree"]
    assert "other.jpg" in together.warnings[0].message


def test_two_photos_that_contradict_each_other_give_nothing_together():
    rng = np.random.default_rng(9)
    other = CORNERS + np.array([[-25.0, 0], [25, 0], [25, 0], [-25, 0]])
    assert measure_together(request(), [*photos(9, 1), photo_of(PLACES[1], [A, B], rng, corners=other)]) is None


def test_a_rival_line_that_lies_deeper_is_ruled_out_by_a_second_view():
    """The frame, 100 mm behind the arris: from the left it shows 14 mm off the arris, from the right elsewhere."""
    from dataclasses import replace

    seen = photos(10, 2)
    listed = {"left": ((0.6, 0.0, ""), (0.39, 14.0, "outside"))}
    seen = [replace(seen[0], listed=listed), seen[1]]
    together = measure_together(request(), seen)
    rivals = [c for c in together.candidates if c.side == "left"]
    assert isinstance(rivals[0], Candidate)
    assert rivals[0].weight > 0.95


def test_the_line_that_fits_the_other_view_is_taken_though_it_was_the_weaker():
    from dataclasses import replace

    rng = np.random.default_rng(11)
    off = CORNERS + np.array([[14.0, 0], [0, 0], [0, 0], [14, 0]])  # its left jamb was traced 14 mm inside
    wrong = photo_of(PLACES[0], [A, B], rng, corners=off)
    wrong = replace(wrong, listed={"left": ((0.7, 0.0, ""), (0.29, 14.0, "outside"))})
    together = measure_together(request(), [wrong, photo_of(PLACES[1], [A, B], rng)])
    assert together.measured.values_mm[:3] == pytest.approx(TRUE[:3], abs=2)


def test_a_page_keeps_its_own_size_beside_a_rectangle_of_another_kind():
    """Oracle: the scene, where the page was cut 0.4 % short and the rectangle has its size to 0.02 mm."""
    rng = np.random.default_rng(13)
    page = Reference("given", 216.0, 280.0, (1.5, 1.5))
    exact = Reference("given", 216.0, 280.0, (0.02, 0.02))
    seen = [
        photo_of(PLACES[0], [("page 1", -850.0, 30.0, 0.01)], rng, reference=page, scale=-0.004, name=Path("a.jpg")),
        photo_of(PLACES[1], [("page 1", 860.0, -40.0, 0.0)], rng, reference=exact, name=Path("b.jpg")),
    ]
    m = [measure_joint(join(order, depths()), order) for order in (seen, seen[::-1])]
    assert (np.abs(m[0].values_mm - TRUE)[:8] < u95(m[0])[:8]).all()
    assert u95(m[1])[:8] == pytest.approx(u95(m[0])[:8], rel=0.05)


def left_weights(seen):
    return [c.weight for c in measure_together(request(), seen).candidates if c.side == "left"]


@pytest.mark.parametrize("weight", [0.49, 0.8])
def test_what_the_photos_left_unexplained_stays_with_another_line_when_they_are_joined(weight):
    """Bound: each photo alone; both show one scene, so neither knows more of the line than the other."""
    listed = {"left": ((weight, 0.0, "as pointed at, no edge seen"),)}
    seen = [replace(p, listed=listed) for p in photos(10, 2)]
    assert left_weights(seen) == pytest.approx([weight], abs=1e-6)


def test_doubt_about_a_line_stays_though_a_rival_is_ruled_out():
    """Bound: of what a trace gave its line and 'another line' the rival's share is none."""
    listed = {"left": ((0.5, 0.0, ""), (0.3, 14.0, "outside"))}
    seen = [replace(photos(10, 2)[0], listed=listed), replace(photos(10, 2)[1], listed={"left": ((0.8, 0.0, ""),)})]
    assert left_weights(seen)[0] == pytest.approx(0.4**0.5 / (0.4**0.5 + 0.2), abs=0.01)


def test_a_line_that_every_trace_believes_keeps_one_per_cent_for_another():
    """Source: contract, Decision: no side gives less than 1 % to 'another line'."""
    seen = [replace(p, listed={"left": ((1.0, 0.0, ""),)}) for p in photos(10, 2)]
    assert left_weights(seen) == pytest.approx([0.99])


def test_a_rival_that_all_of_nine_photos_show_is_tried():
    """Oracle: a rival that lies where the line does, seen from nine places, is as likely as each photo says."""
    rng = np.random.default_rng(12)
    places = [camera_at(x, y, 2500) for x in (-900, 0, 900) for y in (-300, 0, 300)]
    listed = {"left": ((0.69, 0.0, ""), (0.3, 6.0, "outside"))}
    seen = [replace(photo_of(c, [A, B], rng, name=Path(f"{i}.jpg")), listed=listed) for i, c in enumerate(places)]
    assert left_weights(seen) == pytest.approx([0.69, 0.3], abs=0.01)


def test_bricks_seen_along_the_old_line_say_nothing_of_the_line_that_is_taken():
    """Bound: the same photo without bricks; those of the line 14 mm further in stand 5 mm out of it."""
    rng = np.random.default_rng(11)
    off = CORNERS + np.array([[14.0, 0], [0, 0], [0, 0], [14, 0]])
    wrong = photo_of(PLACES[0], [A, B], rng, corners=off, u_side_mm=0.2)  # its left jamb is the one first looked at
    wrong = replace(wrong, listed={"left": ((0.7, 0.0, ""), (0.29, 14.0, "outside"))})
    bricks = LaidUnits(np.array([[0.0, 1000.0]]), np.array([5.0]), np.array([0.3]))
    laid = replace(wrong, sides={**wrong.sides, "left": replace(wrong.sides["left"], units=bricks)})
    other = photo_of(PLACES[1], [A, B], rng)
    with_them, without = (measure_together(request(), [p, other]).measured for p in (laid, wrong))
    assert with_them.values_mm == pytest.approx(without.values_mm, abs=1e-6)


def part(measured, name):
    return measured.budget_mm[1, PARTS.index(name)]


@pytest.mark.parametrize("count", [2, 4])
def test_what_all_photos_see_alike_does_not_average_out(count):
    """Bound: the photo alone. One arris, one row of bricks beside it and one wall: seen again they are no surer."""
    rng = np.random.default_rng(14)
    one = photo_of(PLACES[0], [A], rng, u_choice_mm=0.4, courses=laid(rng))
    alone = measure(one.solved.adjusted.state.camera, one.solved.adjusted.parts, one.sides, np.ones((4, 4)))
    joined = measure_joint(join([one] * count, depths()), [one] * count)
    assert part(joined, "edge_choice") == pytest.approx(part(alone, "edge_choice"), rel=0.02)
    assert part(joined, "edge_trace") > 0.7 * part(alone, "edge_trace")
    assert part(joined, "camera") > 0.95 * part(alone, "camera")


def test_three_photos_of_one_wall_are_as_true_as_they_claim():
    """Oracle: the scene. Bricks laid out of true, and an arris that shows beside its line, are one for all."""
    ratios = []
    for seed in range(12):
        rng = np.random.default_rng(200 + seed)
        out, wall = rng.normal(0, 1.0, 4), laid(rng)
        shown = CORNERS + np.array([[-out[3], -out[0]], [out[1], -out[0]], [out[1], out[2]], [-out[3], out[2]]])
        scene = {"papers": [paper(rng), paper(rng)], "depth": rng.normal(0, 1.0), "corners": shown, "courses": wall}
        seen = [photo_of(c, [A, B], rng, **scene, u_side_mm=0.1, u_choice_mm=1.0) for c in PLACES]
        m = measure_joint(join(seen, depths()), seen)
        ratios.append(((m.values_mm - TRUE) / np.sqrt(np.diag(m.cov_mm2)))[:8])
    assert 0.7 < float(np.sqrt(np.mean(np.square(ratios)))) < 1.25


def said_of(seen, asked):
    """Return what is said of photos and of all together, where each alone had the warnings of a weak single view."""
    own = tuple(Warning_(code, code) for code in ("one-reference", "edge-depth-assumed", "blurred"))
    seen = [replace(p, report=replace(p.report, warnings=own)) for p in seen]
    alone = replace(seen[0].report, warnings=(*own, Warning_("weak-geometry", "known to 16 mm at best")))
    together = measure_together(asked, seen)
    reports, more = said_together(asked, seen, together, dict.fromkeys(range(len(seen)), alone))
    return together, reports, more


def test_photos_that_are_sure_together_are_not_called_weak_each_alone():
    """Oracle: contract, *Result*: `weak-geometry` is U95 above the tolerance, and that is of the opening's measures."""
    seen = photos(1, 2, depth=-19.0)
    asked = OpeningRequest((), "panel", edge_offset=dict.fromkeys(SIDES, Quantity(19.0, 1.0)))
    together, reports, more = said_of(seen, asked)
    U95 = u95(together.measured)[:6].max()
    assert U95 < 6.35
    assert more == []
    for report in reports.values():
        assert [w.code for w in report.warnings] == ["edge-depth-assumed", "blurred"]
        assert f"{U95:.1f} mm" in report.warnings[1].message


def test_a_depth_that_was_assumed_and_is_seen_elsewhere_is_said_once():
    """Oracle: the scene: all edges 19 mm in front of a wall on which 0 +- 2 mm is assumed. Found: said five times."""
    together, reports, more = said_of(photos(1, 3, depth=-19.0), OpeningRequest((), "masonry"))
    assert {w.side for w in together.warnings if w.code == "edge-depth-contradicted"} == set(SIDES)
    assert [w.code for w in more] == ["edge-depth-assumed"]
    assert all(w.code == "blurred" for report in reports.values() for w in report.warnings)


def test_where_the_views_show_how_far_the_trim_stands_out_nothing_is_said_to_be_assumed():
    """Oracle: the scene, whose trim stands 19 mm out where 15 +- 10 mm would be assumed."""
    _, reports, more = said_of(photos(1, 3, depth=-19.0), OpeningRequest((), "siding"))
    assert [w.code for w in more] == ["edge-depth-assumed"]
    found = [int(v) for v in re.findall(r"(\d+) mm \+-", more[0].message)]
    assert found == pytest.approx([19] * 4, abs=2)
    assert all(w.code == "blurred" for report in reports.values() for w in report.warnings)


@pytest.mark.parametrize("action", ["give-edge-offset", "measure-bars"])
def test_what_is_said_to_help_several_photos_helps_them_as_much(action):
    """Oracle: the same photos joined with the offset given to 1 mm, or bars written to a tenth of a millimetre."""
    u_mm = 0.1 / 12**0.5
    bars = CheckBar(Quantity(150.0, u_mm), Quantity(200.0, u_mm))
    seen, known = photos(5, 2, depth=-19.0, bar=CheckBar()), photos(5, 2, depth=-19.0, bar=bars)
    asked = OpeningRequest((), "siding")
    offered = {r.action: r for r in joint_remedies(asked, measure_together(asked, seen))}
    assert set(offered) == {"give-edge-offset", "measure-bars"}
    told = replace(asked, edge_offset=dict.fromkeys(SIDES, Quantity(19.0, 1.0)))
    real = measure_together(told, seen) if action == "give-edge-offset" else measure_together(asked, known)
    said = np.sqrt(np.diag(offered[action].cov_mm2))[:8]
    assert said == pytest.approx(np.sqrt(np.diag(real.measured.cov_mm2))[:8], rel=0.05)


def test_sides_not_given_are_asked_for_though_the_sill_was():
    """Oracle: the same photos joined with the rest given to 1 mm too."""
    sill, seen = {"sill": Quantity(19.0, 1.0)}, photos(5, 2, depth=-19.0)
    asked = OpeningRequest((), "siding", check_bar=BAR, edge_offset=sill)
    (offered,) = joint_remedies(asked, measure_together(asked, seen))
    told = replace(asked, edge_offset=dict.fromkeys(SIDES, Quantity(19.0, 1.0)) | {"head": Quantity(19.01, 1.0)})
    real = measure_together(told, seen).measured.cov_mm2
    assert offered.action == "give-edge-offset"
    assert np.sqrt(np.diag(offered.cov_mm2))[:8] == pytest.approx(np.sqrt(np.diag(real))[:8], rel=0.05)


def test_the_views_tell_how_far_the_sides_not_given_stand_out():
    """Oracle: the scene, whose edges stand 19 mm out, as was said of the sill alone."""
    asked = OpeningRequest((), "siding", edge_offset={"sill": Quantity(19.0, 1.0)})
    _, _, more = said_of(photos(1, 3, depth=-19.0), asked)
    (said,) = (w.message for w in more)
    assert "sill" not in said
    assert [int(v) for v in re.findall(r"(\d+) mm \+-", said)] == pytest.approx([19] * 3, abs=2)


def test_what_was_given_is_not_asked_for_again():
    asked = OpeningRequest((), "panel", check_bar=BAR, edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 1.0)))
    seen = photos(5, 2)
    assert joint_remedies(asked, measure_together(asked, seen)) == ()

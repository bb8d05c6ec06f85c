"""Pictures for people: oracles are the geometry of the drawn scene and what Pillow reads of written files."""

from __future__ import annotations

import itertools
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

from vision.pictures.labels import Wanted, leader, placed
from vision.pictures.looks import LOOKS
from vision.pictures.overlay import annotated_photo
from vision.pictures.rectified import rectified_view
from vision.pictures.saving import save_picture
from vision.request import PhotoReport

KINDS = ("agrees", "differs", "unproven", "none")


def overlap(a, b):
    """Return whether two boxes (x0, y0, x1, y1) px share more than a border."""
    return max(a[0], b[0]) < min(a[2], b[2]) and max(a[1], b[1]) < min(a[3], b[3])


def scene(width: int, height: int) -> tuple[np.ndarray, PhotoReport, dict[str, tuple[str, str]]]:
    rgb = np.full((height, width, 3), 120, np.uint8)
    x0, x1, y0, y1 = 0.3 * width, 0.7 * width, 0.2 * height, 0.8 * height
    stations = {}
    for name, part in (("top", 0.05), ("middle", 0.5), ("bottom", 0.95)):
        y = y0 + part * (y1 - y0)
        stations[f"width_{name}"] = np.array([[x0, y], [x1, y]])
    for name, part in (("left", 0.05), ("middle", 0.5), ("right", 0.95)):
        x = x0 + part * (x1 - x0)
        stations[f"height_{name}"] = np.array([[x, y0], [x, y1]])
    stations["diagonal_down"] = np.array([[x0, y0], [x1, y1]])
    stations["diagonal_up"] = np.array([[x0, y1], [x1, y0]])
    sides = {
        "head": np.array([[x0, y0], [x1, y0]]),
        "right": np.array([[x1, y0], [x1, y1]]),
        "sill": np.array([[x1, y1], [x0, y1]]),
        "left": np.array([[x0, y1], [x0, np.nan], [x0, y0]]),
    }
    sheet = np.array([[0.1, 0.4], [0.2, 0.4], [0.2, 0.6], [0.1, 0.6]]) * [width, height]
    report = PhotoReport(
        Path("w.jpg"),
        "",
        (width, height),
        None,
        sides,
        stations,
        (("sheet A", sheet), ("sheet B", np.empty((0, 2)))),
    )
    names = [*stations, "out_of_square"]
    labels = {n: (f"tape 54 3/8 | photo 54 3/8 ± {i}/16", KINDS[i % 4]) for i, n in enumerate(names)}
    return rgb, report, labels


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((4032, 3024), (2400, 1800)),
        ((3024, 4032), (1800, 2400)),
        ((640, 480), (1600, 1200)),
        ((2000, 900), (2000, 900)),
    ],
)
def test_the_annotated_photo_is_1600_to_2400_px_long(size, expected):
    rgb, report, labels = scene(*size)
    before = rgb.copy()
    picture = annotated_photo(rgb, report, labels)
    assert (picture.size, picture.mode) == (expected, "RGB")
    np.testing.assert_array_equal(rgb, before)


def test_lines_are_drawn_where_the_report_has_them_in_the_colour_of_their_kind():
    rgb, report, labels = scene(2000, 1500)
    picture = np.asarray(annotated_photo(rgb, report, {n: ("", kind) for n, (_, kind) in labels.items()}))
    # a solid line in `agrees` at 5 % below the head, one eighth from its left end, clear of every other line
    line = report.stations_px["width_top"]
    x, y = line[0] + (line[1] - line[0]) / 8
    np.testing.assert_allclose(picture[round(y), round(x)], LOOKS["agrees"].colour, atol=12)
    assert tuple(picture[round(y) - 20, round(x)]) == (120, 120, 120)


def test_the_four_kinds_differ_without_colour_in_dashes_or_mark():
    signs = {(LOOKS[k].dashes, LOOKS[k].mark) for k in KINDS}
    assert len(signs) == 4
    rgb, report, _ = scene(2000, 1500)
    # grey values along one line differ in their rhythm: count dark-light changes
    rhythm = []
    for kind in KINDS:
        picture = annotated_photo(rgb, report, {"width_middle": ("", kind)}).convert("L")
        (x0, y), (x1, _) = report.stations_px["width_middle"]
        row = np.asarray(picture)[round(y), round(x0) + 30 : round(x1) - 30].astype(int)
        rhythm.append(int((np.abs(np.diff(row)) > 30).sum()))
    assert len(set(rhythm)) == 4
    assert rhythm[0] == 0  # what agrees is solid


@pytest.mark.parametrize("size", [(640, 480), (3024, 4032), (3000, 600), (1000, 1000)])
def test_labels_never_overlap_each_other_nor_a_sheet(size, monkeypatch):
    seen = []

    def watched(*arguments: object, **named: object) -> object:
        seen.append((placed(*arguments, **named), named["keep_off"]))
        return seen[-1][0]

    monkeypatch.setattr("vision.pictures.drawn_labels.placed", watched)
    rgb, report, labels = scene(*size)
    picture = annotated_photo(rgb, report, labels)
    boxes, sheets = seen[-1]
    assert len(sheets) == 1
    assert not any(overlap(b, sheets[0]) for b in boxes)
    assert len(boxes) == len(labels) + 1  # all of them, and the one sheet that was found
    assert not any(overlap(a, b) for a, b in itertools.combinations(boxes, 2))
    assert all(0 <= b[0] < b[2] <= picture.width and 0 <= b[1] < b[3] <= picture.height for b in boxes)


def test_a_label_covers_a_sheet_only_where_there_is_no_other_place():
    line = np.array([[100.0, 50.0], [100.0, 150.0]])
    wanted, sheet = [Wanted((80, 30), line)], (50, 0, 150, 200)
    free = placed(wanted, (400, 200), np.empty((0, 2)), keep_off=[sheet])
    assert not overlap(free[0], sheet)
    assert len(placed(wanted, (150, 200), np.empty((0, 2)), keep_off=[(0, 0, 150, 200)])) == 1


def test_the_leader_of_a_label_goes_through_no_other_label():
    """Two labels of one short line: the second one's place right behind the first would be nearer."""
    short = np.array([[200.0, 100.0], [200.0, 101.0]])
    first, second = placed([Wanted((120, 90), short), Wanted((120, 90), short)], (400, 600), np.empty((0, 2)))
    (x0, y0), (x1, y1) = leader(short, second, 8)
    inside = [
        first[0] <= x0 + t * (x1 - x0) < first[2] and first[1] <= y0 + t * (y1 - y0) < first[3] for t in (0.1, 0.5, 0.9)
    ]
    assert not any(inside) or overlap(first, (200, 100, 201, 102))


def test_labels_that_cannot_fit_are_said_not_to_fit():
    line = np.array([[0.0, 0.0], [100.0, 0.0]])
    assert placed([Wanted((80, 60), line)] * 2, (100, 100), np.empty((0, 2))) is None
    assert len(placed([Wanted((80, 30), line)] * 2, (100, 100), np.empty((0, 2)))) == 2


def test_a_report_without_anything_gives_the_photo_as_it_was():
    rgb = np.random.default_rng(1).integers(0, 255, (1500, 2000, 3), dtype=np.uint8)
    report = PhotoReport(Path("w.jpg"), "", (2000, 1500))
    np.testing.assert_array_equal(np.asarray(annotated_photo(rgb, report, {})), rgb)


def view_of_squares() -> tuple[np.ndarray, np.ndarray]:
    """A wall with black 100 mm squares, seen askew; the wall-to-photo homography is OpenCV's."""
    wall = np.array([[0, 0], [1000, 0], [1000, 800], [0, 800]], np.float32)
    photo = np.array([[300, 260], [1500, 180], [1420, 1180], [360, 1100]], np.float32)
    flat = np.full((800, 1000, 3), 230, np.uint8)
    flat[100:200, 100:200] = flat[600:700, 800:900] = 10
    # the pixel [r, c] of the flat picture covers the wall from (c, r) to (c + 1, r + 1)
    H = cv2.getPerspectiveTransform(wall, photo)
    to_pixel = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    return cv2.warpPerspective(flat, H @ to_pixel, (1800, 1400), flags=cv2.INTER_LINEAR), H


@pytest.mark.parametrize("mm_per_px", [None, 0.8, 2.5])
def test_the_rectified_view_is_true_to_scale(mm_per_px):
    rgb, H = view_of_squares()

    def to_photo(points: np.ndarray) -> np.ndarray:
        q = np.column_stack([points, np.ones(len(points))]) @ H.T
        return q[:, :2] / q[:, 2:]

    picture = rectified_view(rgb, to_photo, (50, 50, 950, 750), mm_per_px)
    pitch, origin = picture.info["mm_per_px"], np.array(picture.info["origin_mm"])
    if mm_per_px is not None:
        assert pitch == mm_per_px
    grey = np.asarray(picture.convert("L")).astype(float)
    for x0, y0 in ((100, 100), (800, 600)):
        left, top = np.round((np.array([x0, y0]) - 40 - origin) / pitch).astype(int)
        side = round(180 / pitch)
        dark = (230 - grey[top : top + side, left : left + side]) / 220
        ys, xs = np.mgrid[top : top + side, left : left + side]
        centre = origin + pitch * np.array([(dark * xs).sum(), (dark * ys).sum()]) / dark.sum()
        # common practice, no source: a twentieth of a pixel of a smooth picture
        np.testing.assert_allclose(centre, [x0 + 50, y0 + 50], atol=0.15)
        assert np.sqrt(dark.sum()) * pitch == pytest.approx(100, abs=0.5)


def test_the_bars_of_the_rectified_view_have_the_lengths_that_they_say():
    rgb = np.full((1000, 1000, 3), 90, np.uint8)
    picture = rectified_view(rgb, lambda mm: mm * 0.8, (100, 100, 1100, 1100), 1.25)
    # 880 px of wall: the longest bars within 0.6 of it are 500 mm = 400 px and 24 in = 609.6 mm = 487.7 px
    strip = np.asarray(picture.convert("L"))[880:]
    runs = []
    for row in strip:
        dark = np.flatnonzero(row < 60)
        if dark.size > 300:  # the outline of a bar
            runs.append(int(dark[-1] - dark[0]))
    assert {r for r in runs if abs(r - 400) <= 1}
    assert {r for r in runs if abs(r - 487.7) <= 1}


def test_the_rectified_view_has_at_most_12_mp_and_places_behind_the_camera_stay_empty():
    rgb = np.full((1000, 1000, 3), 90, np.uint8)

    def to_photo(mm: np.ndarray) -> np.ndarray:
        return np.where(mm[:, :1] > 4000, np.nan, mm / 5)

    picture = rectified_view(rgb, to_photo, (0, 0, 5000, 4000), 0.1)
    assert 10e6 < picture.width * picture.height <= 12e6
    at = (np.array([4500, 2000]) - picture.info["origin_mm"]) / picture.info["mm_per_px"]
    assert picture.getpixel((int(at[0]), int(at[1]))) == (238, 238, 238)


@pytest.mark.parametrize(("extent", "pitch"), [((0, 0, 0, 10), None), ((0, 0, np.inf, 9), None), ((0, 0, 9, 9), -1.0)])
def test_an_empty_extent_or_scale_is_wrong_use(extent, pitch):
    with pytest.raises(ValueError, match="must be"):
        rectified_view(np.zeros((10, 10, 3), np.uint8), lambda mm: mm, extent, pitch)


@pytest.mark.parametrize("name", ["p.jpg", "p.png", "p.webp"])
def test_written_pictures_carry_no_exif_and_no_comment(tmp_path, name):
    image = Image.new("RGB", (640, 480), (10, 200, 30))
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "Maker"
    image.info.update(exif=exif.tobytes(), comment=b"secret", icc_profile=b"x" * 200, dpi=(300, 300))
    save_picture(image, tmp_path / name)
    with Image.open(tmp_path / name) as written:
        assert (dict(written.getexif()), written.size) == ({}, (640, 480))
        assert not {"exif", "comment", "icc_profile"} & set(written.info)
    assert b"secret" not in (tmp_path / name).read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_a_picture_that_cannot_be_written_leaves_the_old_one_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "p.jpg"
    save_picture(Image.new("RGB", (640, 480)), path)
    before = path.read_bytes()

    def full_disk(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full_disk)
    with pytest.raises(OSError, match="space"):
        save_picture(Image.new("RGB", (640, 480), (255, 0, 0)), path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["p.jpg"]
    with pytest.raises(OSError, match="No such file"):
        save_picture(Image.new("RGB", (640, 480)), tmp_path / "none" / "p.jpg")


def test_other_outlines_are_drawn_faintly_where_they_lie():
    rgb = np.full((1200, 1600, 3), 120, np.uint8)
    line = np.array([[200.0, 300.0], [1400.0, 300.0]])
    report = PhotoReport(Path("w.jpg"), "", (1600, 1200), faces_px=(("frame", {"head": line}),))
    changed = np.abs(np.asarray(annotated_photo(rgb, report, {})).astype(int) - 120).max(axis=2) > 20
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    assert rows.min() >= 296
    assert rows.max() <= 304
    assert columns.min() < 205
    assert columns.max() > 1390
    assert changed[300].mean() < 0.5  # dots, not a line

"""What makes a photo worse is found, loosens what is assumed of it, and is said; sound photos stay without a word."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from fixtures.calibration import make
from fixtures.renderer.camera import Camera, film_focal_px, pose
from fixtures.renderer.exif import exif_block
from fixtures.renderer.render import render
from fixtures.renderer.scene import Opening, Scene, Sheet, Wall, smooth_sides
from tests.drawing import mapped, picture, view
from tests.one_alone import measured_alone
from vision.camera import Camera as Solved
from vision.measured_photo import PhotoMeasured
from vision.page_sides.traced import trace_quad
from vision.photo.exif import ExifFacts, focal_prior, read_exif
from vision.priors import camera_prior
from vision.quality.doubts import BLUR_PX, file_doubts, slant_doubts, solved_doubts
from vision.quality.edge_blur import PrintedBlur, page_blur, pattern_agreement, printed_blur, sheets_white, too_smeared
from vision.quality.effects import with_effects
from vision.request import (
    NINE,
    PARTS,
    CheckBar,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Quantity,
    Reference,
    Warning_,
)
from vision.sheets.markers import find_sheets
from vision.solving.solve import solve_sheets

FULL = (4032, 3024)
EXIF = ExifFacts(make="Example", model="Example Phone", focal_mm=4.26, focal35_mm=26.0, coded_px=FULL)
PRIOR = camera_prior(3000.0, 0.03, FULL, known=True)
PATTERN = np.array([[0, 0], [180, 0], [180, 240], [0, 240.0]])


def codes(doubts):
    return [w.code for w in doubts.warnings]


@pytest.mark.parametrize("size", [(4032, 3024), (3024, 4032), (4032, 2268), (3000, 2000), (3024, 3024), (1600, 1200)])
def test_sizes_that_cameras_write_raise_no_doubt(size):
    doubts = file_doubts(replace(EXIF, coded_px=size), size, PRIOR)
    assert codes(doubts) == []
    assert doubts.prior == PRIOR


@pytest.mark.parametrize(
    ("exif", "size"),
    [
        (EXIF, (3600, 3024)),  # another shape than the camera wrote
        (replace(EXIF, coded_px=(3601, 2700)), (3601, 2700)),  # a size that no camera writes
        (ExifFacts(), (3600, 3100)),  # a shape that no camera writes, Exif gone
    ],
)
def test_a_cut_picture_loosens_the_optical_centre(exif, size):
    doubts = file_doubts(exif, size, PRIOR)
    assert codes(doubts) == ["cropped"]
    assert doubts.prior.u_centre_px > 3 * PRIOR.u_centre_px


def test_a_messenger_that_only_makes_the_picture_smaller_is_no_cut():
    assert codes(file_doubts(ExifFacts(), (1600, 1200), PRIOR)) == []


def test_a_cut_with_the_whole_size_in_exif_spans_both_focal_lengths():
    size = (3024, 3024)
    doubts = file_doubts(EXIF, size, camera_prior(1.0, 0.03, size, known=True))
    kept = np.hypot(*FULL) / np.hypot(*size)  # cut only: the focal length in px of the whole picture
    low, high = (doubts.prior.focal_px * np.exp(s * 2 * doubts.prior.u_log_focal) for s in (-1, 1))
    assert low < 1.0 < kept < high


def test_digital_zoom_is_said():
    assert codes(file_doubts(replace(EXIF, digital_zoom=2.0), FULL, PRIOR)) == ["digital-zoom"]


def test_a_panorama_is_refused():
    assert file_doubts(replace(EXIF, panorama=True), FULL, PRIOR).refused.code == "not-one-view"


def test_a_picture_of_a_panorama_s_shape_is_doubted():
    assert codes(file_doubts(ExifFacts(), (8000, 2200), PRIOR)) == ["not-one-view", "cropped"]


def test_the_mark_of_a_photo_sphere_is_read(tmp_path):
    path = tmp_path / "p.jpg"
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a GPano:ProjectionType="equirectangular"/></x:xmpmeta>'
    Image.fromarray(np.zeros((60, 80, 3), np.uint8)).save(path, xmp=xmp)
    with Image.open(path) as image:
        assert read_exif(image, 1)[0].panorama


@pytest.mark.parametrize("rule", [1.0, np.hypot(16, 9) / np.hypot(16, 12)])
def test_a_picture_cut_to_16_9_spans_both_meanings_of_its_35_mm_equivalent(rule):
    whole = focal_prior(ExifFacts(focal35_mm=26.0), (4032, 3024))
    cut = focal_prior(ExifFacts(focal35_mm=26.0), (4032, 2268))
    assert abs(np.log(cut.focal_px / (whole.focal_px * rule))) < 2 * cut.u_log


def solved(grey):
    h, w = grey.shape
    prior = camera_prior(1100.0, 0.03, (w, h), known=True)
    return solve_sheets(grey, find_sheets(grey), prior, CheckBar(), "panel")


@pytest.mark.parametrize("psf", [0.7, 1.2, 1.8])
def test_the_spread_of_printed_edges_is_that_of_the_blur(psf):
    grey = picture([(0, view((400, 320), 2.0, 8.0))], psf=psf)
    s = solved(grey)
    blur = printed_blur(grey, s.blocks, s.outlines_px)
    # a pixel's own square adds a variance of 1/12, interpolation between pixels about 1/6
    assert blur.spread_px == pytest.approx((np.sqrt(psf**2 + 1 / 4),) * 2, abs=0.15)


def test_a_camera_that_moved_blurs_one_direction():
    grey = cv2.blur(picture([(0, view((400, 320), 2.0))]), (6, 1))
    s = solved(grey)
    across, along = printed_blur(grey, s.blocks, s.outlines_px).spread_px
    assert across > 1.5 * along
    found = doubts(blur=PrintedBlur((across, along), 4.0, 0.8, 0.01))
    assert [w.code for w in found] == ["blurred"]
    assert "moved" in found[0].message


@pytest.mark.parametrize(("motion", "said"), [(0, False), (9, True)])
def test_a_page_in_a_photo_that_moved_is_called_blurred(motion, said):
    page = np.full((300, 300, 3), 90, np.uint8)
    page[60:240, 80:220] = 215
    kernel = np.full((1, max(motion, 1)), 1 / max(motion, 1))
    page = cv2.GaussianBlur(cv2.filter2D(page, -1, kernel), (0, 0), 0.8)
    quad = np.array([[79.5, 59.5], [219.5, 59.5], [219.5, 239.5], [79.5, 239.5]])
    traced = trace_quad(page, quad + 1.0, 4, (0.08, 0.08))
    blur = page_blur(cv2.cvtColor(page, cv2.COLOR_RGB2GRAY), [traced, None], BLUR_PX, paper=True)
    lens = Solved(np.eye(3), np.array([0, 0, 2000.0]), 1500.0, 999.5, 749.5)
    prior = camera_prior(1500.0, 0.03, (2000, 1500), known=True)
    words = solved_doubts(lens, prior, ExifFacts(), (2000, 1500), [quad], 245.0, blur)
    assert [w.code for w in words] == ["blurred"] * said
    if said:
        assert "moved" in words[0].message
        assert "hold still" in words[0].message


def test_the_light_of_a_sheet_is_told_without_its_edges():
    """IEC 61966-2-1: code 188 is 0.503 of full light, code 26 is 0.0103."""
    board = np.kron(np.indices((4, 3)).sum(0) % 2, np.ones((60, 60)))
    outlines = [np.array([[x, 40], [x + 180, 40], [x + 180, 280], [x, 280.0]]) for x in (30, 330)]
    code = np.full((320, 560), 100, np.uint8)
    for (x, _), bright in zip((o[0].astype(int) for o in outlines), (188, 26), strict=True):
        code[40:280, x : x + 180] = np.where(board > 0, bright, 3)
    assert sheets_white(code, outlines[:1]) == pytest.approx(0.503, abs=0.003)
    assert sheets_white(code, outlines) == pytest.approx(0.0103, abs=0.0005)


def test_bare_paper_in_the_dark_is_said_of_a_page():
    rng = np.random.default_rng(4)
    page = np.full((300, 300, 3), 20.0)
    page[60:240, 80:220] = 60
    code = np.clip(page + rng.normal(0, 6, (300, 300, 1)), 0, 255).astype(np.uint8)
    quad = np.array([[79.5, 59.5], [219.5, 59.5], [219.5, 239.5], [79.5, 239.5]])
    blur = page_blur(code[..., 0], [trace_quad(code, quad, 4, (0.08, 0.08))], BLUR_PX, paper=True)
    assert blur.white == pytest.approx(0.0452, abs=0.005)  # sRGB 60 in linear light, IEC 61966-2-1


def test_a_sheet_looks_like_itself_where_it_is_and_nowhere_else():
    h = view((400, 320), 2.0, 8.0, (2e-4, 1e-4))
    grey = picture([(1, h)])
    assert pattern_agreement(grey, 1, mapped(h, PATTERN)) > 0.95
    assert pattern_agreement(grey, 1, mapped(h, PATTERN + np.array([30, 0]))) < 0.5
    assert pattern_agreement(grey, 0, mapped(h, PATTERN)) < 0.95


@pytest.mark.parametrize(("psf", "saddles", "read"), [(1.2, 6, True), (1.2, 4, True), (3.5, 6, True), (3.5, 4, False)])
def test_a_sheet_is_read_while_it_is_sharp_or_all_of_its_saddles_are_seen(psf, saddles, read):
    """Part of a sheet may be hidden; of one that shows whole, blur takes saddles away before it misleads the rest."""
    grey = cv2.GaussianBlur(picture([(0, view((400, 320), 1.0, 8.0))], psf=0.7), (0, 0), psf)
    (sheet,) = find_sheets(picture([(0, view((400, 320), 1.0, 8.0))], psf=0.7))
    sheet = replace(sheet, saddles_mm=sheet.saddles_mm[:saddles], saddles_px=sheet.saddles_px[:saddles])
    prior = camera_prior(1100.0, 0.03, grey.shape[::-1], known=True)
    s = solve_sheets(grey, (sheet,), prior, CheckBar(), "panel")
    assert (too_smeared(grey, s, (sheet,)) == ()) is read


def facing(focal, slant):
    c, s = np.cos(slant), np.sin(slant)
    return Solved(np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]]), np.array([0, 0, 2000.0]), focal, 2015.5, 1511.5)


def doubts(*, blur=None, focal=3000.0, scale=2.0, exif=EXIF, white=1.0):
    outline = np.array([[-90, -120], [90, -120], [90, 120], [-90, 120.0]]) * scale + [2015.5, 1511.5]
    prior = camera_prior(focal, 0.03, FULL, known=True)
    return solved_doubts(facing(focal, 0.0), prior, exif, FULL, [outline], float(np.sqrt(180 * 240)), blur, white)


@pytest.mark.parametrize(("slant_deg", "found"), [(0, []), (35, []), (50, ["steep"]), (-50, ["steep"])])
def test_a_wall_seen_at_a_slant_is_said(slant_deg, found):
    corners = np.array([[1000.0, 500], [3000, 500], [3000, 2500], [1000, 2500]])
    assert [w.code for w in slant_doubts(facing(3000.0, np.radians(slant_deg)), corners)] == found


def test_a_sound_photo_gets_no_word():
    assert doubts(blur=PrintedBlur((0.8, 0.82), 6.0, 0.7, 0.02)) == []


@pytest.mark.parametrize(
    ("worse", "code"),
    [
        ({"focal": 1700.0}, "wide-lens"),
        ({"scale": 0.2}, "too-few-pixels"),
        ({"blur": PrintedBlur((2.0, 1.9), 6.0, 0.7, 0.02)}, "blurred"),
        ({"blur": PrintedBlur((0.8, 0.8), 6.0, 0.03, 0.02)}, "low-light"),
        ({"blur": PrintedBlur((0.8, 0.8), 6.0, 0.7, 0.3)}, "low-light"),
        ({"white": 0.02}, "low-light"),
        ({"exif": replace(EXIF, iso=3200.0)}, "low-light"),
        ({"exif": replace(EXIF, exposure_s=0.1)}, "low-light"),
    ],
)
def test_each_fault_has_its_code(worse, code):
    assert [w.code for w in doubts(**worse)] == [code]


@pytest.mark.parametrize("guessed", [True, False])
def test_a_wide_field_in_a_file_that_names_no_lens_may_be_a_screenshot(guessed):
    """Bars about a picture make its diagonal longer, and so its field as wide as that of a shorter lens (pinhole)."""
    outline = np.array([[-90, -120], [90, -120], [90, 120], [-90, 120.0]]) * 2 + [2015.5, 1511.5]
    prior = replace(camera_prior(1700.0, 0.03, FULL, known=True), guessed=guessed)
    (said,) = solved_doubts(facing(1700.0, 0.0), prior, EXIF, FULL, [outline], float(np.sqrt(180 * 240)), None)
    assert ("screenshot" in said.message) is guessed


def test_the_effect_said_is_that_on_the_size_which_its_parts_touch_most():
    # The worst size of all, the left height, has nothing from these parts.
    cov, budget = np.diag([1.0, 4.0, 1, 9, 1, 1, 1, 1, 1]), np.zeros((9, len(PARTS)))
    budget[1, [PARTS.index("camera"), PARTS.index("distortion")]] = 0.9, 1.2
    budget[3, PARTS.index("station")] = 3.0
    (told,) = with_effects([Warning_("cropped", "cut")], cov, budget)
    assert told.message == "cut (the middle width is known to 4.0 mm, 3.0 mm of it from this)"
    cov[1, 1] = 2.01**2  # rounded up, as JCGM 100, 7.2.6 allows and the figures beside the measures are
    (told,) = with_effects([Warning_("cropped", "cut")], cov, budget)
    assert "known to 4.1 mm, 3.0 mm of it" in told.message


@pytest.mark.parametrize(
    ("side", "size"),
    [("left", "bottom width"), ("right", "bottom width"), ("head", "right height"), ("sill", "right height")],
)
def test_a_doubtful_jamb_is_said_of_a_width_and_a_head_of_a_height(side, size):
    cov, budget = np.eye(9), np.zeros((9, len(PARTS)))
    budget[[2, 5], PARTS.index("edge_choice")] = 0.4, 0.5
    other = "left" if side in {"head", "sill"} else "head"
    for s, told in ((side, size), (other, "right height" if size == "bottom width" else "bottom width")):
        (warned,) = with_effects([Warning_("edge-ambiguous", "two lines", s)], cov, budget)
        assert f"the {told} is known" in warned.message


def scene():
    R, t = pose(np.array([40.0, -60.0, 1500.0]), 5.0, -4.0, 1.0)
    f = film_focal_px(26, 1152, 864)
    camera = Camera(1152, 864, f, 578.0, 430.0, 0.015, -0.003, R, t, 26)
    pages = (Sheet(0, (-560.0, -130.0), 1.2), Sheet(1, (370.0, -90.0), -0.7))
    sides = smooth_sides(np.array([[-302.0, -400], [300, -401], [301, 400], [-300, 402]]))
    return Scene("cut", camera, Opening(sides), sheets=pages, wall=Wall("render"), oversample=1)


@pytest.fixture(scope="module")
def shot():
    return render(scene())


def measured(tmp_path, rgb, corners, exif):
    path = tmp_path / "p.jpg"
    Image.fromarray(rgb).save(path, "JPEG", quality=93, exif=exif)
    bars = CheckBar(Quantity(150, 0.1), Quantity(200, 0.1))
    zero = dict.fromkeys(("head", "right", "sill", "left"), Quantity(0.0, 0.3))
    asked = PhotoRequest(path, corners_px=corners, trace=False, click_px=0.2)
    return measured_alone(OpeningRequest((asked,), wall="render", check_bar=bars, edge_offset=zero), asked)


@pytest.mark.parametrize("blur_px", [1.4, 1.8, 2.0, 2.4])
def test_a_photo_ever_more_blurred_is_refused_before_it_misleads(tmp_path, shot, blur_px):
    """Oracle: the scene; its sheets are A and B, and its errors stay within three standard uncertainties."""
    rgb, truth = shot
    found = measured(tmp_path, cv2.GaussianBlur(rgb, (0, 0), blur_px), np.array(truth["corners_px"]), exif_block(26, 1))
    if isinstance(found, PhotoReport):
        assert found.error.code == "no-reference"
        return
    assert "blurred" in {w.code for w in found.report.warnings}
    assert not {"letter-twice", "reference-bent"} & {w.code for w in found.report.warnings}
    error = found.measured.values_mm[:8] - np.array([truth["measures_mm"][n] for n in NINE[:8]])
    assert (np.abs(error) < 3 * np.sqrt(np.diag(found.measured.cov_mm2))[:8]).all()


@pytest.mark.parametrize("exif", [exif_block(26, 1), Image.Exif()])
def test_a_photo_cut_off_on_one_side_stays_within_its_uncertainty(tmp_path, shot, exif):
    rgb, truth = shot
    corners = np.array(truth["corners_px"])
    whole = measured(tmp_path, rgb, corners, exif)
    assert not {w.code for w in whole.report.warnings} & {"cropped", "blurred", "steep", "wide-lens"}
    # the right of the same shape of picture: left and top are cut away
    cut = np.ascontiguousarray(rgb[60:864, 80:1152])
    found = measured(tmp_path, cut, corners - [80, 60], exif)
    assert isinstance(found, PhotoMeasured)
    width = found.measured.values_mm[1] - truth["measures_mm"]["width_middle"]
    assert abs(width) < 3 * np.sqrt(found.measured.cov_mm2[1, 1])


def test_a_page_whose_foot_was_misread_is_no_cut(tmp_path):
    """Its foot is traced 1.2 px off at one end; a lens 20 % of the picture off its middle would explain that too."""
    name = make(3, tmp_path, 907, 1, "siding", 1664, reference="letter", sharp=True)
    truth = json.loads((tmp_path / f"{name}.truth.json").read_text())
    offset = {s: Quantity(v, 1.0) for s, v in truth["edge_offset_mm"].items()}
    page = np.array(truth["references"][0]["rough_corners_px"])
    rough = np.array(truth["rough_corners_px"])
    asked = PhotoRequest(tmp_path / truth["photo"], corners_px=rough, reference_corners_px=(page,))
    request = OpeningRequest((asked,), wall="siding", reference=Reference("letter"), edge_offset=offset)
    found = measured_alone(request, asked)
    assert isinstance(found, PhotoMeasured)
    assert not {"cropped", "digital-zoom", "wide-lens"} & {w.code for w in found.report.warnings}
    true = [truth["measures_mm"][n] for n in ("width_top", "width_middle", "width_bottom")]
    assert np.abs(found.measured.values_mm[:3] - true).max() < 3.0  # 5.8 as a picture that was cut


@pytest.mark.parametrize("exif", [exif_block(26, 1), Image.Exif()])
def test_a_panorama_without_its_mark_is_not_measured(tmp_path, shot, exif):
    """Oracle: the rendered view resampled on a cylinder about the camera (Szeliski and Shum 1997, section 2)."""
    rgb, truth = shot
    h, w = rgb.shape[:2]
    f, cx, cy = (truth["camera"][k] for k in ("f_px", "cx", "cy"))
    angle = (np.arange(w) - cx) / f
    x = np.broadcast_to(f * np.tan(angle) + cx, (h, w)).astype(np.float32)
    y = ((np.arange(h)[:, None] - cy) / np.cos(angle) + cy).astype(np.float32)
    corners = np.array(truth["corners_px"])
    at = np.arctan((corners[:, 0] - cx) / f)
    corners = np.column_stack([f * at + cx, (corners[:, 1] - cy) * np.cos(at) + cy])
    found = measured(tmp_path, cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), corners, exif)
    assert isinstance(found, PhotoReport)
    assert found.error.code == "not-one-view"
    assert "one ordinary photo" in found.error.message


def test_a_panorama_is_not_measured(tmp_path, shot):
    rgb, truth = shot
    exif = exif_block(26, 1)
    exif.get_ifd(0x8769)[0xA401] = 6
    found = measured(tmp_path, rgb, np.array(truth["corners_px"]), exif)
    assert isinstance(found, PhotoReport)
    assert found.error.code == "not-one-view"


@pytest.mark.parametrize("aside", [0.0, 900.0])
def test_zoom_without_a_tag_shows_at_a_slant_and_does_no_harm_in_front(tmp_path, aside):
    """Seen squarely, a longer lens and a larger distance are one picture: nothing shows it and little hangs on it."""
    turn, place = pose(np.array([aside, -60.0, 2000.0]), float(np.degrees(np.arctan2(aside, 2000.0))), 2.0, 1.0)
    camera = Camera(1152, 864, film_focal_px(26, 1152, 864), 578.0, 430.0, 0.015, -0.003, turn, place, 26)
    rgb, truth = render(replace(scene(), camera=camera))
    zoomed = cv2.resize(rgb[132:732, 176:976], (1152, 864), interpolation=cv2.INTER_CUBIC)
    corners = (np.array(truth["corners_px"]) - [176, 132] + 0.5) * 1152 / 800 - 0.5
    found = measured(tmp_path, zoomed, corners, exif_block(26, 1))
    assert isinstance(found, PhotoMeasured)
    assert ("digital-zoom" in {w.code for w in found.report.warnings}) == (aside > 0)
    width = found.measured.values_mm[1] - truth["measures_mm"]["width_middle"]
    assert abs(width) < 2 * np.sqrt(found.measured.cov_mm2[1, 1])

"""Camera and wall from sheets and rectangles in drawn pictures of known truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.drawing import mapped, picture
from vision.camera import Camera, back_project, project
from vision.priors import camera_prior, size_block
from vision.request import CheckBar, Quantity, Reference
from vision.sheets.markers import find_sheets
from vision.solving.solve import SHEET_HALF_MM, SHEET_MIDDLE_MM, solve_sheets
from vision.solving.solve_pages import solve_rectangles

SIZE = (1200, 900)
FOCAL = 1000.0
PRIOR = camera_prior(FOCAL * 1.01, 0.02, SIZE, known=True)
MEASURED = CheckBar(Quantity(150.0, 0.15), Quantity(200.0, 0.15))
PLACES = ((-330.0, -40.0, 0.02), (300.0, 30.0, -0.03))  # middles of two sheets on the wall, mm and rad


def camera(turn=(0.1, -0.15, 0.02)):
    rotation = np.asarray(cv2.Rodrigues(np.array(turn))[0], float)
    return Camera(rotation, np.array([10.0, -15.0, 1000.0]), FOCAL, 603.0, 446.0)


def onto_wall(place, points, scale=1.0):
    x, y, turn = place
    c, s = np.cos(turn), np.sin(turn)
    return (points - SHEET_MIDDLE_MM) * scale @ np.array([[c, s], [-s, c]]) + [x, y]


def homography(c, place, z=0.0, scale=1.0):
    """Return the homography mm -> px of a sheet on the plane `z`."""
    corners = np.array([[0, 0], [180, 0], [180, 240], [0, 240.0]])
    seen = project(c, np.column_stack([onto_wall(place, corners, scale), np.full(4, z)]))
    return cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32))


def drawn(c=None, places=PLACES, z=(0.0, 0.0), scale=(1.0, 1.0), seed=1):
    c = c or camera()
    sheets = [(i, homography(c, p, z[i], scale[i])) for i, p in enumerate(places)]
    return picture(sheets, SIZE, fine=3, seed=seed)


def solve(grey, bar=MEASURED, prior=PRIOR, wall="panel"):
    return solve_sheets(grey, find_sheets(grey), prior, bar, wall)


def apart(state):
    """Return how far the middles of two references lie from each other, mm."""
    return float(np.hypot(*(state.references[1, :2] - state.references[0, :2])))


TRUE_APART = float(np.hypot(630.0, 70.0))


@pytest.fixture(scope="module")
def solved():
    return solve(drawn())


def u_apart(cov):
    by = np.zeros(len(cov))
    d = np.array([630.0, 70.0]) / TRUE_APART
    by[15:17], by[24:26] = -d, d
    return float(np.sqrt(by @ cov @ by))


def test_two_sheets_are_found_as_far_apart_as_they_are(solved):
    a = solved.adjusted
    assert abs(apart(a.state) - TRUE_APART) < 2 * u_apart(a.covariance)
    assert u_apart(a.covariance) < 2.5
    assert a.converged


def test_the_camera_is_found_within_its_uncertainty(solved):
    a = solved.adjusted
    found = np.array([np.log(a.state.camera.focal_px), a.state.camera.cx, a.state.camera.cy, a.state.camera.k1])
    u = np.sqrt(np.diag(a.covariance))[6:10]
    assert np.abs((found - [np.log(FOCAL), 603, 446, 0]) / u).max() < 3


def test_a_length_elsewhere_on_the_wall_is_right_within_its_uncertainty(solved):
    """The diagonal of a 500 mm square between the sheets, traced back through the adjusted camera."""
    state = solved.adjusted.state
    px = project(camera(), np.array([[-150.0, -200, 0], [200, 150, 0]]))
    a, b = back_project(state.camera, px, 0.0)
    assert np.linalg.norm(b - a) == pytest.approx(350 * 2**0.5, abs=1.5)


def test_sheets_are_named_and_outlined(solved):
    assert sorted(solved.names) == ["sheet A", "sheet B"]
    for name, outline in zip(solved.names, solved.outlines_px, strict=True):
        i = "AB".index(name[-1])
        true = mapped(homography(camera(), PLACES[i]), np.array([[0, 0], [180, 0], [180, 240], [0, 240.0]]))
        assert np.abs(outline - true).max() < 0.3
    assert solved.warnings == ()


def test_printed_edges_beat_saddles_in_noise(solved):
    assert 0.03 <= solved.noise_px < 0.12


def test_an_unmeasured_bar_leaves_the_scale_less_sure(solved):
    loose = solve(drawn(), bar=CheckBar())
    assert u_apart(loose.adjusted.covariance) > u_apart(solved.adjusted.covariance)
    part = u_apart(loose.adjusted.parts["print_scale"])
    assert part == pytest.approx(0.002 * TRUE_APART, rel=0.6)


def test_a_print_97_percent_long_measured_on_its_bars_gives_true_millimetres():
    bar = CheckBar(Quantity(150 * 0.97, 0.15), Quantity(200 * 0.97, 0.15))
    a = solve(drawn(scale=(0.97, 0.97)), bar=bar).adjusted
    assert abs(apart(a.state) - TRUE_APART) < 2 * u_apart(a.covariance)


def test_sheets_that_cannot_lie_on_one_wall_are_said_to_disagree():
    found = solve(drawn(scale=(1.0, 0.92)))
    assert "references-disagree" in {w.code for w in found.warnings}


def test_a_sheet_bent_by_millimetres_is_said_to_be_bent():
    grey = drawn()
    rows, columns = np.indices(grey.shape, dtype=np.float32)
    inside = mapped(np.linalg.inv(homography(camera(), PLACES[0])), np.column_stack([columns.ravel(), rows.ravel()]))
    wave = np.sin(inside[:, 1] / 240 * 3 * np.pi).reshape(grey.shape) * (columns < 600)
    bent = cv2.remap(grey, columns + wave.astype(np.float32), rows, cv2.INTER_CUBIC)
    warned = solve(bent).warnings
    assert [w.message for w in warned if w.code == "reference-bent" and "sheet A" in w.message]


def test_a_lifted_corner_is_said_and_left_out():
    """The corner's edges move by up to 3 px, as where paper curls toward the camera; the others stay."""
    grey = drawn()
    rows, columns = np.indices(grey.shape, dtype=np.float32)
    inside = mapped(np.linalg.inv(homography(camera(), PLACES[0])), np.column_stack([columns.ravel(), rows.ravel()]))
    off = np.hypot(inside[:, 0] - 180, inside[:, 1]).reshape(grey.shape)
    lift = 3 * np.clip(1 - off / 80, 0, 1) ** 2 * (columns < 600)
    found = solve(cv2.remap(grey, columns - lift.astype(np.float32), rows, cv2.INTER_CUBIC))
    assert [w.message for w in found.warnings if w.code == "reference-bent" and "corner of sheet A" in w.message]
    assert abs(apart(found.adjusted.state) - TRUE_APART) < 2 * u_apart(found.adjusted.covariance)
    assert not [w for w in solve(grey).warnings if w.code == "reference-bent"]


def test_a_small_sheet_keeps_its_saddles():
    """A 60 mm square of 19 px has cells of 2.4 px: too small for edges, yet it is placed."""
    c = replace(camera(), translation_mm=np.array([0.0, 0, 3100]))
    found = solve(picture([(0, homography(c, PLACES[0])), (1, homography(c, PLACES[1]))], SIZE, fine=5, psf=0.5))
    a = found.adjusted
    assert len(found.names) == 2
    assert abs(apart(a.state) - TRUE_APART) < 2.5 * u_apart(a.covariance)


@pytest.mark.parametrize(("from_mm", "saddles"), [(115, 3), (58, 0)])
def test_a_sheet_mostly_hidden_still_helps_and_does_not_mislead(from_mm, saddles):
    """Sheet A is covered from so many mm of its 180 on: few saddles or none are left beside its markers."""
    grey = drawn()
    cover = np.array([[from_mm, -20], [200, -20], [200, 260], [from_mm, 260.0]])
    cv2.fillPoly(grey, [np.rint(mapped(homography(camera(), PLACES[0]), cover)).astype(np.int32)], 110)
    assert min(len(s.saddles_px) for s in find_sheets(grey)) == saddles
    found = solve(grey)
    a = found.adjusted
    assert abs(apart(a.state) - TRUE_APART) < 2 * u_apart(a.covariance)
    assert found.warnings == ()


def test_one_sheet_alone_is_solved_with_more_doubt(solved):
    one = solve(drawn(places=PLACES[:1]))
    assert one.names == ("sheet A",)
    u_one, u_two = (np.sqrt(np.diag(s.adjusted.covariance)[0:2]).max() for s in (one, solved))
    assert u_one > 1.3 * u_two


@pytest.mark.parametrize("kind", ["letter", "given"])
def test_clicked_rectangles_give_the_pose_of_the_wall(kind):
    reference = Reference("letter") if kind == "letter" else Reference("given", 215.9, 279.4)
    c = camera()
    half = np.array([215.9, 279.4]) / 2
    plane = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]]) + SHEET_MIDDLE_MM
    quads = [project(c, np.column_stack([onto_wall(p, plane), np.zeros(4)])) for p in PLACES]
    found = solve_rectangles(quads, reference, PRIOR, "panel", 0.2)
    a = found.adjusted
    thing = "page" if kind == "letter" else "rectangle"
    assert found.names == (f"{thing} 1", f"{thing} 2")
    assert abs(apart(a.state) - TRUE_APART) < 2 * u_apart(a.covariance)
    assert found.outlines_px[1] == pytest.approx(quads[1], abs=0.3)
    assert found.noise_px == 0.2


def test_a_page_doubts_its_size_as_the_standard_allows():
    """ISO 216: +-2 mm as rectangular, u = 1.155 mm = 0.55 % of 210; the distance of two pages follows it."""
    half = np.array([210.0, 297.0]) / 2
    plane = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]]) + SHEET_MIDDLE_MM
    quads = [project(camera(), np.column_stack([onto_wall(p, plane), np.zeros(4)])) for p in PLACES]
    a = solve_rectangles(quads, Reference("a4"), PRIOR, "panel", 0.2).adjusted
    assert 0.002 < u_apart(a.parts["reference_size"]) / TRUE_APART < 0.008


def test_letter_is_cut_to_the_trades_limits_and_moves_with_the_weather():
    """Common practice, no source, from memory: 1/32 in; 0.3 and 0.15 % by the weather; rectangular (GUM 4.3.7)."""
    block = size_block(Reference("letter"), CheckBar())
    size, weather = np.array([215.9, 279.4]), np.array([0.003, 0.0015])
    assert block.u * size == pytest.approx(np.hypot(25.4 / 32, weather * size) / 3**0.5, abs=0.02)


def test_half_a_page_is_where_the_bulge_vanishes():
    """US Letter, ASME Y14.1 size A: 215.9 x 279.4 mm, to the millimetre."""
    assert list(2 * SHEET_HALF_MM) == pytest.approx([215.9, 279.4], abs=1)


@pytest.mark.slow
def test_95_of_100_intervals_hold_the_true_distance():
    """Print scale, depth of both sheets, focal length and view drawn from the priors; 40 photos, binomial bounds."""
    rng, inside = np.random.default_rng(7), []
    for seed in range(40):
        turn = rng.uniform(-0.25, 0.25, 3) * [1, 1, 0.3]
        c = replace(camera(tuple(turn)), focal_px=FOCAL * 1.01 * np.exp(0.02 * rng.normal()))
        scale = 1 + 0.002 * rng.normal()
        z = tuple(-0.5 + np.hypot(1.0, 0.3) * rng.normal(size=2))
        a = solve(drawn(c, z=z, scale=(scale, scale), seed=seed), bar=CheckBar()).adjusted
        inside.append(abs(apart(a.state) - TRUE_APART) / u_apart(a.covariance))
    assert np.count_nonzero(np.array(inside) < 1.96) >= 34  # binomial 0.95, 40: 34 and fewer come in 1.4 %
    assert 0.6 < np.sqrt(np.mean(np.square(inside))) < 1.35

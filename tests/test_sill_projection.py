"""Facts about how far sills are seen to stand out, drawn from geometry: a box before a wall, seen by a pinhole camera.

Oracles: OpenCV's projectPoints for what is drawn, see `tests.drawn_sills`; the truth of own renderings.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.calibration import draw_scene
from fixtures.renderer.exif import write_photo
from fixtures.renderer.render import render
from tests.drawn_sills import WIDTH, camera_at, drawn
from vision.camera import back_project, project
from vision.estimate import estimate_opening
from vision.request import NINE, SIDES, OpeningRequest, PhotoRequest, Quantity
from vision.sill_projection import RUN_MM, SillSeen, _ear_runs_back, sill_contradicts, sill_stands_out
from vision.stations import Line

DARK = (0.02, 0.02, 0.02)
FLAT = dict.fromkeys(SIDES, 0.0)
UP = 700.0  # of the camera, above the sill
ABOVE_PX = 330  # of the opening, above the sill


def photo_of(camera, out, **how):
    """Return an opening with a sill that stands `out` mm out of the wall."""
    return drawn(camera, out=out, opening=DARK, seed=3, above_px=ABOVE_PX, **how)


def sides(camera, out):
    """Return the four sides as a photo taken for flat gives them: the sill's front put back into the wall."""
    half = WIDTH / 2
    front = project(camera, np.array([[-half, 0.0, -out], [half, 0.0, -out]]))
    (left, y), (right, _) = back_project(camera, front, 0.0)
    above = y + 400.0
    return {
        "head": Line(np.array([-half, -400.0]), np.array([1.0, 0.0]), np.array([0.0, -1.0]), WIDTH),
        "right": Line(np.array([half, -400.0]), np.array([0.0, 1.0]), np.array([1.0, 0.0]), above),
        "sill": Line(np.array([left, y]), np.array([1.0, 0.0]), np.array([0.0, 1.0]), right - left),
        "left": Line(np.array([-half, -400.0]), np.array([0.0, 1.0]), np.array([-1.0, 0.0]), above),
    }


def seen(out, ask=OpeningRequest(()), x=60.0, tell=sill_stands_out, up=UP, **how):  # noqa: B008
    """Return what a drawn photo tells of a sill that stands `out` mm out of the wall."""
    camera = camera_at(x, up, ABOVE_PX)
    return tell(ask, SillSeen(photo_of(camera, out, **how), camera, sides(camera, out), FLAT, up))


@pytest.mark.parametrize("out", [30.0, 40.0, 50.0])
def test_how_far_a_sill_stands_out_is_seen_by_its_ears_and_where_jambs_end(out):
    told = seen(out)
    assert abs(told.value_mm - out) < 2 * told.u_mm
    assert 2.0 < told.u_mm < 14.0


@pytest.mark.parametrize("right", [False, True])
@pytest.mark.parametrize("out", [20.0, 40.0])
def test_the_outline_of_an_ear_runs_back_as_far_as_the_wall(out, right):
    camera = camera_at(60.0, UP, ABOVE_PX)
    run = _ear_runs_back(SillSeen(photo_of(camera, out), camera, sides(camera, out), FLAT, UP), right=right)
    assert abs(RUN_MM[run.argmax()] - out) < 5.0  # blur rounds its back


def test_a_sill_that_falls_toward_its_front_is_no_further_out():
    told = seen(30.0, fall=6.0)
    assert abs(told.value_mm - 30.0) < 2 * told.u_mm


def test_a_flush_sill_is_not_seen_to_stand_out():
    assert seen(0.0) is None
    assert seen(0.0, x=300.0) is None


def test_where_jambs_end_tells_nothing_from_below_where_the_top_of_a_sill_is_hidden():
    """Geometry: from there the front hides the top, so that jambs end at the front's arris whatever stands out."""
    assert seen(0.0, up=-UP) is None
    assert seen(40.0, up=-UP) is None


def test_where_jambs_end_tells_with_one_ear_from_a_head_above_the_sill():
    camera = camera_at(60.0, UP, ABOVE_PX)
    photo = photo_of(camera, 40.0)
    photo[:, 820:] = photo[:1, 820:]  # the right ear hidden
    told = sill_stands_out(OpeningRequest(()), SillSeen(photo, camera, sides(camera, 40.0), FLAT, UP))
    assert abs(told.value_mm - 40.0) < 2 * told.u_mm


def test_what_was_given_of_a_sill_is_not_asked_of_the_photo():
    given = OpeningRequest((), edge_offset={"sill": Quantity(30.0, 1.0)})
    assert seen(30.0, given) is None
    assert seen(30.0, OpeningRequest((), edge_offset={"head": Quantity(0.0, 1.0)})) is not None


@pytest.mark.parametrize("ask", [OpeningRequest((), "siding"), OpeningRequest((), sill_at="wall")])
def test_where_jambs_end_at_something_else_nothing_is_told(ask):
    assert seen(40.0, ask) is None


def test_a_sill_said_to_be_flush_is_contradicted_with_what_its_heights_are_too_long():
    flush = OpeningRequest((), edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 1.0)))
    (said,) = seen(40.0, flush, tell=sill_contradicts)
    assert (said.code, said.side) == ("edge-depth-contradicted", "sill")
    out, u95 = (float(said.message.split(word)[1].split(" mm")[0]) for word in ("out ", "+- "))
    assert abs(out - 40.0) < u95
    # similar triangles: the front is seen lower in the wall by what it stands out times the look down
    longer = float(said.message.split("then be ")[1].split(" mm")[0])
    assert_allclose(longer, out * UP / 2500.0, rtol=0, atol=0.6)
    unsure = float(said.message.split("then be ")[1].split("+- ")[1].split(" mm less")[0])
    assert_allclose(unsure, u95 * UP / 2500.0, rtol=0, atol=0.6)


def test_a_sill_that_is_as_said_or_of_which_nothing_was_said_is_not_contradicted():
    for given, out in ((Quantity(0.0, 1.0), 0.0), (Quantity(40.0, 1.0), 40.0)):
        ask = OpeningRequest((), edge_offset=dict.fromkeys(SIDES, Quantity(0.0, 1.0)) | {"sill": given})
        z_mm = FLAT | {"sill": -given.value_mm}
        camera = camera_at(60.0, UP, ABOVE_PX)
        lines = sides(camera, out)
        photo = photo_of(camera, out)
        assert sill_contradicts(ask, SillSeen(photo, camera, lines, z_mm, UP)) == []
    assert seen(40.0, tell=sill_contradicts) == []


def test_one_reading_alone_is_not_believed():
    """Without an opening no jamb tells: two ears do, one alone does not however clear it is."""
    camera = camera_at(60.0, UP, ABOVE_PX)
    lines = sides(camera, 50.0)
    photo = drawn(camera, out=50.0, seed=3, above_px=ABOVE_PX)
    assert sill_stands_out(OpeningRequest(()), SillSeen(photo, camera, lines, FLAT, UP)) is not None
    photo[:, 700:] = photo[:1, 700:]  # the right ear hidden
    assert _ear_runs_back(SillSeen(photo, camera, lines, FLAT, UP), right=True) is None
    assert sill_stands_out(OpeningRequest(()), SillSeen(photo, camera, lines, FLAT, UP)) is None


def test_what_one_photo_showed_is_not_asked_again():
    assert seen(40.0, OpeningRequest((), sill_out=Quantity(30.0, 8.0))) is None


@pytest.mark.parametrize(("scene", "stands_out"), [(6, True), (10, False)])
def test_heights_to_a_sill_that_nobody_measured_are_as_true_as_they_claim(tmp_path, scene, stands_out):
    made = draw_scene(scene, 7051, 2, "brick", 1100)  # sills 29 mm out, and flush
    write_photo(tmp_path, "wall", *render(made), quality=95)
    truth = json.loads((tmp_path / "wall.truth.json").read_text())
    photo = PhotoRequest(tmp_path / truth["photo"], corners_px=np.array(truth["rough_corners_px"]))
    found = estimate_opening(OpeningRequest((photo,)))
    (said,) = [w.message for w in found.photos[0].warnings if w.code == "edge-depth-assumed"]
    assert ("the photo shows" in said) == stands_out
    for i in range(3, 6):
        error, u = found.values_mm[i] - truth["measures_mm"][NINE[i]], float(np.sqrt(found.cov_mm2[i, i]))
        assert abs(error) < 2 * u
        assert abs(error) < 3.0  # put into the wall the one that stands out is 9 mm too high

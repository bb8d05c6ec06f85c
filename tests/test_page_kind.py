"""Letter said and A4 on the wall, and the reverse: exact outlines seen by a known camera."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.camera import Camera, project
from vision.pages.kind import two_of_another_kind, wrong_kind
from vision.pages.of_photo import solve_page_photo
from vision.priors import PAGE_SIZE_MM, camera_prior
from vision.request import PhotoRequest, Reference
from vision.solving.solve_pages import solve_rectangles, traced_rectangle

SIZE = (1200, 900)
PRIOR = camera_prior(1010.0, 0.03, SIZE, known=True)
APART = ((-480.0, -40.0), (530.0, 130.0))
PLACES = ((-480.0, -40.0), (470.0, 30.0))


def quads(kind, places=PLACES):
    rotation = np.asarray(cv2.Rodrigues(np.array([0.1, -0.15, 0.02]))[0], float)
    camera = Camera(rotation, np.array([10.0, -15.0, 1400.0]), 1000.0, 600.0, 450.0)
    half = np.array(PAGE_SIZE_MM[kind]) / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]])
    return [project(camera, np.column_stack([half + p, np.zeros(4)])) for p in places]


def picture(drawn):
    rgb = np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)
    for q in drawn:
        cv2.fillPoly(rgb, [np.rint(q * 256).astype(np.int32)], (225, 225, 222), cv2.LINE_AA, 8)
    noise = np.random.default_rng(1).integers(-2, 3, rgb.shape)
    return np.asarray(rgb + noise, np.uint8)


def asked(on_wall, said, places=PLACES):
    drawn = quads(on_wall, places)
    rgb = picture(drawn)
    solved = solve_rectangles(drawn, Reference(said), PRIOR, "render", 1.0, rgb)
    return wrong_kind(rgb, solved, Reference(said), PRIOR, "render", None)


@pytest.mark.parametrize(("on_wall", "said"), [("a4", "letter"), ("letter", "a4")])
def test_two_pages_of_another_size_than_said_are_flagged(on_wall, said):
    flagged = asked(on_wall, said)
    assert flagged.code == "reference-size"
    assert "nothing was measured" in flagged.message


@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_sound_pages_are_not_doubted(kind):
    assert asked(kind, kind) is None
    assert asked(kind, kind, PLACES[:1]) is None


def found(on_wall, said):
    opening = quads("letter", ((0.0, 0.0),))[0]
    asked_of = PhotoRequest(Path("p.jpg"), corners_px=opening)
    return solve_page_photo(picture(quads(on_wall, APART)), asked_of, Reference(said), PRIOR, "render")


@pytest.mark.parametrize(("on_wall", "said"), [("a4", "letter"), ("letter", "a4")])
def test_two_pages_of_another_size_that_nobody_pointed_out_are_flagged(on_wall, said):
    """ISO 216 and ASME Y14.1: by either size the other's two pages do not lie on one wall."""
    assert found(on_wall, said).code == "reference-size"
    assert len(found(on_wall, on_wall).names) == 2


def test_two_pages_of_one_size_are_no_pages_of_another():
    drawn = quads("a4")
    rgb = picture(drawn)
    for said in ("a4", "given"):
        reference = Reference(said, 210.0, 297.0)
        traced = [traced_rectangle(rgb, q, reference, "a4", 1.0) for q in drawn]
        assert two_of_another_kind(drawn, traced, reference, PRIOR, "render", rgb) is None

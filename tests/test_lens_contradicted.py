"""A camera profile that the photo itself denies is left out and said. Oracle: the truth of drawn walls and cameras."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn_walls import SIZE, blocks_of, camera, state
from vision.adjustment import adjust
from vision.lens.contradicted import contradicted
from vision.photo.exif import ExifFacts
from vision.prepared import without_lens
from vision.priors import camera_prior
from vision.quality.doubts import cut_prior
from vision.request import Warning_
from vision.solved_photo import _or_profile
from vision.solving.solved import Solved

PLACES = np.array([[0.0, 0.0], [1350.0, 40.0]])
SURE = np.diag([3e-3, 2.0, 2.0, 5e-3, 5e-3]) ** 2
OWN = camera_prior(camera().focal_px * 1.01, 0.03, SIZE, known=True)
LOOSE = cut_prior(OWN, ExifFacts(), SIZE)


def told(times=1.0, off_px=0.0, centre_px=0.0):
    """Return what is said of a profile `times` too long and `off_px` aside; the lens itself is aside by `centre_px`."""
    cam = camera()
    cam = replace(cam, cx=cam.cx + centre_px)
    blocks, outlines = blocks_of(cam, np.random.default_rng(1), PLACES)
    solved = Solved(adjust(blocks, state(cam, references=2)), ("A", "B"), tuple(outlines), (), 0.1, tuple(blocks))
    profile = replace(
        OWN, focal_px=cam.focal_px * times, cx=camera().cx + off_px, cy=cam.cy, covariance=SURE, k1=0.0, k2=0.0
    )
    return contradicted(solved, profile, OWN, LOOSE)


@pytest.mark.parametrize(("times", "says"), [(0.8, "longer"), (1.25, "shorter")])
def test_a_profile_of_another_lens_is_contradicted_with_how_much(times, says):
    why, cut = told(times)
    assert says in why
    assert cut is None


def test_a_profile_of_the_right_lens_is_not_contradicted():
    assert told() is None
    assert told(1.003, 2.0) is None


def test_a_picture_cut_off_the_middle_is_told_by_its_own_references():
    """A cut of a tenth of the long side on one side: the profile's middle is right for the whole picture only."""
    why, cut = told(centre_px=160.0)
    assert "the middle of its lens" in why
    assert cut.state.camera.cx == pytest.approx(camera().cx + 160, abs=3 * np.sqrt(cut.covariance[7, 7]))


def test_a_profile_that_is_not_wrong_stays():
    assert without_lens(None, None) is None


def test_where_references_disagree_the_profile_in_use_is_named_too():
    code = "references-disagree"
    assert "leave the profile out" in _or_profile(Warning_(code, "the references do not fit")).message
    assert _or_profile(Warning_("one-reference", "only one")).message == "only one"

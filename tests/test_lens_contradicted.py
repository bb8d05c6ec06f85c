"""A camera profile that the photo itself denies is left out and said. Oracle: the truth of drawn walls and cameras."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.drawn_walls import SIZE, blocks_of, camera, state
from vision.adjustment import adjust
from vision.lens.contradicted import contradicted
from vision.photo.exif import ExifFacts
from vision.prepared import without_lens
from vision.priors import camera_blocks, camera_prior
from vision.quality.doubts import cut_prior
from vision.request import Warning_
from vision.solved_photo import _or_profile
from vision.solving.solved import Solved, but_camera

PLACES = np.array([[0.0, 0.0], [1350.0, 40.0]])
TURNED, HEAD_ON = (0.06, -0.12, 0.01), (0.02, -0.03, 0.0)
SURE = np.diag([3e-3, 2.0, 2.0, 5e-3, 5e-3]) ** 2
OWN = camera_prior(camera().focal_px * 1.01, 0.03, SIZE, known=True)
LOOSE = cut_prior(OWN, ExifFacts(), SIZE)


def told(times=1.0, off_px=0.0, centre_px=0.0, *, turn=TURNED, larger=1.0, u_px=0.05, sure=SURE):
    """Return what is said of a profile `times` too long and `off_px` aside.

    The photo's own lens is aside by `centre_px`, and the photo made larger about its middle without a word in its file.
    """
    cam = camera(turn)
    cam = replace(cam, focal_px=cam.focal_px * larger, cx=cam.cx + centre_px)
    blocks, outlines = blocks_of(cam, np.random.default_rng(1), PLACES, u_px)
    blocks = [*but_camera(blocks), *camera_blocks(OWN)]
    solved = Solved(adjust(blocks, state(cam, references=2)), ("A", "B"), tuple(outlines), (), 0.1, tuple(blocks))
    profile = replace(
        OWN, focal_px=camera().focal_px * times, cx=camera().cx + off_px, cy=cam.cy, covariance=sure, k1=0.0, k2=0.0
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


def test_a_profile_as_unsure_as_it_is_off_is_not_contradicted():
    """Law of propagation (JCGM 100): both variances add up; 0.22 in the logarithm are two of 0.11."""
    assert told(0.8) is not None
    assert told(0.8, sure=SURE + np.diag([0.11**2, 0, 0, 0, 0])) is None


def test_a_picture_cut_off_the_middle_is_told_by_its_own_references():
    """A cut of a tenth of the long side on one side: the profile's middle is right for the whole picture only."""
    why, cut = told(centre_px=160.0)
    assert "the middle of its lens" in why
    assert cut.state.camera.cx == pytest.approx(camera().cx + 160, abs=3 * np.sqrt(cut.covariance[7, 7]))


def test_a_profile_of_another_lens_is_told_by_the_files_word_where_the_references_tell_nothing():
    """Of a plane straight on no focal length is seen (Zhang 2000, section 3.3): only Exif speaks, and it is right."""
    why, _ = told(0.8, turn=HEAD_ON)
    assert "longer" in why


def test_a_profile_that_is_right_by_the_file_alone_is_told_by_what_the_photo_shows():
    """Cut all round and made as large again by half, with its Exif kept: profile and Exif agree, and both are wrong."""
    assert told(larger=1.5, u_px=0.15) is not None
    assert told(larger=1.0, u_px=0.15) is None


@pytest.mark.parametrize(
    ("photo", "says"),
    [
        ({"times": 0.8, "centre_px": 15.0, "u_px": 0.01}, "25 % longer"),  # 1 over 0.8
        ({"larger": 1.5}, "the middle of its lens lies"),
        ({"larger": 1.5, "u_px": 0.15}, "not both the profile's focal length and its middle"),
    ],
)
def test_no_figure_within_its_own_uncertainty_is_named_as_the_reason(photo, says):
    """A deviation that is less than its U95 tells nothing by itself (common practice, no source)."""
    why, _ = told(**photo)
    assert says in why
    figures = re.search(r"(\d+) (?:px|%).*\(U95 (\d+) ", why)
    assert figures is None or float(figures[1]) > float(figures[2])


def test_a_profile_that_is_not_wrong_stays():
    assert without_lens(None, None) is None


def test_where_references_disagree_the_profile_in_use_is_named_too():
    code = "references-disagree"
    assert "leave the profile out" in _or_profile(Warning_(code, "the references do not fit")).message
    assert _or_profile(Warning_("one-reference", "only one")).message == "only one"

"""Lengths in the warnings of photos. Oracle: 1 in is 25.4 mm exactly (NIST SP 811); contract, *Job file*: `units`."""

import re
from fractions import Fraction

import numpy as np
import pytest

from sizing.messages.lengths import in_unit
from sizing.photoresults import read_in
from vision.photo.exif import ExifFacts, focal35_contradicted
from vision.quality.effects import with_effects
from vision.request import PARTS, NotMeasured, PhotoReport, Warning_


def inches(text):
    whole, _, part = text.rpartition(" ")
    return sum(Fraction(p) for p in (whole, part) if p)


@pytest.mark.parametrize("mm", [0, 1, 4, 19, 24.6, 152])
def test_a_length_is_within_half_a_thirty_second_and_an_uncertainty_is_never_less_than_it_is(mm):
    said = re.findall(r"((?:\d+ )?\d+(?:/\d+)?) in\b", in_unit(f"stands {mm} mm in front, known to {mm} mm", "in"))
    length, u = (float(inches(text)) * 25.4 for text in said)
    assert length == pytest.approx(mm, abs=25.4 / 64 + 1e-9)
    assert mm <= u <= mm + 25.4 / 16


@pytest.mark.parametrize(("u", "parts"), [(1, 32), (3, 16), (8, 8), (47, 8)])
def test_a_length_is_told_no_finer_than_it_is_known(u, parts):
    """JCGM 100, 7.2.6: as many digits as its uncertainty is worth."""
    (said, _) = re.findall(r"((?:\d+ )?\d+(?:/\d+)?) in\b", in_unit(f"shows 44 mm +- {u} mm", "in"))
    assert (inches(said) * parts).denominator == 1
    assert float(inches(said)) * 25.4 == pytest.approx(44, abs=25.4 / 2 / parts)


def test_the_effect_on_U95_is_rounded_up():
    budget = np.zeros((9, len(PARTS)))
    budget[:, PARTS.index("camera")] = 2.0
    (told,) = with_effects([Warning_("cropped", "cut")], np.eye(9) * 4.1, budget)
    assert in_unit(told.message, "in").endswith("known to 3/16 in, 3/16 in of it from this)")  # 4.05 and 4.0 mm


@pytest.mark.parametrize(
    "text",
    [
        "its proportions are those of A4 (210 x 297 mm); nothing was measured",
        "a card (85.6 x 54 mm)",
        "an ultra-wide lens (18 mm in 35 mm terms) bends lines",
        "the focal length is 4.2 mm in the photo, 4.26 mm in the profile",
    ],
)
def test_sizes_of_standards_and_lenses_stay_as_they_are_known(text):
    assert in_unit(text, "in") == text


def test_focal_lengths_that_contradict_each_other_are_told_in_mm_everywhere():
    exif = ExifFacts(make="a", model="b", focal_mm=4.3, focal35_mm=26.0)
    told = focal35_contradicted(exif, (4032, 3024), 52.0)
    assert told is not None
    assert "52 mm" in in_unit(told[0], "in")
    assert "26 mm" in in_unit(told[0], "in")


def test_a_job_in_mm_reads_what_the_photo_said():
    warning = Warning_("weak-geometry", "sizes are known to 16 mm at best")
    answer = NotMeasured("x", "y", (PhotoReport("a.jpg", "", (1, 1), warnings=(warning,)),), (warning,))
    assert read_in(answer, "mm").warnings == (warning,)
    inch = read_in(answer, "in")
    assert inch.warnings[0].message == inch.photos[0].warnings[0].message == "sizes are known to 11/16 in at best"


def test_the_side_of_a_warning_is_kept_when_its_lengths_are_put_in_inches():
    warning = Warning_("edge-hidden", "no line shows the sill within 40 mm", "sill")
    answer = NotMeasured("x", "y", (PhotoReport("a.jpg", "", (1, 1), warnings=(warning,)),), ())
    assert read_in(answer, "in").photos[0].warnings[0].side == "sill"

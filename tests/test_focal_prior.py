"""The focal length known beforehand. Oracle: facts.md 5, the equivalence by the diagonal (CIPA DCG-001)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from vision.photo.exif import U_LOG_KNOWN, U_LOG_UNKNOWN, ExifFacts, focal35_contradicted, focal_prior


def test_24_mm_equivalent_at_12_mp_is_2795_69_px():
    # facts.md 5: 24 x 5040 / 43.2666
    prior = focal_prior(ExifFacts(focal35_mm=24.0), (4032, 3024))
    assert prior.focal_px == pytest.approx(2795.69, abs=0.005)
    assert prior.u_log == U_LOG_KNOWN
    # 26 and 28 mm: 3028.7 and 3261.6 px, whichever way up
    assert focal_prior(ExifFacts(focal35_mm=26.0), (3024, 4032)).focal_px == pytest.approx(3028.7, abs=0.05)
    assert focal_prior(ExifFacts(), (4032, 3024), 28.0).focal_px == pytest.approx(3261.6, abs=0.05)


def test_without_exif_the_prior_holds_every_phone_lens_within_3_sd():
    # facts.md 5: main cameras 24 to 28 mm; 13 mm wide cameras: common practice, no source
    prior = focal_prior(ExifFacts(), (4032, 3024))
    known = [focal_prior(ExifFacts(), (4032, 3024), f).focal_px for f in (13.0, 24.0, 28.0, 52.0)]
    assert np.all(np.abs(np.log(np.array(known) / prior.focal_px)) < 3 * U_LOG_UNKNOWN)
    assert prior.source == "none"


def test_with_digital_zoom_the_prior_spans_both_ways_of_stating_it():
    prior = focal_prior(ExifFacts(focal35_mm=26.0, digital_zoom=2.0), (4032, 3024))
    for f35 in (26.0, 52.0):
        given = focal_prior(ExifFacts(), (4032, 3024), f35)
        assert abs(np.log(given.focal_px / prior.focal_px)) <= prior.u_log


PHONE = ExifFacts(focal35_mm=26.0, coded_px=(4032, 3024))


@pytest.mark.parametrize("given_mm", [52.0, 260.0, 13.0, 31.0, 22.0])
def test_a_focal_length_that_exif_denies_is_named_with_both_figures_and_the_remedy(given_mm):
    """Found: 52 mm beside an Exif of 26 mm was believed, heights 15 mm off at a U95 of 4 mm."""
    said, absurd = focal35_contradicted(PHONE, (4032, 3024), given_mm)
    assert f"{given_mm:g} mm" in said
    assert "26 mm" in said
    assert "leave focal35 out, or send the photo as the camera wrote it" in said
    assert absurd == (given_mm == 260.0)  # a point left out


@pytest.mark.parametrize("given_mm", [52.0, 13.0])
def test_where_exif_denies_the_focal_length_given_the_prior_spans_both(given_mm):
    prior = focal_prior(PHONE, (4032, 3024), given_mm)
    for f35 in (26.0, given_mm):
        assert abs(np.log(focal_prior(ExifFacts(), (4032, 3024), f35).focal_px / prior.focal_px)) <= prior.u_log


@pytest.mark.parametrize(
    ("exif", "size_px", "given_mm"),
    [
        (PHONE, (4032, 3024), None),
        (PHONE, (3024, 4032), 28.0),  # the width rule of some makers: 8 % (facts.md 5)
        (ExifFacts(), (4032, 3024), 260.0),  # nothing to hold it against
        (replace(PHONE, digital_zoom=2.0), (4032, 3024), 52.0),  # Exif may or may not hold the zoom
        (replace(PHONE, digital_zoom=2.0), (4032, 3024), 26.0),
        (PHONE, (1512, 1512), 26.0 * 5040 / math.hypot(1512, 1512)),  # cut: of the diagonal that is left
        (PHONE, (1512, 1512), 26.0),
        (replace(PHONE, coded_px=None), (4032, 1728), 26.0 * 5040 / math.hypot(4032, 1728)),  # cut in the camera
    ],
)
def test_a_focal_length_that_may_be_right_beside_exif_is_taken(exif, size_px, given_mm):
    assert focal35_contradicted(exif, size_px, given_mm) is None


def test_a_photo_that_was_only_made_smaller_keeps_its_35_mm_equivalent():
    assert focal35_contradicted(PHONE, (1600, 1200), 65.0) is not None

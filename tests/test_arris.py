"""Rounded arrises that a photo resolves."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr

from vision.estimate import estimate_opening
from vision.request import NINE, OpeningRequest, PhotoRequest, Quantity, Reference
from vision.sides.arris import find_arris, offsets_px

P4 = Path(__file__).parents[2] / "shared/practice/P4.truth.json"


def test_the_inner_end_of_a_resolved_round_is_found_from_its_light():
    """Lambert's law on a quarter round of 5 px lit from above, blurred by 0.75 px, drawn here by its formula."""
    at = offsets_px()
    y = np.arange(-20, 20, 0.01)
    x = np.clip(1 - (y + 1.5) / 5.0, 0, 1)  # inner end of the arc at -1.5
    f = 0.1 + 0.3 * (np.sqrt(1 - x**2) + 1.8 * x)
    profile = np.array([np.average(f, weights=np.exp(-0.5 * ((y - a) / 0.75) ** 2)) for a in at])
    arris = find_arris(profile, 0.75, 6, 7, 0.5)
    assert arris is not None
    assert_allclose(arris.shift_px, -1.5, rtol=0, atol=0.3)


def test_a_sharp_blurred_step_is_left_where_it_is():
    at = offsets_px()
    arris = find_arris(0.4 * ndtr(at / 0.8), 0.8, 6, 7, 0.5)
    assert arris is not None
    assert_allclose(arris.shift_px, 0, rtol=0, atol=0.2)


@pytest.mark.skipif(not P4.exists(), reason="needs the photos of ../shared/practice")
@pytest.mark.parametrize("off_px", [0.0, -1.0])
def test_a_round_that_leaves_no_doubt_has_an_uncertainty_all_the_same(off_px):
    """What was left for a sharp arris rounded to below zero: its root was no number, nor was u of any measure."""
    truth = json.loads(P4.read_text())
    photo = PhotoRequest(P4.with_name(truth["photo"]), corners_px=np.array(truth["corners_px"]) + off_px)
    edges = {s: Quantity(0.0, 1.0) for s in ("head", "right", "sill", "left")}
    answer = estimate_opening(OpeningRequest((photo,), "render", Reference("letter"), edge_offset=edges))
    off = np.abs(answer.values_mm - np.array([truth["measures_mm"][n] for n in NINE]))
    assert (off < 2 * np.sqrt(np.diag(answer.cov_mm2))).all()

"""Facts about readings and photos of another opening. Oracles: scipy's multivariate normal, simulation."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from sizing.crosscheck.adjustment import STATIONS, predict_readings_mm
from sizing.crosscheck.assignment import _best_slips, misplaced
from sizing.crosscheck.consistency import cross_check
from sizing.jobs.job import Opening, Reading
from sizing.tape import too_long_mm
from sizing.units import parse_length
from vision.joint.same_view import same_picture
from vision.request import Candidate, Estimate, PhotoReport

INCH = 25.4


def entry(label, read_shape, photo_shape=None, rng=None, off=None, candidates=(), names=STATIONS):
    """Return an opening read on one shape with the photo of another."""
    draw = (lambda u: rng.normal(0.0, u, 8)) if rng is not None else (lambda _: np.zeros(8))
    lengths = predict_readings_mm(read_shape)
    seen = predict_readings_mm(read_shape if photo_shape is None else photo_shape)
    read = lengths + [too_long_mm(v) for v in lengths] + draw(1.0)
    readings = tuple(
        Reading(n, parse_length(f"{v + (off or {}).get(n, 0.0):.4f} mm", "mm"), n, tape="class-2")
        for n, v in zip(STATIONS, read, strict=True)
        if n in names
    )
    t = np.vstack([np.eye(8), np.eye(8)[6] - np.eye(8)[7]])
    cov = t @ (np.eye(8) + 0.001**2 * np.outer(seen, seen)) @ t.T
    values = t @ (seen + draw(1.0))
    answer = Estimate(values, cov, np.zeros((9, 11)), np.zeros(9), {}, tuple(candidates), (), (), (), "photo")
    opening = Opening(label, readings=readings)
    return opening, answer, cross_check(opening, answer)


def shape(width, height, lean=0.0):
    return np.array([width, width, height, height, lean], dtype=np.float64)


A, B, C, D = shape(1000, 1400), shape(1040, 1400), shape(1000, 1500), shape(1300, 1700)


def test_openings_in_their_places_are_left_there():
    assert misplaced([entry("W1", A), entry("W2", B), entry("W3", C)]) == ()


def test_two_photos_exchanged_name_each_other():
    found = misplaced([entry("W1", A, B), entry("W2", B, A), entry("W3", C)])
    assert [(m.label, m.fits, m.exchanged) for m in found] == [("W1", ("W2",), True), ("W2", ("W1",), True)]
    assert all(m.log_odds > 20.0 for m in found)


def test_three_photos_moved_round_are_each_given_their_own():
    found = misplaced([entry("W1", A, B), entry("W2", B, C), entry("W3", C, A), entry("W4", D)])
    assert [(m.label, m.fits) for m in found] == [("W1", ("W3",)), ("W2", ("W1",)), ("W3", ("W2",))]
    assert not any(m.exchanged for m in found)


def test_readings_written_down_twice_are_a_copy_of_the_other_opening():
    # W2 holds W1's readings; W1 has its own, and keeps its photo.
    found = misplaced([entry("W1", A), entry("W2", A, B)])
    assert [(m.label, m.fits, m.exchanged) for m in found] == [("W2", ("W1",), False)]


def test_a_slip_beside_the_exchange_does_not_hide_it():
    found = misplaced([entry("W1", A, B, off={"height_left": INCH}), entry("W2", B, A)])
    assert {(m.label, m.fits) for m in found} == {("W1", ("W2",)), ("W2", ("W1",))}


def test_a_slip_alone_does_not_move_an_opening_to_its_twin():
    twin = shape(1001, 1401)
    assert misplaced([entry("W1", A, off={"width_top": INCH}), entry("W2", twin)]) == ()


def test_an_edge_that_the_photo_kept_as_a_candidate_does_not_move_an_opening():
    shift = np.zeros(9)
    shift[3:6], shift[6:8] = 100.0, 100.0 * 1400 / math.hypot(1000, 1400)
    sill = Candidate("sill", 0.3, 100.0, shift, "foot")
    # Read to the lower line; as traced the photo is 100 mm short, which is the size of another opening.
    found = misplaced([entry("W1", C, A, candidates=[sill]), entry("W2", C)])
    assert found == ()


def test_twins_that_fit_as_well_are_all_named():
    found = misplaced([entry("W1", A, D), entry("W2", A), entry("W3", shape(1000.2, 1400.2))])
    assert [m.label for m in found] == ["W1"]
    assert set(found[0].fits) == {"W2", "W3"}


@pytest.mark.parametrize("job", [[], [entry("W1", A, B)], [entry("W1", A, B, names=STATIONS[:2]), entry("W2", A)]])
def test_one_opening_or_two_readings_name_no_other(job):
    assert misplaced(job) == ()


def test_sound_jobs_of_near_equal_openings_do_not_warn():
    # Simulation: twelve openings of one size within a few mm, as built.
    rng = np.random.default_rng(2)
    for _ in range(15):
        job = [
            entry(f"W{i}", shape(1000, 1400) + rng.normal(0, 3, 5), rng=rng, off={"width_top": INCH} if i == 5 else {})
            for i in range(12)
        ]
        assert misplaced(job) == ()


def test_taking_out_a_slip_leaves_the_density_of_the_rest():
    # scipy's multivariate normal of the readings that are left, times a slip of 1 in 50 spread over 600 mm.
    rng = np.random.default_rng(6)
    root = rng.normal(size=(5, 5))
    cov = root @ root.T + np.eye(5)
    d = np.array([0.3, -0.2, 40.0, 0.5, 0.1])
    rest = [0, 1, 3, 4]
    expected = multivariate_normal(np.zeros(4), cov[np.ix_(rest, rest)]).logpdf(d[rest]) + math.log(0.02 / 600.0)
    constant = -0.5 * (np.linalg.slogdet(cov)[1] + 5 * math.log(2 * math.pi))
    assert constant + _best_slips(d, np.linalg.inv(cov)) == pytest.approx(expected)


def report(references, size=(4032, 3024)):
    return PhotoReport(Path("a.jpg"), "", size, references_px=tuple(references))


def test_a_picture_saved_anew_or_smaller_is_the_same_and_another_shot_is_not():
    corners = np.array([[400.0, 800.0], [900.0, 810.0], [890.0, 1400.0], [395.0, 1390.0]])
    first = report([("A", corners)])
    assert same_picture(first, report([("A", corners + 0.3)]))
    assert same_picture(first, report([("A", corners / 2)], (2016, 1512)))
    assert not same_picture(first, report([("A", corners + 9.0)]))
    assert not same_picture(first, report([("B", corners)]))
    assert not same_picture(first, report([]))
    assert not same_picture(report([]), report([]))
    assert not same_picture(report([("A", corners)], (0, 0)), first)


def test_a_photo_metres_off_is_no_reason_to_name_another_as_far_off():
    assert misplaced([entry("W1", A, shape(3500, 3900)), entry("W2", D), entry("W3", shape(2500, 3000))]) == ()

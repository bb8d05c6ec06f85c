"""Facts about what the openings of a job have in common. Oracles: simulation with known causes, statsmodels GLS."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sizing.crosscheck.adjustment import CORNER_U_MM, STATIONS, predict_readings_mm
from sizing.crosscheck.job_tests import job_tests
from sizing.crosscheck.snooping import critical_w
from sizing.jobs.job import Opening, Reading
from sizing.result.crosscheck import job_tests_document
from sizing.tape import reading_noise_mm, too_long_mm
from sizing.units import parse_length
from vision.request import PARTS, CheckBar, Estimate, PhotoReport, Quantity

U_PRINT = 0.002
PRINT = PARTS.index("print_scale")


def shapes(n, rng):
    return [
        np.array([w, w + rng.normal(0, 3), h, h + rng.normal(0, 3), rng.normal(0, 4)])
        for w, h in zip(rng.uniform(800, 1800, n), rng.uniform(900, 2100, n), strict=True)
    ]


def pair(label, shape, rng=None, *, ratio=0.0, shift=0.0, off=None, tape="class-2", by=None, bar=None):
    """Return an opening read `shift` too long, and its photo whose print is `ratio` larger than declared."""
    lengths = predict_readings_mm(shape)
    draw = (lambda u: rng.normal(0.0, u, 8)) if rng is not None else (lambda _: np.zeros(8))
    eight = np.eye(8) + (U_PRINT**2 / 2) * np.outer(lengths, lengths)
    photo = lengths * (1.0 - ratio) + draw(1.0)
    noise = np.sqrt(0.9**2 + np.array([0.0] * 6 + [CORNER_U_MM**2] * 2))
    read = lengths + [too_long_mm(v) for v in lengths] + shift + draw(1.0) * noise
    t = np.vstack([np.eye(8), np.eye(8)[6] - np.eye(8)[7]])
    budget = np.zeros((9, len(PARTS)))
    budget[:8, PRINT] = U_PRINT * lengths
    values = t @ photo
    readings = tuple(
        Reading(n, parse_length(f"{v + (off or {}).get(n, 0.0):.4f} mm", "mm"), n, tape=tape, by=by)
        for n, v in zip(STATIONS, read, strict=True)
    )
    bars = CheckBar() if bar is None else CheckBar(across=Quantity(bar, 0.3))
    answer = Estimate(values, t @ eight @ t.T, budget, np.zeros(9), {}, (), (), (), (), "photo")
    return Opening(label, readings=readings, check_bar=bars), answer, None


def a_job(n=8, seed=1, **more):
    rng = np.random.default_rng(seed)
    return [pair(f"W{i}", shape, rng, **more) for i, shape in enumerate(shapes(n, rng))]


def found(tests):
    return {(t.kind, t.of) for t in tests if t.found}


def test_a_sound_job_reports_its_print_and_its_tape_and_finds_nothing():
    tests = job_tests(a_job())
    assert [(t.kind, t.of) for t in tests] == [
        ("print_scale", "sheet"),
        ("tape_zero", "class-2"),
        ("tape_scale", "class-2"),
    ]
    assert found(tests) == set()
    assert all(t.labels == tuple(f"W{i}" for i in range(8)) for t in tests)


@pytest.mark.parametrize("ratio", [0.03, -0.015])
def test_a_print_at_another_scale_is_a_ratio_and_points_to_the_print(ratio):
    tests = job_tests(a_job(ratio=ratio))
    assert found(tests) == {("print_scale", "sheet")}
    test = tests[0]
    # Measures are short by the ratio of the tape's lengths: tape / photo - 1 = ratio / (1 - ratio).
    assert test.value == pytest.approx(ratio / (1.0 - ratio), abs=4 * test.u)
    # One tape and one print cannot be told apart by ratio: both are named, the print as the more plausible.
    assert test.group == (("print_scale", "sheet"), ("tape_scale", "class-2"))


@pytest.mark.parametrize("shift", [25.4, -8.0])
def test_a_shift_at_every_length_points_to_the_hook(shift):
    tests = job_tests(a_job(shift=shift))
    assert found(tests) == {("tape_zero", "class-2")}
    assert tests[1].value == pytest.approx(shift, abs=4 * tests[1].u)
    assert tests[1].group == (("tape_zero", "class-2"),)


def test_slips_of_single_readings_are_no_common_part():
    rng = np.random.default_rng(3)
    job = [
        pair(f"W{i}", s, rng, off={"width_top": 25.4} if i % 2 else {"height_left": -12.7})
        for i, s in enumerate(shapes(10, rng))
    ]
    assert found(job_tests(job)) == set()


@pytest.mark.parametrize("count", [2, 3, 8])
@pytest.mark.parametrize("names", [STATIONS[:6], STATIONS[:3]])
def test_an_opening_measured_to_its_trim_is_no_common_part(count, names):
    rng = np.random.default_rng(8)
    trim = dict.fromkeys(names, 178.0)
    job = [pair(f"W{i}", s, rng, off=None if i else trim) for i, s in enumerate(shapes(count, rng))]
    assert found(job_tests(job)) == set()


def test_a_bent_hook_of_one_crew_is_laid_to_that_crews_tape():
    rng = np.random.default_rng(4)
    made = shapes(8, rng)
    job = [pair(f"W{i}", s, rng, by="crew 2", shift=9.0) for i, s in enumerate(made[:4])]
    job += [pair(f"V{i}", s, rng, by="crew 5") for i, s in enumerate(made[4:])]
    assert found(job_tests(job)) == {("tape_zero", "class-2 (crew 2)")}


def test_two_print_runs_are_told_apart_by_their_bars():
    rng = np.random.default_rng(5)
    made = shapes(8, rng)
    job = [pair(f"W{i}", s, rng, ratio=0.02) for i, s in enumerate(made[:4])]
    job += [pair(f"V{i}", s, rng, bar=150.0) for i, s in enumerate(made[4:])]
    (name,) = found(job_tests(job))
    assert name == ("print_scale", "sheet")


def test_openings_in_one_photo_say_no_more_of_its_scale_than_one_opening():
    # The camera of one photo errs for all in it alike: six openings are not six independent measures.
    report = PhotoReport(Path("a.jpg"), "ab" * 32, (4032, 3024))
    job = a_job(6, seed=7, ratio=0.004)
    apart, together = job_tests(job)[0], job_tests([(o, replace(e, photos=(report,)), c) for o, e, c in job])[0]
    # As many times the variance of the photo, less what the readings have of their own and the blade's scale has in
    # both (class II at 1 to 2 m: MPE 0.9 mm, 0.7 mm of it the zero).
    blade = math.sqrt((0.9**2 - 0.7**2) / 3.0) / 1500.0
    assert 1.5 < math.sqrt((together.u**2 - blade**2) / (apart.u**2 - blade**2)) < math.sqrt(6.0)


@pytest.mark.parametrize("job", [[], a_job(1), [(Opening("W1"), a_job(1)[0][1], None)] * 2])
def test_what_fewer_than_two_openings_share_is_not_tested(job):
    assert job_tests(job) == ()


def test_w_of_a_common_part_is_the_t_value_of_its_column_in_statsmodels_gls():
    # Both openings stacked, every common part at its prior in the covariance, that under test as a column.
    api = pytest.importorskip("statsmodels.api", reason="statsmodels is the independent implementation here")
    job = a_job(3, seed=9, ratio=0.001, shift=1.0)
    tests = job_tests(job)
    lengths = np.concatenate([a.values_mm[:8] for _, a, _ in job])
    y = np.concatenate(
        [[r.length.mm - too_long_mm(r.length.mm) for r in o.readings] - a.values_mm[:8] for o, a, _ in job]
    )
    own = []
    for opening, answer, _ in job:
        noise = [reading_noise_mm(r.length.mm, r.graduation_mm, "masonry") ** 2 for r in opening.readings]
        print_part = tests[0].allowed_u ** 2 * np.outer(answer.values_mm[:8], answer.values_mm[:8])
        own.append(np.diag(noise + np.array([0.0] * 6 + [CORNER_U_MM**2] * 2)) + answer.cov_mm2[:8, :8] - print_part)
    cov = np.zeros((24, 24))
    for i, block in enumerate(own):
        cov[8 * i : 8 * i + 8, 8 * i : 8 * i + 8] = block
    columns = [lengths, np.ones(24), lengths]
    for column, test in zip(columns, tests, strict=True):
        cov += test.allowed_u**2 * np.outer(column, column)
    for column, test in zip(columns, tests, strict=True):
        fit = api.GLS(y, column, sigma=cov).fit()
        u = float(np.sqrt(fit.normalized_cov_params[0, 0]))
        assert test.w == pytest.approx(float(fit.params[0]) / u, rel=0.01, abs=5e-3)


@pytest.mark.slow
def test_sound_jobs_of_twelve_openings_raise_an_alarm_in_at_most_the_level():
    alarms = sum(bool(found(job_tests(a_job(12, seed=s)))) for s in range(400))
    assert alarms <= 4  # P(more of 400 at 0.001) = 6e-5, Poisson


def test_the_document_names_units_and_points_to_the_cause():
    ratio, zero, scale = job_tests_document(job_tests(a_job(ratio=0.03)), "in")
    assert ratio["found"]
    assert "print" in ratio["says"]
    assert ratio["value_ratio"] == pytest.approx(0.031, abs=0.002)
    assert zero["value_mm"] is not None
    # What the print explains whole has no figure of its own.
    assert scale["value_ratio"] is None
    assert scale["detectable_ratio"] is None
    (_, hook, _) = job_tests_document(job_tests(a_job(shift=-25.4)), "in")
    assert "less than the photos" in hook["says"]
    assert "hook" in hook["says"]
    assert critical_w(3) == pytest.approx(hook["critical_w"], abs=0.005)


@pytest.mark.parametrize("seed", [1, 3, 4, 5])
def test_an_opening_whose_photo_measures_something_else_makes_no_common_cause(seed):
    """Half as large again as the opening, each length by its own share; the sound openings beside it share nothing."""
    job = a_job(3, seed=seed, bar=149.8)
    opening, answer, _ = job[0]
    shares = 1.5 * np.array([1.0, 1.003, 0.997, 1.07, 1.071, 1.068, 1.057, 1.03, 1.0])
    other = replace(answer, values_mm=answer.values_mm * shares)
    assert found(job_tests([(opening, other, None), *job[1:]])) == set()

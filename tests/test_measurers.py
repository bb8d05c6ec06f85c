"""Facts about what many readings say together: simulated crews whose faults are known, with the photo's own errors.

The crews measure with what design.md, *The adjustment*, and facts.md take for granted: an error shared by a job (print
scale), one shared by an opening, one a reading. Oracles: the simulation's own truth; Clopper and Pearson (1934).
"""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sizing.jobs.job import READINGS
from sizing.statistics.compared import Compared
from sizing.statistics.findings import FEWEST
from sizing.statistics.measurers import together

START = date(2026, 3, 2)
SIXTEENTH_MM = 25.4 / 16


def crew(
    rng, by, jobs=12, openings=3, shift_mm=0.0, scatter=1.0, slip_rate=0.01, scale=0.0, drift_mm=0.0, tape="class-2"
):
    """Readings of one crew: `drift_mm` grows over the jobs, one a week; `scale` in parts of the length."""
    rows = []
    for j in range(jobs):
        of_job = rng.normal(0.0, 0.001)  # print scale of the sheets of this job, parts of the length
        for o in range(openings):
            of_opening = rng.normal(0.0, 0.5)
            size = {"width": rng.uniform(700, 1500), "height": rng.uniform(900, 1800)}
            size["diagonal"] = np.hypot(size["width"], size["height"])
            for name in READINGS:
                length = size[name.split("_")[0]]
                d = shift_mm + drift_mm * j / max(jobs - 1, 1) + (of_job + scale) * length + of_opening
                d += rng.normal(0.0, 1.2 * scatter)
                if rng.random() < slip_rate:
                    d += rng.choice([25.4, -25.4, 12.7])
                on = START + timedelta(days=7 * j)
                rows.append(Compared(by, tape, f"{by}/{j}", f"{by}/{j}/{o}", name, on, length + d, d, 1.0))
    return rows


def shop(seed, jobs=12, **odd):
    """Twenty crews, of which the seventh has what `odd` says."""
    rng = np.random.default_rng(seed)
    return [row for i in range(20) for row in crew(rng, f"crew {i:02}", jobs=jobs, **(odd if i == 7 else {}))]


def found(rows):
    return [(t.group, f.kind) for t in together(rows, lambda r: r.by) for f in t.findings]


@pytest.mark.parametrize("seed", range(2))
def test_a_hook_bent_by_a_sixteenth_is_found_among_twenty_crews_as_a_shift(seed):
    assert found(shop(seed, jobs=30, shift_mm=SIXTEENTH_MM)) == [("crew 07", "shift")]


def test_the_interval_of_a_shift_holds_the_true_one_in_95_of_100():
    """At most 11 of 80 miss (binomial, 99.9 %), and not none of them."""
    rng = np.random.default_rng(1)
    missed = 0
    for _ in range(80):
        (mine,) = together(crew(rng, "a", jobs=8, openings=2, shift_mm=SIXTEENTH_MM), lambda r: r.by)
        missed += not mine.shift_mm.holds(SIXTEENTH_MM)
    assert 1 <= missed <= 11


@pytest.mark.parametrize("seed", range(2))
def test_a_careless_crew_is_found_by_scatter_or_slips_and_not_as_a_shift(seed):
    kinds = {kind for who, kind in found(shop(seed, scatter=1.8, slip_rate=0.08)) if who == "crew 07"}
    assert kinds
    assert kinds <= {"scatter", "slips"}


def test_one_careless_day_is_found_among_the_days_of_a_crew():
    rng = np.random.default_rng(5)
    rows = crew(rng, "crew 1", jobs=20)
    bad = START + timedelta(days=7 * 9)
    rows = [replace(r, difference_mm=r.difference_mm * 3.0) if r.on == bad else r for r in rows]
    days = together(rows, lambda r: str(r.on), unit=lambda r: r.opening, kinds=("scatter", "slips"))
    assert {t.group for t in days if t.findings} == {str(bad)}


@pytest.mark.parametrize(
    ("fault", "nature"),
    [({"shift_mm": 6.0}, "same-at-all-lengths"), ({"scale": 0.005}, "grows-with-length")],
)
def test_a_shift_at_all_lengths_is_told_from_one_that_grows_with_them(fault, nature):
    mine = next(t for t in together(shop(2, jobs=30, **fault), lambda r: r.by) if t.group == "crew 07")
    assert "shift" in [f.kind for f in mine.findings]
    assert mine.nature == nature


def test_a_hook_that_bends_more_and_more_is_found_as_a_trend():
    assert ("crew 07", "trend") in found(shop(3, drift_mm=5.0, jobs=30))


def test_what_everyone_shares_is_laid_to_nobody():
    rows = [replace(r, difference_mm=r.difference_mm + 2.0) for r in shop(4)]
    assert found(rows) == []


def test_two_crews_are_held_to_the_photo_since_neither_is_the_measure_of_the_other():
    rng = np.random.default_rng(6)
    rows = crew(rng, "a", shift_mm=3.0) + crew(rng, "b")
    assert found(rows) == [("a", "shift")]
    assert all(t.beyond_mm is None for t in together(rows, lambda r: r.by))


def test_nothing_is_concluded_from_fewer_than_twenty_readings():
    rows = crew(np.random.default_rng(7), "a", jobs=3, openings=1, shift_mm=30.0)[: FEWEST - 1]
    few = together([*rows, *crew(np.random.default_rng(8), "b")], lambda r: r.by)[0]
    assert (few.group, few.enough, few.readings, few.findings) == ("a", False, 19, ())
    assert few.shift_mm is None


def test_one_job_alone_gives_no_interval_of_a_shift():
    rows = crew(np.random.default_rng(9), "a", jobs=1, openings=5)
    (alone,) = together(rows, lambda r: r.by)
    assert alone.enough
    assert alone.shift_mm is None
    assert alone.findings == ()


def test_slips_per_hundred_have_the_exact_interval():
    """Clopper and Pearson (1934): 1 of 40 is 0.06 % to 13.16 % (quantiles of the beta distribution, from memory)."""
    rows = crew(np.random.default_rng(1), "a", jobs=5, openings=1, scatter=0.1, slip_rate=0.0)
    rows[3] = replace(rows[3], difference_mm=25.4)
    (said,) = together(rows, lambda r: r.by)
    assert said.slips == 1
    assert (said.slips_per_100.low, said.slips_per_100.high) == (
        pytest.approx(0.0633, abs=1e-3),
        pytest.approx(13.159, abs=1e-2),
    )


def test_a_bent_hook_of_three_eighths_is_a_shift_and_no_row_of_slips():
    rows = shop(11, shift_mm=9.5, slip_rate=0.0)
    mine = next(t for t in together(rows, lambda r: r.by) if t.group == "crew 07")
    assert mine.slips == 0
    assert [f.kind for f in mine.findings] == ["shift"]


def test_copies_of_one_job_are_no_sample_of_a_scatter():
    """A job folder kept twice: Student's test has no variance to go by. Warnings of libraries are errors here."""
    rng = np.random.default_rng(5)
    once = crew(rng, "a", jobs=1, openings=1)
    copies = [replace(r, job=f"a/{k}", opening=f"a/{k}/0") for k in range(4) for r in once]
    assert not [kind for who, kind in found([*copies, *crew(rng, "b", jobs=8)]) if (who, kind) == ("a", "scatter")]


def test_the_order_of_readings_does_not_matter():
    rng = np.random.default_rng(12)
    rows = crew(rng, "a", shift_mm=4.0) + crew(rng, "b", scatter=2.0) + crew(rng, "c")
    assert found(rows[::-1]) == found(rows) != []


@pytest.mark.slow
def test_crews_without_fault_are_rarely_pointed_at_and_a_bent_hook_is_mostly_found():
    """Level 0.05 over the table: of 100 sound shops at most 11 give a false alarm (binomial, 99 %)."""
    alarms = sum(bool(found(shop(1000 + seed))) for seed in range(100))
    hits = sum(("crew 07", "shift") in found(shop(2000 + seed, jobs=20, shift_mm=SIXTEENTH_MM)) for seed in range(50))
    print(f"false alarms {alarms} of 100 shops of 20 crews, 12 jobs each; bent hooks found {hits} of 50, 20 jobs each")
    assert alarms <= 11
    assert hits >= 40

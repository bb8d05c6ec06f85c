"""What many readings of one person, tape or day say together, held to the photos of the same openings.

Tells a shift that all readings share (a bent hook) from readings that spread or slip (a hurried day). The unit that
repeats is the job, not the reading: readings of one job share sheets, light and scaffold, and err together.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from sizing.jobs.job import Tolerance
from sizing.statistics.compared import (
    FEWEST_RESIDUALS,
    Compared,
    mean_of,
    parted,
    residuals_of,
    slope_over_units,
    slope_within,
    spread_within,
)
from sizing.statistics.findings import FEWEST, LEVEL, Finding, Kind, Together
from sizing.statistics.pooling import Interval, Pooled, combine, holm, levelled
from vision.request import Array

# Guess: fewer jobs or days than this show no trend.
_TREND_JOBS, _TREND_DAYS = 5, 3
_TREND_DAYS_SHOWN = 30.0
# Scatters whose logarithms differ by less are the same.
_SAME_LOG = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """The readings of one group as arrays, slips marked."""

    name: str
    rows: tuple[Compared, ...]
    slip: np.ndarray[tuple[int], np.dtype[np.bool_]]
    means_mm: Array
    u_mm: Array
    slopes: Array
    shift: Pooled | None
    log_spreads: Array
    opening_slipped: tuple[bool, ...]


def together(
    rows: Iterable[Compared],
    group: Callable[[Compared], str],
    *,
    unit: Callable[[Compared], str] = lambda r: r.job,
    kinds: Sequence[Kind] = ("shift", "scatter", "slips", "trend"),
) -> tuple[Together, ...]:
    """Return what the readings of each group say together, by the groups' names.

    Parameters
    ----------
    rows : iterable of Compared
    group : callable
        The group of a reading: a person, a tape, both, a day.
    unit : callable
        What repeats independently; the job, for a single day the opening.
    kinds : sequence of str
        What is tested; all tests of all groups share one level.

    Notes
    -----
    Shift: means of units by random effects; against what the other groups have in common where two or more of them can
    be compared, since a part of every difference is the photo's (edge, paper), and brought to one slope, since that of
    a job's sheets is in its slope too (`sizing.statistics.pooling.levelled`); else against the photo. Scatter:
    Student's test on the logarithms of the units' variances, whose own variance hardly depends on the scatter. Slips:
    Fisher's exact test on openings with a slip, since one mishap may spoil all readings of an opening. Trend: least
    squares over units by day. Holm's method over the whole table.
    Errors of the photo that all jobs of a group share, such as sheets printed to one wrong scale, look like the group's
    own: `slope_mm_per_m` tells them only where lengths vary.

    References
    ----------
    Holm (1979), Scand. J. Statist. 6, 65-70; Bartlett and Kendall (1946) for logarithms of variances.
    """
    found: dict[str, list[Compared]] = defaultdict(list)
    for row in rows:
        found[group(row)].append(row)
    groups = {name: _group(name, found[name], unit) for name in sorted(found)}
    ranked = [g for g in groups.values() if len(g.rows) >= FEWEST]
    level = {
        g.name: combine(means, g.u_mm)
        for g, means in zip(ranked, levelled([(g.means_mm, g.slopes) for g in ranked]), strict=True)
        if len(means) > 1
    }
    result, tests = {}, dict[tuple[str, Kind], tuple[float, bool]]()
    for name, mine in groups.items():
        said = _counted(mine)
        if mine in ranked:
            others = [g for g in ranked if g is not mine]
            said = _described(said, mine, unit, kinds)
            said, found_p = _tested(said, mine, others, level, unit, kinds)
            tests |= {(name, kind): p for kind, p in found_p.items() if kind in kinds}
        result[name] = said
    adjusted = holm([p for p, _ in tests.values()])
    for ((name, kind), (p, worse)), p_table in zip(tests.items(), adjusted, strict=True):
        if p_table <= LEVEL and worse:
            result[name] = replace(result[name], findings=(*result[name].findings, Finding(kind, p, p_table)))
    return tuple(result.values())


def _group(name: str, rows: Sequence[Compared], unit: Callable[[Compared], str]) -> _Group:
    d_mm = np.array([r.difference_mm for r in rows])
    centre = float(np.median(d_mm)) if len(rows) >= FEWEST else 0.0
    limit = np.array([max(Tolerance().of(r.name)) + 2.0 * r.u_mm for r in rows])
    slip = np.abs(d_mm - centre) > limit
    kept = [r for r, bad in zip(rows, slip, strict=True) if not bad]
    slipped: dict[str, bool] = defaultdict(bool)
    for row, bad in zip(rows, slip, strict=True):
        slipped[row.opening] |= bool(bad)
    units = list(parted(kept, unit).values())
    means, u = (np.array([mean_of(part)[i] for part in units]) for i in (0, 1))
    slopes = np.array([slope_within(part) for part in units])
    shift = combine(means, u) if len(units) > 1 else None
    spreads = [spread_within(part) for part in units]
    logs = np.array([np.log(s) for s in spreads if s is not None and s > 0.0])
    return _Group(name, tuple(rows), slip, means, u, slopes, shift, logs, tuple(slipped.values()))


def _counted(group: _Group) -> Together:
    slips, n = int(group.slip.sum()), len(group.rows)
    exact = stats.binomtest(slips, n).proportion_ci(0.95, method="exact")
    days = sorted(r.on for r in group.rows if r.on is not None)
    return Together(
        group=group.name,
        readings=n,
        openings=len({r.opening for r in group.rows}),
        jobs=len({r.job for r in group.rows}),
        first=days[0] if days else None,
        last=days[-1] if days else None,
        slips=slips,
        slips_per_100=Interval(100.0 * slips / n, 100.0 * float(exact.low), 100.0 * float(exact.high)),
    )


def _described(said: Together, group: _Group, unit: Callable[[Compared], str], kinds: Sequence[Kind]) -> Together:
    kept = [r for r, bad in zip(group.rows, group.slip, strict=True) if not bad]
    if not kept:
        return said
    residuals, dof = residuals_of(kept)
    scatter = None
    if dof >= FEWEST_RESIDUALS:
        sum_mm2 = float(residuals @ residuals)
        low, high = (float(np.sqrt(sum_mm2 / stats.chi2.ppf(q, dof))) for q in (0.975, 0.025))
        scatter = Interval(float(np.sqrt(sum_mm2 / dof)), low, high)
    return replace(
        said,
        shift_mm=group.shift.interval if group.shift is not None and "shift" in kinds else None,
        slope_mm_per_m=slope_over_units(kept, unit),
        scatter_mm=scatter,
        mean_length_mm=float(np.mean([r.tape_mm for r in kept])),
    )


def _common(shifts: Sequence[Pooled]) -> Pooled:
    return combine(np.array([s.value for s in shifts]), np.array([s.u for s in shifts]))


def _tested(
    said: Together,
    mine: _Group,
    others: Sequence[_Group],
    level: Mapping[str, Pooled],
    unit: Callable[[Compared], str],
    kinds: Sequence[Kind],
) -> tuple[Together, dict[Kind, tuple[float, bool]]]:
    """Return what is found against the other groups, and p of each kind with whether it would be worth a look."""
    tests: dict[Kind, tuple[float, bool]] = {}
    shifts = [g.shift for g in others if g.shift is not None]
    if mine.shift is not None and "shift" in kinds:
        against: Pooled = mine.shift
        if len(shifts) > 1:
            common = _common([level[g.name] for g in others if g.name in level])
            against = level[mine.name].minus(common)
            excess_mm = mine.shift.value - _common(shifts).value
            said = replace(said, beyond_mm=against.interval, excess_mm=excess_mm)
        tests["shift"] = (against.p, True)
    rest = np.concatenate([g.log_spreads for g in others]) if others else np.zeros(0)
    # Copies of one job have one scatter to the last digit: that is no sample of any.
    if all(len(logs) > 1 and float(np.ptp(logs)) > _SAME_LOG for logs in (mine.log_spreads, rest)):
        student = stats.ttest_ind(mine.log_spreads, rest)
        tests["scatter"] = (float(student.pvalue), float(student.statistic) > 0.0)
    slipped = [s for g in others for s in g.opening_slipped]
    if slipped:
        table = np.array([[sum(part), len(part) - sum(part)] for part in (mine.opening_slipped, slipped)])
        fisher = stats.fisher_exact(table)
        tests["slips"] = (float(fisher.pvalue), float(fisher.statistic) > 1.0)
    kept = [r for r, bad in zip(mine.rows, mine.slip, strict=True) if not bad and r.on is not None]
    parts = list(parted(kept, unit).values())
    days = np.array([part[0].on.toordinal() for part in parts if part[0].on is not None], dtype=np.float64)
    if "trend" in kinds and len(days) >= _TREND_JOBS and len(set(days.tolist())) >= _TREND_DAYS:
        fit = stats.linregress(days, np.array([mean_of(part)[0] for part in parts]))
        half = float(stats.t.ppf(0.975, len(days) - 2) * fit.stderr)
        slope = float(fit.slope)
        said = replace(
            said,
            trend_mm=Interval(*((slope + side) * _TREND_DAYS_SHOWN for side in (0.0, -half, half))),
        )
        tests["trend"] = (float(fit.pvalue), True)
    return said, {kind: test for kind, test in tests.items() if np.isfinite(test[0])}

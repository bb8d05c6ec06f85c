"""What many readings of one person, tape or day say together, held to the photos of the same openings.

Tells a shift that all readings share (a bent hook) from readings that spread or slip (a hurried day). The unit that
repeats is the job, not the reading: readings of one job share sheets, light and scaffold, and err together.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np
from scipy import stats

from sizing.jobs.job import Tolerance
from sizing.log.pooling import Interval, Pooled, combine, holm, levelled
from vision.request import Array

Kind = Literal["shift", "scatter", "slips", "trend"]
Nature = Literal["same-at-all-lengths", "grows-with-length", "cannot-tell"]

# The order of this program: fewer readings are counted and shown, and nothing is concluded from them.
FEWEST = 20
# A difference counts as found at this level of the whole table (Holm); common practice, no source.
LEVEL = 0.05
# Guess: a spread of fewer residuals than this says nothing of its own.
_FEWEST_RESIDUALS = 3
# Guess: lengths of one unit spread less than this show no growth with the length, m2.
_LEAST_SPREAD_M2 = 0.01
# Guess: fewer jobs or days than this show no trend.
_TREND_JOBS, _TREND_DAYS = 5, 3
_TREND_DAYS_SHOWN = 30.0


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading and its photo: lengths in mm, `u_mm` standard uncertainty of the difference; keys of its places."""

    by: str
    tape: str
    job: str
    opening: str
    name: str
    on: date | None
    tape_mm: float
    difference_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class Finding:
    """A difference that chance does not explain at `LEVEL` over the table: `p` as tested, `p_table` after Holm."""

    kind: Kind
    p: float
    p_table: float


@dataclass(frozen=True, slots=True)
class Together:
    """What the readings of one group say together; intervals hold 95 %, None where too little is known.

    `shift_mm`: mean of reading minus photo, slips left out; `beyond_mm`: the same beyond what the other groups have in
    common, units brought to one slope, None where fewer than two of them can be compared with; `excess_mm` without
    bringing them there. `slope_mm_per_m`: growth of the difference with the
    length. `scatter_mm`: standard deviation within an opening, the photo's own part in it. `trend_mm`: change in
    30 days. `slips` are readings away from this group's median by more than the default tolerance and U95.
    """

    group: str
    readings: int
    openings: int
    jobs: int
    first: date | None
    last: date | None
    slips: int
    slips_per_100: Interval
    shift_mm: Interval | None = None
    beyond_mm: Interval | None = None
    slope_mm_per_m: Interval | None = None
    scatter_mm: Interval | None = None
    trend_mm: Interval | None = None
    mean_length_mm: float = 0.0
    excess_mm: float | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def enough(self) -> bool:
        """Whether there are readings enough to conclude anything."""
        return self.readings >= FEWEST

    @property
    def nature(self) -> Nature:
        """Whether the shift is the same at all lengths (a hook), grows with them (a scale), or cannot be told."""
        slope = self.slope_mm_per_m
        if self.shift_mm is None or slope is None or not self.mean_length_mm:
            return "cannot-tell"
        shift_mm = self.shift_mm.value if self.excess_mm is None else self.excess_mm
        all_scale = shift_mm / (self.mean_length_mm / 1000.0)  # the slope that would explain the whole shift
        flat, scaled = slope.holds(0.0), slope.holds(all_scale)
        if flat and not scaled:
            return "same-at-all-lengths"
        return "grows-with-length" if scaled and not flat else "cannot-tell"


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """The readings of one group as arrays, slips marked."""

    name: str
    rows: tuple[Compared, ...]
    d_mm: Array
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
    a job's sheets is in its slope too (`sizing.log.pooling.levelled`); else against the photo. Scatter:
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
    units = list(_parted(kept, unit).values())
    means, u = (np.array([_mean(part)[i] for part in units]) for i in (0, 1))
    slopes = np.array([_slope_within(part) for part in units])
    shift = combine(means, u) if len(units) > 1 else None
    spreads = [_spread(part) for part in units]
    logs = np.array([np.log(s) for s in spreads if s is not None and s > 0.0])
    return _Group(name, tuple(rows), d_mm, slip, means, u, slopes, shift, logs, tuple(slipped.values()))


def _parted(rows: Iterable[Compared], key: Callable[[Compared], str]) -> Mapping[str, list[Compared]]:
    parts: dict[str, list[Compared]] = defaultdict(list)
    for row in rows:
        parts[key(row)].append(row)
    return parts


def _mean(rows: Sequence[Compared]) -> tuple[float, float]:
    """Return mean difference of a unit and its u, mm: photos of two openings err apart, readings of one together."""
    openings = len({r.opening for r in rows})
    u = float(np.sqrt(np.mean([r.u_mm**2 for r in rows]) / openings))
    return float(np.mean([r.difference_mm for r in rows])), u


def _residuals(rows: Sequence[Compared]) -> tuple[Array, int]:
    """Return the differences less their opening's mean, mm, and the degrees of freedom."""
    parts = [np.array([r.difference_mm for r in part]) for part in _parted(rows, lambda r: r.opening).values()]
    return np.concatenate([p - p.mean() for p in parts]), sum(len(p) - 1 for p in parts)


def _slope_within(rows: Sequence[Compared]) -> float:
    """Return the growth of the difference with the length within openings, mm per m; NaN where lengths are alike."""
    x_m, y_mm = list[Array](), list[Array]()
    for part in _parted(rows, lambda r: r.opening).values():
        length, d = np.array([r.tape_mm / 1000.0 for r in part]), np.array([r.difference_mm for r in part])
        x_m.append(length - length.mean())
        y_mm.append(d - d.mean())
    x, y = np.concatenate(x_m), np.concatenate(y_mm)
    return float(x @ y / (x @ x)) if x @ x > _LEAST_SPREAD_M2 else float("nan")


def _spread(rows: Sequence[Compared]) -> float | None:
    """Return the variance within openings, mm2; None where too few residuals are left."""
    residuals, dof = _residuals(rows)
    return float(residuals @ residuals) / dof if dof >= _FEWEST_RESIDUALS else None


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
    residuals, dof = _residuals(kept)
    scatter = None
    if dof >= _FEWEST_RESIDUALS:
        sum_mm2 = float(residuals @ residuals)
        low, high = (float(np.sqrt(sum_mm2 / stats.chi2.ppf(q, dof))) for q in (0.975, 0.025))
        scatter = Interval(float(np.sqrt(sum_mm2 / dof)), low, high)
    return replace(
        said,
        shift_mm=group.shift.interval if group.shift is not None and "shift" in kinds else None,
        slope_mm_per_m=_slope(kept, unit),
        scatter_mm=scatter,
        mean_length_mm=float(np.mean([r.tape_mm for r in kept])),
    )


def _slope(rows: Sequence[Compared], unit: Callable[[Compared], str]) -> Interval | None:
    """Return the growth of the difference with the length, mm per metre, from the slopes within units."""
    slopes, u = [], []
    for part in _parted(rows, unit).values():
        x, y = np.array([r.tape_mm / 1000.0 for r in part]), np.array([r.difference_mm for r in part])
        spread = float(np.sum((x - x.mean()) ** 2))
        if len(part) < 2 * _FEWEST_RESIDUALS or spread < _LEAST_SPREAD_M2:
            continue
        (slope, _), cov = np.polyfit(x - x.mean(), y, 1, cov=True)  # SciPy's costs twenty times as much
        slopes.append(float(slope))
        u.append(max(float(np.sqrt(cov[0, 0])), 1e-6))
    return combine(np.array(slopes), np.array(u)).interval if len(slopes) > 1 else None


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
    if min(len(mine.log_spreads), len(rest)) > 1:
        student = stats.ttest_ind(mine.log_spreads, rest)
        tests["scatter"] = (float(student.pvalue), float(student.statistic) > 0.0)
    slipped = [s for g in others for s in g.opening_slipped]
    if slipped:
        table = np.array([[sum(part), len(part) - sum(part)] for part in (mine.opening_slipped, slipped)])
        fisher = stats.fisher_exact(table)
        tests["slips"] = (float(fisher.pvalue), float(fisher.statistic) > 1.0)
    kept = [r for r, bad in zip(mine.rows, mine.slip, strict=True) if not bad and r.on is not None]
    parts = list(_parted(kept, unit).values())
    days = np.array([part[0].on.toordinal() for part in parts if part[0].on is not None], dtype=np.float64)
    if "trend" in kinds and len(days) >= _TREND_JOBS and len(set(days.tolist())) >= _TREND_DAYS:
        fit = stats.linregress(days, np.array([_mean(part)[0] for part in parts]))
        half = float(stats.t.ppf(0.975, len(days) - 2) * fit.stderr)
        slope = float(fit.slope)
        said = replace(
            said,
            trend_mm=Interval(*((slope + side) * _TREND_DAYS_SHOWN for side in (0.0, -half, half))),
        )
        tests["trend"] = (float(fit.pvalue), True)
    return said, {kind: test for kind, test in tests.items() if np.isfinite(test[0])}

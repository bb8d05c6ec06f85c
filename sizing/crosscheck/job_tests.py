"""What the openings of one job have in common: one print scale a print run, one zero and one scale a tape.

A ratio over all openings points to the print (or the declared size of the reference), a shift to the hook. The tests
explain; nothing is corrected by them: a photo tuned by the tape is no second tape.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtri

from sizing.crosscheck.adjustment import CORNER_U_MM, FLOOR_MM2, STATIONS
from sizing.crosscheck.consistency import CrossCheck, expected_lengths_mm, sound_readings, tape_of
from sizing.crosscheck.snooping import POWER, critical_w
from sizing.jobs.job import Opening
from sizing.tape import reading_noise_mm, tape_parts_mm
from vision.request import PARTS, Array, Estimate

Kind = Literal["print_scale", "tape_zero", "tape_scale"]
# One opening cannot tell what is common from what is its own.
_LEAST_OPENINGS = 2
# Causes whose likelihoods differ by less than a factor of 100 are not told apart (taste, no effect on verdicts).
_TOLD_APART = 2.0 * np.log(100.0)
# A common part is significant at 5 %, both ways, also without the opening that shows it most.
_BESIDE = 1.96
# A part that is known exactly is still tested: 1e-7, or 0.1 um.
_LEAST_U = {"print_scale": 1e-7, "tape_zero": 1e-4, "tape_scale": 1e-7}
# What is common to the covariance of one photo may take no more than this of its least direction.
_MOST = 0.9
_UNSEEN = 1e-12


@dataclass(frozen=True, slots=True)
class CommonTest:
    """The test of one part that the openings of a job have in common.

    `value` and `u` are a ratio less 1 (tape over photo: positive when the print is larger than declared, or the blade
    is too short) or a shift in mm, as the readings and measures say; `allowed_u` is how far it was expected to lie
    from nil; `least` is the least value found with probability 0.95. `group` names, most plausible first, the parts
    that explain the same as well, itself among them. `labels` are the openings that it concerns.
    """

    kind: Kind
    of: str
    value: float
    u: float
    allowed_u: float
    w: float
    critical: float
    least: float
    found: bool
    labels: tuple[str, ...]
    group: tuple[tuple[Kind, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Differences reading less measure of one opening (n,) mm, lengths, own inverse covariance, and whose they are."""

    label: str
    difference_mm: Array
    lengths_mm: Array
    inverse: Array
    tapes: tuple[str, ...]
    print_run: str


@dataclass(frozen=True, slots=True, eq=False)
class _Common:
    """The common parts: kind and owner of each, their columns (N, q), and the variance each is expected to have."""

    keys: tuple[tuple[Kind, str], ...]
    columns: Array
    variances: Array
    labels: tuple[tuple[str, ...], ...]


def job_tests(openings: Sequence[tuple[Opening, Estimate, CrossCheck | None]]) -> tuple[CommonTest, ...]:
    """Return the tests of what the openings of one job have in common; empty with fewer than two measured.

    Parameters
    ----------
    openings : each opening with the photo's measures and its own cross-check (for the edge that it fits).

    Returns
    -------
    tuple of CommonTest
        Print runs first, then tapes; each only where at least two openings share it.

    Notes
    -----
    Baarda's w-test with a hypothesis for each common part and for each reading, iterated: the largest |w| over its
    critical value is freed, so that slips do not pass for a common part nor the other way round. What one opening shows
    alone, however clearly, is not common: without the one that shows it most, a part must still be significant at 5 %.
    Photos of different
    openings are taken as independent but for the print. Openings in one photo share its camera: their covariance is
    taken times their number, as if together they said no more than one.

    References
    ----------
    Mixed model (JCGM 102 for the common parts; the w-test of a general hypothesis: Teunissen, Testing theory); level
    0.001 divided among the parts tested, power 0.95: design.md, *The cross-check*.
    """
    u_ratio = {_print_run(o): _u_ratio(e) for o, e, _ in openings}
    shared = Counter(sha256 for _, e, _ in openings for sha256 in {p.sha256 for p in e.photos if p.sha256})
    made = (
        _block(o, e, c, u_ratio[_print_run(o)], max((shared[p.sha256] for p in e.photos if p.sha256), default=1))
        for o, e, c in openings
    )
    blocks = [b for b in made if b is not None]
    common = _common(blocks, openings, u_ratio)
    tested = [k for k, labels in enumerate(common.labels) if len(labels) >= _LEAST_OPENINGS]
    if not tested:
        return ()
    freed, slips = _search(blocks, common, tested)
    return tuple(_tested(blocks, common, freed, slips, k, tested) for k in tested)


def _search(blocks: Sequence[_Block], common: _Common, tested: Sequence[int]) -> tuple[list[int], list[int]]:
    """Return the common parts and the readings (rows) that are outliers, freed one by one."""
    freed: list[int] = []
    slips: list[int] = []
    while True:
        w_parts, w_rows, _, shown = _statistics(blocks, common, freed, slips)
        part = np.zeros(len(common.keys))
        part[tested] = np.abs(w_parts[tested]) / critical_w(len(tested))
        row = np.abs(w_rows) / critical_w(len(w_rows))
        if max(part.max(), row.max()) <= 1.0:
            return freed, slips
        if part.max() < row.max():
            slips.append(int(np.argmax(row)))
            continue
        k = _most_plausible(common, blocks, freed, slips, part)
        alone = _rows_alone(blocks, common, freed, slips, k, shown[k])
        if alone is None:
            freed.append(k)
        else:
            slips.append(int(alone[np.argmax(row[alone])]))


def _rows_alone(
    blocks: Sequence[_Block], common: _Common, freed: Sequence[int], slips: Sequence[int], k: int, shown: Array
) -> Array | None:
    """Return the rows of the opening that shows part k most, less the slips, where without it nothing is left."""
    ends = np.cumsum([len(b.difference_mm) for b in blocks])
    starts = np.concatenate([[0], ends[:-1]])
    sign = np.sign(shown.sum())
    most = int(np.argmax(sign * np.add.reduceat(shown, starts)))
    rows = np.setdiff1d(np.arange(starts[most], ends[most]), slips)
    w, _, _, _ = _statistics(blocks, common, freed, [*slips, *rows.tolist()])
    return None if sign * w[k] > _BESIDE or rows.size == 0 else rows


def _most_plausible(
    common: _Common, blocks: Sequence[_Block], freed: Sequence[int], slips: Sequence[int], part: Array
) -> int:
    """Return the part of the largest w; of those that explain as much, the one expected to vary most for it."""
    w, _, gain, _ = _statistics(blocks, common, freed, slips)
    like = np.flatnonzero(part >= part.max() - 1e-6)
    far = np.abs(w[like] / np.maximum(gain[like], _UNSEEN)) / np.sqrt(common.variances[like])
    return int(like[np.argmin(far)])


def _statistics(
    blocks: Sequence[_Block], common: _Common, freed: Sequence[int], slips: Sequence[int]
) -> tuple[Array, Array, Array, Array]:
    """Return w of the common parts (q,) and of the readings (N,), by how much a part raises its w (q,), what shows it.

    The last (q, N) is what each reading adds to the numerator of a part's w.
    """
    d = np.concatenate([b.difference_mm for b in blocks])
    unit = np.eye(len(d))[:, list(slips)]
    design = np.hstack([common.columns, unit])
    weighted, inverse_d, diagonal = _by_block(blocks, design, d)
    precision = np.concatenate([1.0 / common.variances, np.zeros(len(slips))])
    precision[list(freed)] = 0.0
    information = design.T @ weighted + np.diag(precision)
    # Ratios and mm stand side by side: scaled before what is not determined drops out.
    scale = 1.0 / np.sqrt(np.diag(information))
    inside = np.linalg.pinv(information * np.outer(scale, scale), rcond=1e-10, hermitian=True) * np.outer(scale, scale)
    left = inverse_d - weighted @ (inside @ (design.T @ inverse_d))
    # Of the readings: the diagonal of M = B - B X S X' B.
    square = diagonal - np.einsum("ij,jk,ik->i", weighted, inside, weighted)
    seen = square > 1e-9 * diagonal
    w_rows = np.where(seen, left / np.sqrt(np.where(seen, square, 1.0)), 0.0)
    columns = common.columns
    own = columns.T @ weighted
    all_of = np.einsum("ij,ij->j", columns, weighted[:, : columns.shape[1]])
    part = all_of - np.einsum("ij,jk,ik->i", own, inside, own)
    clear = part > 1e-9 * all_of
    gain = np.sqrt(np.where(clear, part, 0.0))
    w_parts = np.where(clear, (columns.T @ left) / np.where(clear, gain, 1.0), 0.0)
    return w_parts, w_rows, gain, columns.T * left


def _by_block(blocks: Sequence[_Block], design: Array, d: Array) -> tuple[Array, Array, Array]:
    """Return B X (N, k), B d (N,) and the diagonal of B (N,), B the inverse of what the openings have of their own."""
    weighted, inverse_d, diagonal = [], [], []
    at = 0
    for block in blocks:
        rows = slice(at, at + len(block.difference_mm))
        weighted.append(block.inverse @ design[rows])
        inverse_d.append(block.inverse @ d[rows])
        diagonal.append(np.diag(block.inverse))
        at = rows.stop
    return np.concatenate(weighted), np.concatenate(inverse_d), np.concatenate(diagonal)


def _tested(
    blocks: Sequence[_Block],
    common: _Common,
    freed: Sequence[int],
    slips: Sequence[int],
    k: int,
    tested: Sequence[int],
) -> CommonTest:
    """Return the test of part k beside all others that were freed; what they explain whole has no value."""
    w, _, gain, _ = _statistics(blocks, common, [j for j in freed if j != k], slips)
    critical = critical_w(len(tested))
    allowed = float(np.sqrt(common.variances[k]))
    kind, of = common.keys[k]
    spread = 1.0 / float(gain[k]) if gain[k] > 0.0 else float("inf")
    value = float(w[k]) * spread if gain[k] > 0.0 else 0.0
    found = k in freed
    group: tuple[tuple[Kind, str], ...] = ()
    if found:
        alike = [j for j in tested if j == k or (j not in freed and w[k] ** 2 - w[j] ** 2 < _TOLD_APART)]
        far = np.abs(w) / np.maximum(gain, _UNSEEN) / np.sqrt(common.variances)
        group = tuple(common.keys[j] for j in sorted(alike, key=lambda j: float(far[j])))
    return CommonTest(
        kind,
        of,
        value,
        float(np.sqrt(max(spread**2 - allowed**2, 0.0))),
        allowed,
        float(w[k]),
        critical,
        (critical + float(ndtri(POWER))) * spread,
        found,
        common.labels[k],
        group,
    )


def _print_run(opening: Opening) -> str:
    """Return what stands for one print run: kind and size of the reference, and its bars as measured."""
    reference, bar = opening.seen_reference, opening.check_bar
    size = "" if reference.width_mm is None else f" {reference.width_mm:g} x {reference.height_mm:g} mm"
    bars = [f"{q.value_mm:g} mm" for q in (bar.across, bar.along) if q is not None]
    return reference.kind + size + (f", bars {' and '.join(bars)}" if bars else "")


def _tape_name(tape: tuple[str, str | None]) -> str:
    return tape[0] if tape[1] is None else f"{tape[0]} ({tape[1]})"


def _u_ratio(estimate: Estimate) -> float:
    """Return the standard uncertainty of the size of the reference that all its measures share, as a ratio.

    The budget has it for each measure; of two independent directions a half of the variance is common to both.
    """
    parts = estimate.budget_mm[:8, [PARTS.index("print_scale"), PARTS.index("reference_size")]]
    ratio = np.hypot(parts[:, 0], parts[:, 1]) / estimate.values_mm[:8]
    shared = float(np.median(ratio[:6])) / math.sqrt(2.0)
    return max(shared, _LEAST_U["print_scale"])


def _block(
    opening: Opening, estimate: Estimate, check: CrossCheck | None, u_ratio: float, in_photo: int
) -> _Block | None:
    readings = sound_readings(opening)
    if not readings:
        return None
    rows = [STATIONS.index(r.name) for r in readings]
    edge = np.zeros(8) if check is None or check.edge is None else np.asarray(check.edge.shift_nine_mm)[:8]
    measures = estimate.values_mm[:8] + edge
    lengths = measures[rows]
    own = [
        reading_noise_mm(r.length.mm, r.graduation_mm, opening.wall) ** 2
        + (CORNER_U_MM**2 if r.name.startswith("diagonal") else 0.0)
        for r in readings
    ]
    photo = estimate.cov_mm2[np.ix_(rows, rows)] + FLOOR_MM2 * np.eye(len(rows))
    # Less the ratio, which is the job's: never more of it than the covariance holds (rank-one bound).
    held = float(lengths @ np.linalg.solve(photo, lengths))
    photo = photo - min(u_ratio**2, _MOST / held) * np.outer(lengths, lengths)
    cov = in_photo * photo + np.diag(own)
    said = np.array(list(expected_lengths_mm(readings).values()))
    return _Block(
        opening.label,
        said - lengths,
        lengths,
        np.asarray(np.linalg.inv(cov), dtype=np.float64),
        tuple(_tape_name(tape_of(r)) for r in readings),
        _print_run(opening),
    )


def _common(
    blocks: Sequence[_Block],
    openings: Sequence[tuple[Opening, Estimate, CrossCheck | None]],
    u_ratio: dict[str, float],
) -> _Common:
    """Return the common parts of all openings with their columns."""
    runs = tuple(dict.fromkeys(b.print_run for b in blocks))
    classes = {_tape_name(tape_of(r)): r.tape for o, _, _ in openings for r in o.readings}
    used = [t for b in blocks for t in b.tapes]
    tapes = tuple(dict.fromkeys(used))
    lengths = np.concatenate([b.lengths_mm for b in blocks]) if blocks else np.zeros(0)
    owner = np.array([b.print_run for b in blocks for _ in b.tapes])
    by_tape = np.array(used)
    keys: list[tuple[Kind, str]] = []
    columns, variances, labels = [], [], []
    for run in runs:
        keys.append(("print_scale", run))
        columns.append(np.where(owner == run, lengths, 0.0))
        variances.append(u_ratio[run] ** 2)
        labels.append(tuple(b.label for b in blocks if b.print_run == run))
    for tape in tapes:
        mine = by_tape == tape
        zero, scale = tape_parts_mm(lengths[mine], classes[tape])
        ratio = float(np.median(scale / lengths[mine]))
        concerned = tuple(b.label for b in blocks if tape in b.tapes)
        keys += [("tape_zero", tape), ("tape_scale", tape)]
        columns += [np.where(mine, 1.0, 0.0), np.where(mine, lengths, 0.0)]
        variances += [max(zero, _LEAST_U["tape_zero"]) ** 2, max(ratio, _LEAST_U["tape_scale"]) ** 2]
        labels += [concerned, concerned]
    design = np.column_stack(columns) if columns else np.zeros((0, 0))
    return _Common(tuple(keys), design, np.array(variances), tuple(labels))

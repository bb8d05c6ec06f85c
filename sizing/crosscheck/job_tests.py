"""What the openings of one job have in common: one print scale a print run, one zero and one scale a tape.

A ratio over all openings points to the print (or the declared size of the reference), a shift to the hook. The tests
explain; nothing is corrected by them: a photo tuned by the tape is no second tape.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from sizing.crosscheck.common_parts import Block, Common, Kind, block_of, common_of, print_run_of, shared_u_ratio
from sizing.crosscheck.consistency import CrossCheck
from sizing.crosscheck.snooping import POWER, critical_w
from sizing.jobs.job import Opening
from vision.request import Array, Estimate

# One opening cannot tell what is common from what is its own.
_LEAST_OPENINGS = 2
# Causes whose likelihoods differ by less than a factor of 100 are not told apart (taste, no effect on verdicts).
_TOLD_APART = 2.0 * np.log(100.0)
# A common part is significant at 5 %, both ways, also without the opening that shows it most.
_BESIDE = 1.96
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
    critical value is freed, so that slips do not pass for a common part nor the other way round; a part
    that is not significant beside the slips found after it is taken back. What one opening shows alone, however
    clearly, is not common: without the one that shows it most, a part must still be significant at 5 %.
    Photos of different
    openings are taken as independent but for the print. Openings in one photo share its camera: their covariance is
    taken times their number, as if together they said no more than one.

    References
    ----------
    Mixed model (JCGM 102 for the common parts; the w-test of a general hypothesis: Teunissen, Testing theory); level
    0.001 divided among the parts tested, power 0.95: design.md, *The cross-check*.
    """
    u_ratio = {print_run_of(o): shared_u_ratio(e) for o, e, _ in openings}
    shared = Counter(sha256 for _, e, _ in openings for sha256 in {p.sha256 for p in e.photos if p.sha256})
    made = (
        block_of(o, e, c, u_ratio[print_run_of(o)], max((shared[p.sha256] for p in e.photos if p.sha256), default=1))
        for o, e, c in openings
    )
    blocks = [b for b in made if b is not None]
    common = common_of(blocks, openings, u_ratio)
    tested = [k for k, labels in enumerate(common.labels) if len(labels) >= _LEAST_OPENINGS]
    if not tested:
        return ()
    freed, slips = _search(blocks, common, tested)
    freed = _still_seen(blocks, common, freed, slips, tested)
    return tuple(_tested(blocks, common, freed, slips, k, tested) for k in tested)


def _search(blocks: Sequence[Block], common: Common, tested: Sequence[int]) -> tuple[list[int], list[int]]:
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


def _still_seen(
    blocks: Sequence[Block], common: Common, freed: Sequence[int], slips: Sequence[int], tested: Sequence[int]
) -> list[int]:
    """Return the freed parts that are significant beside all slips: one may have been freed for what slips explain."""
    kept = list(freed)
    while kept:
        w = [abs(float(_statistics(blocks, common, [j for j in kept if j != k], slips)[0][k])) for k in kept]
        least = int(np.argmin(w))
        if w[least] > critical_w(len(tested)):
            break
        kept.pop(least)
    return kept


def _rows_alone(
    blocks: Sequence[Block], common: Common, freed: Sequence[int], slips: Sequence[int], k: int, shown: Array
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
    common: Common, blocks: Sequence[Block], freed: Sequence[int], slips: Sequence[int], part: Array
) -> int:
    """Return the part of the largest w; of those that explain as much, the one expected to vary most for it."""
    w, _, gain, _ = _statistics(blocks, common, freed, slips)
    like = np.flatnonzero(part >= part.max() - 1e-6)
    far = np.abs(w[like] / np.maximum(gain[like], _UNSEEN)) / np.sqrt(common.variances[like])
    return int(like[np.argmin(far)])


def _statistics(
    blocks: Sequence[Block], common: Common, freed: Sequence[int], slips: Sequence[int]
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


def _by_block(blocks: Sequence[Block], design: Array, d: Array) -> tuple[Array, Array, Array]:
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
    blocks: Sequence[Block],
    common: Common,
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

"""What the openings of one job may have in common, as a linear model of reading less measure.

One ratio a print run, one zero and one scale a tape, each with its column and the variance that it is expected to have;
beside them what each opening has of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sizing.crosscheck.adjustment import CORNER_U_MM, FLOOR_MM2, STATIONS
from sizing.crosscheck.consistency import CrossCheck, expected_lengths_mm, sound_readings, tape_of
from sizing.jobs.job import Opening
from sizing.tape import reading_noise_mm, tape_parts_mm
from vision.request import PARTS, Array, Estimate

Kind = Literal["print_scale", "tape_zero", "tape_scale"]
# A part that is known exactly is still tested: 1e-7, or 0.1 um.
_LEAST_U = {"print_scale": 1e-7, "tape_zero": 1e-4, "tape_scale": 1e-7}
# What is common to the covariance of one photo may take no more than this of its least direction.
_MOST = 0.9


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Differences reading less measure of one opening (n,) mm, lengths, own inverse covariance, and whose they are."""

    label: str
    difference_mm: Array
    lengths_mm: Array
    inverse: Array
    tapes: tuple[str, ...]
    print_run: str


@dataclass(frozen=True, slots=True, eq=False)
class Common:
    """The common parts: kind and owner of each, their columns (N, q), and the variance each is expected to have."""

    keys: tuple[tuple[Kind, str], ...]
    columns: Array
    variances: Array
    labels: tuple[tuple[str, ...], ...]


def print_run_of(opening: Opening) -> str:
    """Return what stands for one print run: kind and size of the reference, and its bars as measured."""
    reference, bar = opening.seen_reference, opening.check_bar
    size = "" if reference.width_mm is None else f" {reference.width_mm:g} x {reference.height_mm:g} mm"
    bars = [f"{q.value_mm:g} mm" for q in (bar.across, bar.along) if q is not None]
    return reference.kind + size + (f", bars {' and '.join(bars)}" if bars else "")


def _tape_name(tape: tuple[str, str | None]) -> str:
    return tape[0] if tape[1] is None else f"{tape[0]} ({tape[1]})"


def shared_u_ratio(estimate: Estimate) -> float:
    """Return the standard uncertainty of the size of the reference that all its measures share, as a ratio.

    The budget has it for each measure; of two independent directions a half of the variance is common to both.
    """
    parts = estimate.budget_mm[:8, [PARTS.index("print_scale"), PARTS.index("reference_size")]]
    ratio = np.hypot(parts[:, 0], parts[:, 1]) / estimate.values_mm[:8]
    shared = float(np.median(ratio[:6])) / math.sqrt(2.0)
    return max(shared, _LEAST_U["print_scale"])


def block_of(
    opening: Opening, estimate: Estimate, check: CrossCheck | None, u_ratio: float, in_photo: int
) -> Block | None:
    """Return what one opening says of the common parts; None without a sound reading.

    `u_ratio` is what `shared_u_ratio` gives for its print run: it is the job's, so it is taken out of the photo's
    covariance. `in_photo` openings share the photo: its covariance is taken times their number.
    """
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
    return Block(
        opening.label,
        said - lengths,
        lengths,
        np.asarray(np.linalg.inv(cov), dtype=np.float64),
        tuple(_tape_name(tape_of(r)) for r in readings),
        print_run_of(opening),
    )


def common_of(
    blocks: Sequence[Block],
    openings: Sequence[tuple[Opening, Estimate, CrossCheck | None]],
    u_ratio: dict[str, float],
) -> Common:
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
    return Common(tuple(keys), design, np.array(variances), tuple(labels))

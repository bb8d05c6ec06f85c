"""Orders on the border of two made sizes: where photo and tape together think of another one than the rule gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

import numpy as np

from sizing.decision import Judgement
from sizing.jobs.job import Opening, Reading
from sizing.orders.inputs import allowance
from sizing.orders.made_sizes import share_of
from sizing.orders.problems import P_EVEN, OrderNote
from sizing.orders.rules import DIRECTIONS, Direction, Rule
from vision.request import Array

# Two sizes are one when they differ by less: values are given to 0.01 mm.
_NOISE_MM = 0.01


def on_the_border(
    rule: Rule,
    opening: Opening,
    by_rule: Mapping[Direction, Fraction | None],
    deciding: Mapping[Direction, str | None],
    table: Array,
    weights: Array,
    judgements: Mapping[str, Judgement],
) -> Iterator[OrderNote]:
    """Yield where the size by the rule is less likely than not, although all readings agree.

    Parameters
    ----------
    rule, opening : as ordered by.
    by_rule, deciding : the made sizes from the readings, mm, and the readings that they come from.
    table, weights : (N, 2) made sizes of draws by photo and readings together, and (N,) their weights.
    judgements : of the readings, by name.

    Notes
    -----
    Where width and height are each likelier than not but not both, the less sure of them is named. Nothing is said
    of sizes that come in no steps, or in steps as fine as the marks that were read: no tape tells them apart.
    """
    if not judgements or any(j.verdict != "agrees" for j in judgements.values()):
        return
    if None in by_rule.values() or any(rule.of(d).made.any_size for d in DIRECTIONS):
        return
    made = [float(by_rule[d] or 0) for d in DIRECTIONS]
    both = float(weights[(np.abs(table - made) < _NOISE_MM).all(axis=1)].sum())
    if both >= P_EVEN:
        return
    chances = {d: share_of(table[:, i], weights, made[i]) for i, d in enumerate(DIRECTIONS)}
    least = min(DIRECTIONS, key=lambda d: chances[d])
    for i, d in enumerate(DIRECTIONS):
        if d != least and chances[d] >= P_EVEN:
            continue
        other, chance = _likeliest_besides(table[:, i], weights, made[i])
        reading = next(r for r in opening.readings if r.name == deciding[d])
        if other is not None and abs(other - made[i]) > reading.graduation_mm + _NOISE_MM:
            yield OrderNote("on-the-border", _facts(rule, opening, d, reading, (made[i], chances[d]), (other, chance)))


def _likeliest_besides(sizes_mm: Array, weights: Array, size_mm: float) -> tuple[float | None, float]:
    """Return the likeliest made size but one, with its probability; None where there is no other."""
    others = np.isfinite(sizes_mm) & (np.abs(sizes_mm - size_mm) >= _NOISE_MM)
    if not others.any():
        return None, 0.0
    found, inverse = np.unique(np.round(sizes_mm[others], 3), return_inverse=True)
    shares = np.bincount(inverse, weights=weights[others])
    best = int(np.argmax(shares))
    return float(found[best]), float(shares[best])


def _facts(
    rule: Rule, opening: Opening, d: Direction, reading: Reading, mine: tuple[float, float], other: tuple[float, float]
) -> dict[str, float | str]:
    """Return both sizes with their probabilities (as text, as they are no lengths), and how the rule came to its own.

    `half-way` where what the rule wants lies exactly between the two.
    """
    wanted = reading.length.exact + allowance(rule, d, opening)
    facts: dict[str, float | str] = {
        "direction": d,
        "reading": reading.name,
        "read_mm": reading.length.mm,
        "read_as": reading.length.as_written,
        "wanted_mm": float(wanted),
        "by_rule_mm": mine[0],
        "by_rule_p": f"{mine[1]:.4f}",
        "other_mm": other[0],
        "other_p": f"{other[1]:.4f}",
    }
    # In exact fractions: half-way is half-way on any machine.
    sizes = [Fraction(f"{size:.6f}") for size, _ in (mine, other)]
    if rule.of(d).made.choice == "nearest" and 2 * wanted == sum(sizes):
        facts["half-way"] = "exactly"
    return facts

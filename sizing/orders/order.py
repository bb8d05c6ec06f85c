"""The order of one opening: computed from the readings by the rule, compared with what is about to be ordered.

Photo and combined sizes are evidence and are never ordered from. What is wrong is said as codes with facts;
`sizing.messages.order` turns them into words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

import numpy as np

from sizing.crosscheck.consistency import cov_in_corners_mm2
from sizing.decision import Judgement
from sizing.errors import InputError
from sizing.jobs.job import READINGS, Opening, Size, Tolerance
from sizing.orders.border import on_the_border
from sizing.orders.counting import Counting
from sizing.orders.inputs import allowance, exact_stations, read_mm, room_above
from sizing.orders.made_sizes import (
    Draws,
    SizeShare,
    columns,
    combined_draws,
    counted,
    photo_draws,
    reading_draws,
    share_of,
    size_shares,
    sized,
    sizes_counted,
    wanted_mm,
)
from sizing.orders.problems import (
    OrderNote,
    between_stations,
    doubtful_readings,
    in_doubt,
    limit_problems,
    panel_widths,
    room_problems,
    size_problems,
    uncovered,
)
from sizing.orders.rules import DIRECTIONS, STATIONS, Direction, Rule
from vision.request import Array, Estimate


@dataclass(frozen=True, slots=True)
class SizeEvidence:
    """What one source says of one direction: the size wanted with U95 (k = 2), the likeliest made size, its p."""

    wanted_mm: float
    U95_mm: float
    made_mm: float | None
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """The order of one opening.

    `by_rule_mm` follows from readings alone (None where one is missing); `ordered` is what is about to be
    ordered. `problems` hold the opening, `notes` do not. `photo` and `combined` are evidence by direction;
    `sizes` the pairs of made sizes with their probability, all uncertainty of `sizes_from` taken into account.
    """

    rule: Rule | None
    by_rule_mm: Mapping[Direction, Fraction | None]
    deciding: Mapping[Direction, str | None]
    ordered: Size | None
    problems: tuple[OrderNote, ...] = ()
    notes: tuple[OrderNote, ...] = ()
    photo: Mapping[Direction, SizeEvidence] = field(default_factory=dict)
    combined: Mapping[Direction, SizeEvidence] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    sizes: tuple[SizeShare, ...] = ()
    sizes_from: Literal["photo", "readings", "combined", ""] = ""
    panels_mm: tuple[Fraction, ...] = ()
    rule_named: str | None = None
    rule_error: InputError | None = None


def make_order(
    rule: Rule,
    opening: Opening,
    estimate: Estimate | None,
    judgements: Mapping[str, Judgement],
    counting: Counting,
    tolerance: Tolerance,
    alone: Draws | None = None,
) -> Order:
    """Return the order of an opening by its rule, with evidence and problems.

    Parameters
    ----------
    rule : the opening's.
    opening : readings in force, clearances, what is about to be ordered.
    estimate : what the photo says; None without a photo that measures.
    judgements : of the readings, by name.
    counting : from `which_count`; empty without a photo.
    tolerance : in force, for what is tight between the stations.
    alone : openings as the photo sees them (`photo_draws`); None without an estimate.
    """
    exact = {d: exact_stations(opening, d) for d in DIRECTIONS}
    room = room_above(opening)
    by_rule: dict[Direction, Fraction | None] = {}
    deciding: dict[Direction, str | None] = {}
    problems: list[OrderNote] = []
    notes: list[OrderNote] = []
    for d in DIRECTIONS:
        side = rule.of(d)
        wanted = side.wanted(exact[d], room if d == "height" else None)
        at = side.deciding(exact[d])
        deciding[d] = None if at is None else STATIONS[d][at]
        by_rule[d] = None if wanted is None else side.made.chosen(wanted)
        if wanted is None:
            notes.append(OrderNote("no-size", {"direction": d}))
        elif by_rule[d] is None:
            problems.append(OrderNote("no-made-size", {"direction": d, "wanted_mm": float(wanted)}))
        problems += size_problems(rule, d, exact[d], by_rule[d], opening)
        notes += uncovered(rule, d, exact[d], by_rule[d], opening, tolerance)
    problems += limit_problems(rule, opening)
    problems += room_problems(rule, opening)
    panels, panel_problems = panel_widths(rule, by_rule["width"])
    problems += panel_problems
    for note, holds in (
        *between_stations(rule, exact, estimate, tolerance),
        *doubtful_readings(deciding, judgements, counting),
    ):
        (problems if holds else notes).append(note)
    photo, combined, left_out, drawn, source = _evidence(rule, opening, estimate, alone, judgements)
    if drawn is not None:
        notes += on_the_border(rule, opening, by_rule, deciding, drawn[1], drawn[0].weights, judgements)
    return Order(
        rule=rule,
        by_rule_mm=by_rule,
        deciding=deciding,
        ordered=opening.ordered,
        problems=in_doubt(problems),
        notes=tuple(notes),
        photo=photo,
        combined=combined,
        left_out=left_out,
        sizes=() if drawn is None else tuple(size_shares(drawn[1], drawn[0].weights)),
        sizes_from=source,
        panels_mm=panels,
        rule_named=opening.rule,
    )


def order_without_rule(opening: Opening, error: InputError | None = None) -> Order:
    """Return the order of an opening that names no rule, or one that cannot be used (a problem)."""
    nothing: dict[Direction, None] = dict.fromkeys(DIRECTIONS)
    problems = () if error is None else (OrderNote("rule-unusable", {"says": str(error), "rule": opening.rule or ""}),)
    return Order(None, nothing, nothing, opening.ordered, problems, rule_named=opening.rule, rule_error=error)


def order_of_photo(rule: Rule, estimate: Estimate) -> Order:
    """Return what a rule makes of a photo's measures alone: for a pre-quote, never to order from."""
    drawn = photo_draws(estimate.values_mm, estimate.cov_mm2, estimate.candidates)
    allowances = (float(rule.width.allowance(None)), float(rule.height.allowance(None)))
    table = sizes_counted(rule, drawn, allowances)
    nothing: dict[Direction, None] = dict.fromkeys(DIRECTIONS)
    return Order(
        rule,
        nothing,
        nothing,
        None,
        photo=_sides_evidence(rule, drawn, table, allowances),
        sizes=tuple(size_shares(table, drawn.weights)),
        sizes_from="photo",
        rule_named=rule.id,
    )


def _allowances_mm(rule: Rule, opening: Opening) -> tuple[float, float]:
    return float(allowance(rule, "width", opening)), float(allowance(rule, "height", opening))


def _evidence(
    rule: Rule,
    opening: Opening,
    estimate: Estimate | None,
    alone: Draws | None,
    judgements: Mapping[str, Judgement],
) -> tuple[
    Mapping[Direction, SizeEvidence],
    Mapping[Direction, SizeEvidence],
    tuple[str, ...],
    tuple[Draws, Array] | None,
    Literal["photo", "readings", "combined", ""],
]:
    """Return what photo, and photo and readings together, say; readings that differ are left out of the latter.

    With it the draws that the sizes are counted by, and these sizes.
    """
    left_out = tuple(n for n in READINGS if n in judgements and judgements[n].verdict == "differs")
    read = read_mm(opening, left_out)
    allowances = _allowances_mm(rule, opening)
    if estimate is None or alone is None:
        if not np.isfinite(read).any():
            return {}, {}, left_out, None, ""
        only = reading_draws(read, _readings_cov(opening))
        return {}, {}, left_out, (only, sizes_counted(rule, only, allowances)), "readings"
    nine = (estimate.values_mm, estimate.cov_mm2, estimate.candidates)
    both = combined_draws(*nine, read, _readings_cov(opening))
    tables = [sizes_counted(rule, drawn, allowances) for drawn in (alone, both)]
    photo, combined = (
        _sides_evidence(rule, drawn, table, allowances) for drawn, table in zip((alone, both), tables, strict=True)
    )
    return photo, combined, left_out, (both, tables[1]), "combined"


def _readings_cov(opening: Opening) -> Array:
    """Return the covariance (8, 8) mm2 of the readings, what one tape errs by common; 1 mm2 where there is none."""
    cov = np.eye(len(READINGS))
    rows = [READINGS.index(r.name) for r in opening.readings]
    cov[np.ix_(rows, rows)] = cov_in_corners_mm2(list(opening.readings), opening)
    return cov


def _sides_evidence(
    rule: Rule, drawn: Draws, table: Array, allowances_mm: tuple[float, float]
) -> dict[Direction, SizeEvidence]:
    done: dict[Direction, SizeEvidence] = {}
    for d, added, all_sizes in zip(DIRECTIONS, allowances_mm, table.T, strict=True):
        side, at = rule.of(d), columns(d)
        best = drawn.best_mm[at][None, :]
        picked = float(wanted_mm(side, best, 0.0)[0])
        which = at.start + int(np.nanargmin(np.abs(best[0] - picked)))
        u = float(np.sqrt(max(drawn.best_cov_mm2[which, which], 0.0)))
        made = counted(rule, d, sized(rule, d, drawn.best_mm[None, :], added))
        size = float(made[0]) if np.isfinite(made[0]) else None
        missing = float(drawn.weights[np.isnan(all_sizes)].sum())
        probability = missing if size is None else share_of(all_sizes, drawn.weights, size)
        done[d] = SizeEvidence(picked + added, 2.0 * u, size, probability)
    return done

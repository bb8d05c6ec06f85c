"""The sizing rule and the order of one opening of a job: found, and put before the readings' verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from sizing.decision import Judgement
from sizing.errors import InputError, Problem
from sizing.jobs.job import Job, Opening, Tolerance
from sizing.orders.counting import Counting, which_count
from sizing.orders.footprint import footprint_notes, footprint_of
from sizing.orders.made_sizes import photo_draws
from sizing.orders.order import Order, make_order, order_without_rule
from sizing.orders.rulefile import find_rule
from sizing.orders.rules import Rule, tolerance_in_force
from vision.request import Estimate

RuleFound = Rule | InputError | None


def rule_of(job: Job, opening: Opening, *, allow_outside: bool = False, top: Path | None = None) -> RuleFound:
    """Return the rule that an opening names, why it cannot be used, or None where it names none.

    `top` is the desk's folder, up to which it is looked for; see `sizing.orders.rulefile.rule_folders`.
    """
    if opening.rule is None:
        return None
    try:
        return find_rule(opening.rule, job.folder, top=top, allow_outside=allow_outside)
    except InputError as error:
        return InputError(error.code, [Problem(_near(p.where, job), _near(p.says, job)) for p in error.problems])


def _near(text: str, job: Job) -> str:
    """Return a text with the paths around the job as seen from it: a result is the same in any folder."""
    for up, folder in enumerate([job.folder, *job.folder.parents][:-1]):
        text = text.replace(f"{folder}/", "../" * up)
    return text


def tolerance_of(job: Job, rule: RuleFound) -> Tolerance:
    """Return the tolerance in force: the job's own words, else the rule's, else the default."""
    return tolerance_in_force(job.tolerance, job.tolerance_given, rule if isinstance(rule, Rule) else None)


def order_of(
    opening: Opening,
    rule: RuleFound,
    estimate: Estimate | None,
    judgements: Mapping[str, Judgement],
    tolerance: Tolerance,
) -> tuple[Counting, Order | None]:
    """Return which readings count, and the order; None where there is neither rule nor order.

    Without a photo that measures, and without an order, every reading counts (contract, *Decision*).
    """
    if not isinstance(rule, Rule):
        if rule is None and opening.ordered is None:
            return Counting(), None
        return Counting(), _on_the_wall(order_without_rule(opening, rule), opening, estimate)
    counting, drawn = Counting(), None
    if estimate is not None:
        drawn = photo_draws(estimate.values_mm, estimate.cov_mm2, estimate.candidates)
        if opening.ordered is not None:
            counting = which_count(rule, opening, drawn, judgements)
    order = make_order(rule, opening, estimate, judgements, counting, tolerance, drawn)
    return counting, _on_the_wall(order, opening, estimate)


def _on_the_wall(order: Order, opening: Opening, estimate: Estimate | None) -> Order:
    """Return the order with what its footprint shows: obstacles in the way, and room that is too small."""
    if not (opening.obstacles or opening.clearances):
        return order
    problems, notes = footprint_notes(footprint_of(opening, order, estimate))
    return replace(order, problems=(*order.problems, *problems), notes=(*order.notes, *notes))

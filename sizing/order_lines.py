"""Lines on orders that terminal and report share: the size by the rule, problems, what to confirm, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sizing.judging import ReadingResult
from sizing.messages import order as words
from sizing.orders.counting import P_CHANGES
from sizing.orders.order import Order
from sizing.orders.rules import DIRECTIONS
from sizing.units import Unit

# So many pairs of sizes are shown; the result holds more.
_MOST_SHOWN = 6
# Sizes less probable than this are counted, not listed, unless there is but one.
_LEAST_SHOWN = 0.01


def order_lines(order: Order | None, readings: Sequence[ReadingResult], unit: Unit) -> list[str]:
    """Return the lines of one opening: the size by the rule, what is wrong, and what does not stop it."""
    if order is None:
        return []
    lines = []
    if order.rule is not None and any(size is not None for size in order.by_rule_mm.values()):
        width, height = (order.by_rule_mm[d] for d in DIRECTIONS)
        lines.append(words.order_line(width, height, order.rule.id, _probability(order), unit))
        panels = words.panels_line(order.panels_mm, unit)
        lines += [panels] if panels else []
    lines += [words.problem(words.problem_says(p.code, p.facts, unit)) for p in order.problems]
    lines += [words.remark(words.problem_says(n.code, n.facts, unit)) for n in order.notes]
    lines += [
        words.not_held(r.reading.name)
        for r in readings
        if r.judgement.verdict == "differs" and r.p_changes is not None and r.p_changes < P_CHANGES
    ]
    return lines


def caution_lines(orders: Iterable[Order | None]) -> list[str]:
    """Return the end of a job: what its rules ask to confirm on site, and cautions by that; none without a rule."""
    rules = [order.rule for order in orders if order is not None and order.rule is not None]
    if not rules:
        return []
    codes = list(dict.fromkeys(code for rule in rules for code in rule.confirm))
    return [*([words.confirm_line(codes)] if codes else []), words.cautions(codes)]


def estimate_order_lines(order: Order | None, unit: Unit) -> list[str]:
    """Return the made sizes of an estimate with their probability, marked as not for ordering."""
    if order is None or order.rule is None:
        return []
    lines = [words.shares_heading(order.rule.id)]
    likely = max(sum(s.probability >= _LEAST_SHOWN for s in order.sizes), 1)
    count = min(_MOST_SHOWN, likely if len(order.sizes) > likely + 1 else len(order.sizes))
    shown = order.sizes[:count]
    lines += [words.share_line(s.width_mm, s.height_mm, s.probability, unit) for s in shown]
    if len(order.sizes) > len(shown):
        lines.append(words.more_shares(len(order.sizes) - len(shown), order.sizes[len(shown)].probability))
    confirm = words.confirm_line(order.rule.confirm)
    return [*lines, *([confirm] if confirm else []), words.cautions(order.rule.confirm)]


def _probability(order: Order) -> float | None:
    """Return the probability that the sizes by the rule are right, photo and tape together; None without a photo."""
    sizes = [order.by_rule_mm[d] for d in DIRECTIONS]
    if order.sizes_from != "combined" or None in sizes or order.rule is None:
        return None
    # Where any size is made, sizes are counted by the mark next to them.
    if any(order.rule.of(d).made.any_size for d in DIRECTIONS):
        return None
    wanted = [float(size) for size in sizes if size is not None]
    for share in order.sizes:
        found = (share.width_mm, share.height_mm)
        if all(a is not None and abs(a - b) < 0.01 for a, b in zip(found, wanted, strict=True)):
            return share.probability
    return 0.0

"""The block `order` of the result, by the contract."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from sizing.json_values import Document, rounded
from sizing.messages import order as words
from sizing.orders.counting import P_CHANGES
from sizing.orders.order import Order, SizeEvidence
from sizing.orders.problems import OrderNote
from sizing.orders.rules import DIRECTIONS, Direction
from sizing.units import Unit

_MM_DIGITS, _P_DIGITS = 2, 3
# More pairs of sizes than anybody reads; the likeliest come first.
_MOST_SIZES = 60


def order_document(order: Order, unit: Unit) -> Document:
    """Return the order of an opening as JSON values.

    `by_rule` and `ordered` hold `width_mm` and `height_mm`, null where unknown; `photo` and `combined` are
    evidence and never ordered from.
    """
    rule, ordered = order.rule, order.ordered
    sizes = {} if ordered is None else {"width": ordered.width, "height": ordered.height}
    typed = {d: length.exact for d, length in sizes.items() if length is not None}
    document: Document = {
        "rule": order.rule_named if rule is None else rule.id,
        "rule_sha256": None if rule is None else rule.sha256,
        "by_rule": _pair(order.by_rule_mm),
        "ordered": None if ordered is None else {f"{d}_mm": rounded(typed.get(d), _MM_DIGITS) for d in DIRECTIONS},
        "problems": [_note(note, unit) for note in order.problems],
        "notes": [_note(note, unit) for note in order.notes],
    }
    if rule is not None:
        document |= {
            "rule_title": rule.title,
            "deciding": {d: order.deciding[d] for d in DIRECTIONS},
            "panels_mm": [rounded(part, _MM_DIGITS) for part in order.panels_mm],
            "photo": _evidence(order.photo),
            "combined": _evidence(order.combined),
            "left_out": list(order.left_out),
            **sizes_document(order),
            "confirm": [{"what": code, "says": words.confirm_says(code)} for code in rule.confirm],
            "cautions": list(words.CAUTIONS),
        }
    return document


def estimate_order_document(order: Order) -> Document:
    """Return the block `order` of an estimate: the distribution over made sizes, marked as not for ordering."""
    rule = order.rule
    return {
        "not_for_ordering": True,
        "says": words.NOT_FOR_ORDERING,
        "rule": order.rule_named,
        "rule_sha256": None if rule is None else rule.sha256,
        "rule_title": None if rule is None else rule.title,
        "photo": _evidence(order.photo),
        **sizes_document(order),
        "confirm": [{"what": c, "says": words.confirm_says(c)} for c in (rule.confirm if rule is not None else ())],
        "cautions": list(words.CAUTIONS),
    }


def not_held_document(name: str, verdict: str, chance: float | None) -> Document:
    """Return, for a reading that the photo does not support, whether it counts for the order and why not."""
    if chance is None or verdict == "agrees":
        return {}
    counts = chance >= P_CHANGES
    document: Document = {"counts": counts, "p_changes_order": round(chance, _P_DIGITS)}
    return document if counts else document | {"why_not_counted": words.not_held(name)}


def sizes_document(order: Order) -> Document:
    """Return the pairs of made sizes with their probability, likeliest first, and what they rest on."""
    return {
        "sizes": [
            {
                "width_mm": rounded(s.width_mm, _MM_DIGITS),
                "height_mm": rounded(s.height_mm, _MM_DIGITS),
                "probability": round(s.probability, _P_DIGITS),
            }
            for s in order.sizes[:_MOST_SIZES]
        ],
        "sizes_from": order.sizes_from or None,
    }


def _note(note: OrderNote, unit: Unit) -> Document:
    return {"code": note.code, "says": words.problem_says(note.code, note.facts, unit)}


def _pair(sizes: Mapping[Direction, Fraction | None]) -> Document:
    return {f"{d}_mm": rounded(sizes[d], _MM_DIGITS) for d in DIRECTIONS}


def _evidence(found: Mapping[Direction, SizeEvidence]) -> Document | None:
    if not found:
        return None
    return {
        d: {
            "wanted_mm": rounded(e.wanted_mm, _MM_DIGITS),
            "U95_mm": rounded(e.U95_mm, _MM_DIGITS),
            "size_mm": rounded(e.made_mm, _MM_DIGITS),
            "probability": round(e.probability, _P_DIGITS),
        }
        for d, e in found.items()
    }

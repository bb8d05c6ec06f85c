"""Problems of an order in a few words each, for where several stand in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sizing.messages.names import name_of

_SHORT: Mapping[str, str] = {
    "above-maximum": "larger than the largest that is made",
    "below-minimum": "smaller than the smallest that is made",
    "clearance-too-small": "too little free room beside it",
    "doubtful-reading": "it hangs on a reading that the photo does not support",
    "no-made-size": "no made size fits",
    "no-room": "too little free room beside it",
    "no-split": "it cannot be split into panels",
    "not-by-rule": "not the size by the rule",
    "not-made": "no such size is made",
    "obstacle-in-the-way": "something is in the way",
    "out-of-square": "the readings are out of square by more than the rule allows",
    "rule-unusable": "its sizing rule cannot be used",
    "taper-height": "the heights left and right differ by more than the rule allows",
    "taper-width": "the widths at top and bottom differ by more than the rule allows",
    "tight-between": "the photo sees the opening tighter between the readings' places",
    "typed-height": "another height is typed",
    "typed-missing": "it is not in the order that was typed",
    "typed-quantity": "another quantity is typed",
    "typed-twice": "it is typed twice",
    "typed-unreadable": "what is typed cannot be read",
    "typed-width": "another width is typed",
    "typed-without-order": "a size is typed and none is ordered",
    "wide-between": "the photo sees the opening wider between the readings' places",
    "wrong-reading": "it comes from another reading than the rule takes",
}


def in_short(codes: Sequence[str]) -> str:
    """Return problems of an order, each once, as one list.

    Examples
    --------
    >>> in_short(["not-by-rule", "not-by-rule", "not-made"])
    'not the size by the rule; no such size is made'
    """
    return "; ".join(dict.fromkeys(_SHORT.get(code) or name_of(code) for code in codes))

"""Probabilities in words that claim no more than they carry."""

from __future__ import annotations


def percent(p: float) -> str:
    """Return a probability in per cent.

    Examples
    --------
    >>> percent(0.97), percent(0.9996), percent(0.001)
    ('97 %', 'over 99 %', 'under 1 %')
    """
    if p > 0.99:
        return "over 99 %"
    return "under 1 %" if p < 0.01 else f"{p * 100:.0f} %"

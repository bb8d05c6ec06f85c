"""What a function made of the same values before, asked for where it may have been kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

Made = TypeVar("Made")


class Once(Protocol):
    """Returns what a function made before for a key of plain values and arrays, else what it makes now."""

    def __call__(self, key: tuple[object, ...], make: Callable[[], Made], /) -> Made:
        """Return it."""


def anew(_: object, make: Callable[[], Made]) -> Made:
    """Return what `make` makes now."""
    return make()

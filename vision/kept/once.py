"""The interface of a cache: a value made before for the same key, or else made now."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

Made = TypeVar("Made")


class Once(Protocol):
    """A cache as a function: returns what `make` made before for a key, or else what it makes now."""

    def __call__(self, key: tuple[object, ...], make: Callable[[], Made], /) -> Made:
        """Return the value of a key of plain values and arrays."""


def anew(_: object, make: Callable[[], Made]) -> Made:
    """Return what `make` makes now: a cache that keeps nothing."""
    return make()

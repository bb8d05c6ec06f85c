"""An observation block of one photo among the unknowns of several."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from vision.adjustment import Block
from vision.observations import PhotoState
from vision.request import Array


class Photos(Protocol):
    """A state of several photos: each photo's own and where its unknowns stand among all."""

    @property
    def unknowns(self) -> int:
        """Number of all unknowns."""
        ...

    def of_photo(self, number: int) -> tuple[PhotoState, NDArray[np.intp]]:
        """Return the state of a photo and the columns (U_k,) of its unknowns."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class InPhoto:
    """A block of one photo among the unknowns of all."""

    photo: int
    block: Block[PhotoState]

    @property
    def part(self) -> str:
        """Budget part of the observations."""
        return self.block.part

    @property
    def robust(self) -> bool:
        """Whether single observations may be wrong."""
        return self.block.robust

    def linearised(self, state: Photos) -> tuple[Array, Array]:
        """Return misclosures (n,) and design matrix (n, U), both divided by the standard deviations."""
        photo, columns = state.of_photo(self.photo)
        w, own = self.block.linearised(photo)
        a = np.zeros((len(w), state.unknowns))
        a[:, columns] = own
        return w, a

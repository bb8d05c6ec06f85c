"""What may have happened to the readings of one opening: hypotheses as plain values, before they are weighed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np

from sizing.explaining.slips import NONE, Scale
from sizing.units import COMMON_GRADUATION_MM
from vision.request import NINE, Array, Face

SizeFrom = Literal["bars", "print", "page", "object"]
# Readings of one direction; of a swapped pair each stands in the other's box.
AXES = (
    ("width_top", "width_middle", "width_bottom"),
    ("height_left", "height_middle", "height_right"),
    ("diagonal_down", "diagonal_up"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Other:
    """Another opening of the job: its label, nine measures (9,) mm and their covariance (9, 9) mm2."""

    label: str
    values_mm: Array
    cov_mm2: Array


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """The readings of one opening and what they are weighed against; all lengths in mm.

    `readings_mm` by name, `written` as written, `scales` whose marks were read, `graduation_mm` the finest;
    `photo_mm` the photo's measures by name. `size_from` is what the photo's scale rests on: "bars" measured on the
    print, the "print" as designed, or a "page" or other "object" of declared size.
    """

    readings_mm: Mapping[str, float]
    photo_mm: Mapping[str, float]
    written: Mapping[str, str] = field(default_factory=dict)
    scales: Mapping[str, Scale] = field(default_factory=dict)
    graduation_mm: float = COMMON_GRADUATION_MM
    faces: tuple[Face, ...] = ()
    others: tuple[Other, ...] = ()
    size_from: SizeFrom = "object"

    @property
    def names(self) -> tuple[str, ...]:
        """The readings in the order of the form."""
        return tuple(n for n in NINE if n in self.readings_mm)

    def present(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return those of `names` that were read."""
        return tuple(n for n in names if n in self.readings_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """One thing that may have happened, before it is weighed.

    `odds` against 'no slip'; `shift_mm` of each reading touched (0 where its size is free); `spreads_mm`:
    independent standard deviations by reading, each a mode that moves its readings together. `common` moves all
    and leaves room for a slip of one besides. `sized`: a size follows for the readings touched. `log_factor`
    adds evidence that is no Gaussian.
    """

    slip: str
    odds: float
    shift_mm: Mapping[str, float]
    spreads_mm: tuple[Mapping[str, float], ...] = ()
    common: bool = False
    sized: bool = True
    log_factor: float = 0.0
    facts: Mapping[str, str] = field(default_factory=dict)

    @property
    def none(self) -> bool:
        """Whether this stands for 'something else'."""
        return self.slip == NONE


@dataclass(frozen=True, slots=True, eq=False)
class Weighable:
    """Hypotheses as arrays over n readings: shifts (H, n), log odds (H,), masks (H,) of what each takes up.

    `first_mode` (H, n) is the only mode of most; `several` (M,) are those with more, and `several_mm2` (M, n, n) what
    these add to the covariance. `vague` (H,): 'something else' of several readings, which fits nearly anything.
    `by_mask` (H,) sorts by mask, `mask_starts` are the first of each in that order; `none` (H,): 'something else';
    `odds` (H,) without further evidence; `common` (H,): moves all readings.
    """

    shift_mm: Array
    log_odds: Array
    masks: np.ndarray[tuple[int], np.dtype[np.int64]]
    touches: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
    first_mode: Array
    several: np.ndarray[tuple[int], np.dtype[np.int64]]
    several_mm2: Array
    vague: np.ndarray[tuple[int], np.dtype[np.bool_]]
    by_mask: np.ndarray[tuple[int], np.dtype[np.int64]]
    mask_starts: np.ndarray[tuple[int], np.dtype[np.int64]]
    none: np.ndarray[tuple[int], np.dtype[np.bool_]]
    odds: Array
    common: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Some hypotheses as arrays over n readings: as in `Weighable`, and modes (k, r, n) of those with several."""

    shift_mm: Array
    touches: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
    first_mode: Array
    # odds, log factor, common, none
    plain: Array
    several: list[int]
    several_mm2: Array


def weighable(blocks: Sequence[Sequence[Hypothesis]], names: tuple[str, ...]) -> Weighable:
    """Return hypotheses, block after block, as arrays over the readings `names`; tuples are worked out once."""
    n = len(names)
    rows = [_kept_rows(b, names) if isinstance(b, tuple) else _rows(b, names) for b in blocks]
    shift = np.concatenate([r.shift_mm for r in rows])
    touches = np.concatenate([r.touches for r in rows])
    first = np.concatenate([r.first_mode for r in rows])
    several_mm2 = np.concatenate([r.several_mm2 for r in rows])
    at = np.cumsum([0, *(len(b) for b in blocks)])
    several = np.array([start + k for start, r in zip(at, rows, strict=False) for k in r.several], dtype=np.int64)
    plain = np.concatenate([r.plain for r in rows])
    odds, common, none = plain[:, 0], plain[:, 2] > 0.0, plain[:, 3] > 0.0
    masks = np.where(common, 1 << n, touches @ (1 << np.arange(n)))
    vague = none & (touches.sum(axis=1) > 1)
    log_odds = np.log(odds) + plain[:, 1]
    by_mask = np.argsort(masks, kind="stable")
    starts = np.flatnonzero(np.diff(masks[by_mask], prepend=-1))
    return Weighable(
        shift, log_odds, masks, touches, first, several, several_mm2, vague, by_mask, starts, none, odds, common
    )


@lru_cache(maxsize=512)
def _kept_rows(block: tuple[Hypothesis, ...], names: tuple[str, ...]) -> _Rows:
    return _rows(block, names)


def _rows(block: Sequence[Hypothesis], names: tuple[str, ...]) -> _Rows:
    place = {n: i for i, n in enumerate(names)}
    shift, first = np.zeros((2, len(block), len(names)))
    touches = np.zeros((len(block), len(names)), dtype=np.bool_)
    cells = [(k, place[name], mm) for k, h in enumerate(block) for name, mm in h.shift_mm.items()]
    if cells:
        at, columns, values = zip(*cells, strict=True)
        shift[at, columns] = values
        touches[at, columns] = True
    for k, h in enumerate(block):
        if len(h.spreads_mm) == 1:
            for name, mm in h.spreads_mm[0].items():
                first[k, place[name]] = mm
    several = [k for k, h in enumerate(block) if len(h.spreads_mm) > 1]
    modes = np.zeros((len(several), max((len(block[k].spreads_mm) for k in several), default=1), len(names)))
    for m, k in enumerate(several):
        for r, mode in enumerate(block[k].spreads_mm):
            for name, mm in mode.items():
                modes[m, r, place[name]] = mm
    plain = np.array([(h.odds, h.log_factor, h.common, h.none) for h in block], dtype=np.float64).reshape(-1, 4)
    return _Rows(shift, touches, first, plain, several, np.matmul(modes.swapaxes(1, 2), modes))

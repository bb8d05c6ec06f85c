"""What may have happened to the readings of one opening: hypotheses as plain values, before they are weighed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sizing.explaining.slips import NONE, Scale
from vision.request import NINE, Array, Face

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
    `photo_mm` the photo's measures by name.
    """

    readings_mm: Mapping[str, float]
    photo_mm: Mapping[str, float]
    written: Mapping[str, str] = field(default_factory=dict)
    scales: Mapping[str, Scale] = field(default_factory=dict)
    graduation_mm: float = 1.5875
    faces: tuple[Face, ...] = ()
    others: tuple[Other, ...] = ()

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
    `odds` (H,) without further evidence.
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


def weighable(hypotheses: list[Hypothesis], names: tuple[str, ...]) -> Weighable:
    """Return hypotheses as arrays over the readings `names`."""
    place = {n: i for i, n in enumerate(names)}
    count, n = len(hypotheses), len(names)
    shift = np.zeros((count, n))
    touches = np.zeros((count, n), dtype=np.bool_)
    cells = [(k, place[name], mm) for k, h in enumerate(hypotheses) for name, mm in h.shift_mm.items()]
    rows, columns, values = zip(*cells, strict=True)
    shift[rows, columns] = values
    touches[rows, columns] = True
    masks = touches @ (1 << np.arange(n))
    masks[[k for k, h in enumerate(hypotheses) if h.common]] = 1 << n
    first = _spread([h.spreads_mm if len(h.spreads_mm) == 1 else () for h in hypotheses], place, 1)[:, 0]
    several = [k for k, h in enumerate(hypotheses) if len(h.spreads_mm) > 1]
    most = max((len(hypotheses[k].spreads_mm) for k in several), default=1)
    modes = _spread([hypotheses[k].spreads_mm for k in several], place, most)
    odds = np.array([h.odds for h in hypotheses])
    none = np.array([h.slip == NONE for h in hypotheses])
    vague = none & (touches.sum(axis=1) > 1)
    log_odds = np.log(odds) + [h.log_factor for h in hypotheses]
    by_mask = np.argsort(masks, kind="stable")
    starts = np.flatnonzero(np.diff(masks[by_mask], prepend=-1))
    of_modes = np.array(several, dtype=np.int64), np.matmul(modes.swapaxes(1, 2), modes)
    return Weighable(shift, log_odds, masks, touches, first, *of_modes, vague, by_mask, starts, none, odds)


def _spread(spreads_mm: list[tuple[Mapping[str, float], ...]], place: Mapping[str, int], most: int) -> Array:
    """Return modes (k, most, n) as arrays over the readings, the absent ones nil."""
    modes = np.zeros((len(spreads_mm), most, len(place)))
    cells = [
        (k, r, place[name], mm)
        for k, spreads in enumerate(spreads_mm)
        for r, mode in enumerate(spreads)
        for name, mm in mode.items()
    ]
    if cells:
        at_k, at_r, at_n, values = zip(*cells, strict=True)
        modes[at_k, at_r, at_n] = values
    return modes

"""Front arrises of sills that no line shows: where the sill's ends or the end of its top's texture say they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.request import Array
from vision.sides.texture import Texture, TextureEnd, changes

HORN_ALONE = 0.75  # guess: how often the ends tell the arris when they can be read in one way only
HORN_PX = 1.5  # reach of the agreement of a line with the ends
HORN_SEEN_PX = 0.6  # how well the ends tell the place, read rightly: rms 0.45 px on 20 own renderings of 21
END_PX = 1.4  # how well the end of a texture tells the place; rms 1.35 px on 31 own renderings, none beyond 2.6
HORN_BLIND_PX, END_BLIND_PX = 2.5, 4.0  # guesses: a strong line so near to the place is the arris itself
TEXTURE_FROM, TEXTURE_TO = 2.5, 8.5  # t below and above which the odds change no more (the upper one a guess)
# Fitted on 160 renderings of our own with hard sills, 413 lines at or outside of the arris: log odds of a line being
# the arris rise by 1.18 for each unit of Student's t of the texture beyond 2.5 (1.17 and 1.22 on either half).
LOG_ODDS_PER_T = 1.2
NONE_T = 0.5  # below it the texture speaks against the ends: of 40 rightly read on own renderings none was negative
END_LOG_ODDS = -2.0  # guess, before its t speaks
MOST, MOST_END = 0.985, 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Ghost:
    """The arris of a side that no line shows: shape (3,) mm, weight, u in mm, whether it is the best guess.

    `lever_mm`: u of the middle against the end where the place is known, if at one only: + the first, - the second.
    """

    shape: Array
    weight: float
    u_mm: float
    leads: bool
    lever_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where an unseen arris may be: shape (3,) mm, probability that it is one, u in mm, Student's t of its texture.

    t is NaN where too little is seen; `by_texture`: the end of a texture, not the sill's ends, tells it.
    """

    shape: Array
    probability: float
    u_mm: float
    t_value: float
    by_texture: bool

    @property
    def blind_px(self) -> float:
        """Reach of a strong line that is this arris itself."""
        return END_BLIND_PX if self.by_texture else HORN_BLIND_PX


def texture_odds(t_value: Array) -> Array:
    """Return what Student's t of the texture's change adds to the log odds of an arris; a smooth face adds nothing."""
    return np.asarray(LOG_ODDS_PER_T * (np.clip(np.nan_to_num(t_value), TEXTURE_FROM, TEXTURE_TO) - TEXTURE_FROM))


def unseen_places(
    arris_px: Array, arris_weight: Array, texture: Texture | None, end: TextureEnd | None, inner_px: float
) -> list[Place]:
    """Return the places of an unseen front arris, the likeliest first.

    `arris_px` (M, 2): ends of the arris as the horns say, px, with weights (M,); `end`: where the texture of
    the top ends; `inner_px`: how far the top reaches.
    """
    out = []
    mm = texture.mm_per_px if texture is not None else 1.0
    if texture is not None and len(arris_px):
        shapes = np.column_stack([arris_px.sum(axis=1), arris_px[:, 1] - arris_px[:, 0], np.zeros(len(arris_px))])
        shapes *= mm / 2
        t = changes(texture, shapes, inner_px)
        share = HORN_ALONE * arris_weight / arris_weight.sum()
        odds = np.log(share / (1 - share)) + texture_odds(t) + np.clip(np.nan_to_num(t, nan=NONE_T) - NONE_T, -3.0, 0.0)
        for shape, p, value in zip(shapes, 1 / (1 + np.exp(-odds)), t, strict=True):
            out.append(Place(shape, min(float(p), MOST), HORN_SEEN_PX * mm, float(value), False))
    if end is not None and not any(np.abs(p.shape - end.shape)[0] < 2.5 * mm and p.t_value > 4 for p in out):
        p_end = 1 / (1 + np.exp(-END_LOG_ODDS - float(texture_odds(np.array(end.t_value)))))
        out.append(Place(end.shape, min(float(p_end), MOST_END), END_PX * mm, end.t_value, True))
    return sorted(out, key=lambda p: -p.probability)

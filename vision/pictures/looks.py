"""How each kind of thing looks in a picture: colour, dashes, mark and weight of line.

Colours are those of Okabe and Ito (2008), safe for the colour-blind; each verdict also has its own dashes and
mark, so that a grey print tells them apart too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Colour = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Look:
    """Colour, dashes (on, off in line widths; empty is solid), mark, box and weight of line of one kind."""

    colour: Colour
    dashes: tuple[float, ...] = ()
    mark: str = ""
    box: Colour = (20, 20, 20)
    weight: float = 1.0


LOOKS: Mapping[str, Look] = {
    "agrees": Look((0, 190, 140), mark="tick"),
    "differs": Look((255, 110, 40), (7.0, 3.0), "cross", (140, 40, 0), 1.6),
    "unproven": Look((240, 228, 66), (1.5, 2.5), "ring"),
    "none": Look((225, 225, 225), (9.0, 2.5, 1.5, 2.5)),
    "side": Look((86, 180, 233)),
    "unseen": Look((86, 180, 233), (4.0, 3.0), weight=0.5),
    "rival": Look((255, 157, 240), (5.0, 3.5), weight=0.5),
    "reference": Look((222, 140, 186)),
    "ordered": Look((230, 159, 0), weight=1.6),
    "panel": Look((230, 159, 0), (3.0, 2.0), weight=0.7),
    "hardware": Look((255, 200, 90), (1.5, 1.5)),
    "room": Look((225, 225, 225), (4.0, 4.0), weight=0.8),
    "opening": Look((86, 180, 233)),
    "face": Look((200, 200, 200), (1.0, 6.0), weight=0.5),
}
HALO: Colour = (20, 20, 20)

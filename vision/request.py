"""What is asked of the package and what it answers: plain values, no behaviour.

Frame of the wall: x right, y down, z into the wall (away from the camera), millimetres; the surface on which the
first reference lies is z = 0, so an edge that stands `edge_offset` in front of it has z = -edge_offset.
Pixels: x right, y down, pixel centres at integers, of the upright photo.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Wall = Literal["masonry", "render", "siding", "panel"]
Side = Literal["head", "right", "sill", "left"]
ReferenceKind = Literal["sheet", "letter", "a4", "id1", "given"]
SIDES: tuple[Side, ...] = ("head", "right", "sill", "left")
# The sides as they are called in a sentence.
SIDE_WORD: Mapping[Side, str] = {"head": "head", "right": "right jamb", "sill": "sill", "left": "left jamb"}
CORNERS = ("top left", "top right", "bottom right", "bottom left")  # in the order in which they are given
EXACT_CLICK_PX = 2.0  # clicks of a standard deviation up to this were meant as exact: bare corners carry 3 (contract)
ANOTHER_LINE = 0.01  # contract, Decision: no side gives less to a line that is not listed as its candidate
NINE = (
    "width_top",
    "width_middle",
    "width_bottom",
    "height_left",
    "height_middle",
    "height_right",
    "diagonal_down",
    "diagonal_up",
    "out_of_square",
)
# The widths and heights of the nine as they are called in a sentence: top width.
SIZE_NAMES = tuple(" ".join(reversed(name.split("_"))) for name in NINE[:6])
PARTS = (
    "reference_image",
    "camera",
    "distortion",
    "print_scale",
    "reference_size",
    "flatness",
    "wall_plane",
    "edge_depth",
    "edge_trace",
    "edge_choice",
    "station",
)


@dataclass(frozen=True, slots=True)
class Reference:
    """Kind of the references of an opening, and their size where the kind does not say it (`given`).

    `u_mm` are the standard uncertainties of a given width and height; None: 0.1 mm, as of a size stated to tenths.
    """

    kind: ReferenceKind = "sheet"
    width_mm: float | None = None
    height_mm: float | None = None
    u_mm: tuple[float, float] | None = None

    @property
    def thing(self) -> str:
        """What people call it: sheet, page, card or rectangle."""
        return {"sheet": "sheet", "letter": "page", "a4": "page", "id1": "card"}.get(self.kind, "rectangle")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in mm with its standard uncertainty."""

    value_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class CheckBar:
    """Printed bars of the sheets as measured: nominal 150 mm across, 200 mm along the page; None is not measured."""

    across: Quantity | None = None
    along: Quantity | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PhotoRequest:
    """One photo of an opening; all pixels are of the upright photo, at its full size.

    `turn`: degrees clockwise, after the Exif orientation. `corners_px` (4, 2): rough corners of the opening, top left
    first, clockwise, NaN where one is not in the photo; None: find them. `trace`: trace the sides from the corners,
    False: the corners stand as clicked. `click_px`: their standard deviation per axis; up to `EXACT_CLICK_PX` traced
    sides are held to them. `reference`: that of this photo, where it is another than the opening's.
    `reference_corners_px`: (4, 2) each, of pages or cards.
    `focal35_mm`: 35 mm equivalent, in place of what Exif says.
    """

    path: Path
    turn: Literal[0, 90, 180, 270] = 0
    corners_px: Array | None = None
    trace: bool = True
    click_px: float = 3.0
    reference: Reference | None = None
    reference_corners_px: tuple[Array, ...] = ()
    focal35_mm: float | None = None
    lens: Path | None = None  # camera profile that is named
    lenses: tuple[Path, ...] = ()  # those in reach: the one whose key matches applies


@dataclass(frozen=True, slots=True, eq=False)
class OpeningRequest:
    """Photos of one opening, and what is known of the scene.

    `edge_offset`: how far each side's edge stands in front of the surface that the references lie on, + toward the
    camera; sides that are absent, and None, are assumed by the kind of wall. `sill_at`: the line of a sill that heights
    end on: its top front arris, its top in the plane of the wall, or the foot of the frame. `sill_out`: how far further
    than assumed the photos show its front to stand out, where nothing was given of it.
    """

    photos: tuple[PhotoRequest, ...]
    wall: Wall = "masonry"
    reference: Reference = field(default_factory=Reference)
    check_bar: CheckBar = field(default_factory=CheckBar)
    edge_offset: Mapping[Side, Quantity] | None = None
    sill_at: Literal["front", "wall", "frame"] = "front"
    sill_out: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Warning_:
    """A warning: code of the contract, one or two sentences with effect and remedy, and its side if it is of one."""

    code: str
    message: str
    side: Side | Literal[""] = ""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A competing edge of one side: weight 0..1, outward shift in mm, and its effect on the nine measures (9,)."""

    side: Side
    weight: float
    shift_mm: float
    shift_nine_mm: Array
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """A further measure: value, standard uncertainty, place where it has one (mm from the top or left corner)."""

    value_mm: float
    u_mm: float
    place_mm: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """Another outline or line seen in the opening (frame, sash, trim, sill line) with its measures and depth.

    `depth_mm` counts like an edge offset, + toward the camera; `depth_by`: found by parallax, or that of the edge.
    `u_by_mm` is the standard uncertainty of each measure, `u_mm` their median. `modes_mm` are the face's own shares of
    it, each moving the measures together, on top of the photo's. `lines_px`: ends (2, 2) of its sides. `weight`: 0..1.
    """

    name: str
    measures_mm: Mapping[str, float]
    u_mm: float
    depth_mm: float
    kind: Literal["line", "outline"] = "line"
    u_depth_mm: float = 0.0
    depth_by: Literal["parallax", "edge"] = "edge"
    weight: float = 1.0
    u_by_mm: Mapping[str, float] = field(default_factory=dict)
    modes_mm: tuple[Mapping[str, float], ...] = ()
    lines_px: Mapping[Side, Array] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LensUse:
    """A camera profile that was named or fits: file, hash, whether it was applied, else why not."""

    path: Path
    sha256: str
    applied: bool
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class PhotoReport:
    """What one photo gave: file, hash, size, corners used (4, 2) px, sides as traced, references as found.

    All pixels are of the size that was measured, of which each covers `reduced` of the photo, across and down;
    `whole_px` is the photo's own size.
    """

    path: Path
    sha256: str
    size_px: tuple[int, int]
    corners_px: Array | None = None
    sides_px: Mapping[str, Array] = field(default_factory=dict)
    stations_px: Mapping[str, Array] = field(default_factory=dict)
    references_px: tuple[tuple[str, Array], ...] = ()
    rivals_px: tuple[tuple[Side, float, Array], ...] = ()  # lines that a side is not: shift outward in mm, ends (2, 2)
    warnings: tuple[Warning_, ...] = ()
    error: Warning_ | None = None
    wall_to_photo: Callable[[Array], Array] | None = None  # (N, 2) mm from the top left corner, x along the head
    extent_mm: tuple[float, float, float, float] | None = None  # x0, y0, x1, y1 of the part worth showing
    lenses: tuple[LensUse, ...] = ()
    faces_px: tuple[tuple[str, Mapping[Side, Array]], ...] = ()  # other outlines: name, ends (2, 2) of their sides
    reduced: int = 1
    whole_px: tuple[int, int] = (0, 0)


LOW = " low"


@dataclass(frozen=True, slots=True, eq=False)
class Remedy:
    """One action that would make the measures surer, where, and the covariance after it.

    Where is left, right, the same with `LOW` (level with the sill), or nothing.
    `thing` is what the photo's reference is called: sheet, page, card or rectangle.
    """

    action: Literal[
        "second-reference",
        "two-sheets",
        "measure-bars",
        "measure-page",
        "give-edge-offset",
        "original-photo",
        "lens-profile",
    ]
    where: str
    cov_mm2: Array
    thing: str = "sheet"


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """Measures of one opening, in the order of `NINE`.

    `values_mm` (9,) with covariance `cov_mm2` (9, 9); `budget_mm` (9, 11) their standard uncertainties by the parts of
    `PARTS`; `station_u_mm` (9,) those of where a tape touches. `further`: taper, lean and others, by name.
    `candidates`: other lines that a side could be. `faces`: other outlines that a tape may have been taken to.
    `photos`: a report on each photo, in the order asked. `found_by`: `photo` (no corners were given), `corners` (traced
    from rough ones) or `clicked`. `remedies`: what would make the measures surer; none where they are sure.
    """

    values_mm: Array
    cov_mm2: Array
    budget_mm: Array
    station_u_mm: Array
    further: Mapping[str, Measure]
    candidates: tuple[Candidate, ...]
    faces: tuple[Face, ...]
    photos: tuple[PhotoReport, ...]
    warnings: tuple[Warning_, ...]
    found_by: Literal["photo", "corners", "clicked"]
    remedies: tuple[Remedy, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class NotMeasured:
    """The opening could not be measured: a code, why and what to do in words, and what the photos gave all the same."""

    code: str
    why: str
    photos: tuple[PhotoReport, ...] = ()
    warnings: tuple[Warning_, ...] = ()

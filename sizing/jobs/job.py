"""A job as read and checked: plain values, no behaviour beyond looking up.

Lengths are millimetres; `Length` keeps what was written beside the value. Readings are named as seen from
outside.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from sizing.errors import Problem
from sizing.units import COMMON_GRADUATION_MM, Length, Unit
from vision.request import Array, CheckBar, OpeningRequest, PhotoRequest, Quantity, Reference, Side, Wall

Tape = Literal["class-1", "class-2", "class-3", "hb44", "laser", "unknown"]
SeenFrom = Literal["outside", "inside"]
Shape = Literal["rectangle", "arched", "other"]
SillAt = Literal["front", "wall", "frame"]

# The boxes of the form, in the contract's order.
READINGS = (
    "width_top",
    "width_middle",
    "width_bottom",
    "height_left",
    "height_middle",
    "height_right",
    "diagonal_down",
    "diagonal_up",
)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a reading may be under or over the opening without harm, mm; contract, *Decision*."""

    width_under_mm: float = 6.35
    width_over_mm: float = 6.35
    height_under_mm: float = 6.35
    height_over_mm: float = 6.35
    diagonal_mm: float = 12.7

    def of(self, name: str) -> tuple[float, float]:
        """Return (under, over) in mm for a reading by its name."""
        if name.startswith("width"):
            return self.width_under_mm, self.width_over_mm
        if name.startswith("height"):
            return self.height_under_mm, self.height_over_mm
        return self.diagonal_mm, self.diagonal_mm


@dataclass(frozen=True, slots=True)
class Reading:
    """What the tape said at one station; `name` as seen from outside, `as_named` as in the file."""

    name: str
    length: Length
    as_named: str
    by: str | None = None
    on: date | None = None
    tape: Tape = "unknown"
    graduation_mm: float = COMMON_GRADUATION_MM
    seen_from: SeenFrom = "outside"
    visit: int = 0


@dataclass(frozen=True, slots=True)
class Visit:
    """One set of readings: number 0 is the opening's own, 1 and on the visits in the file's order."""

    number: int
    by: str | None = None
    on: date | None = None
    tape: Tape = "unknown"
    graduation_mm: float = COMMON_GRADUATION_MM
    seen_from: SeenFrom = "outside"
    note: str = ""
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class Size:
    """An ordered or delivered size; None where not given."""

    width: Length | None = None
    height: Length | None = None
    by: str | None = None
    tape: Tape | None = None


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something in the way, outlined in one photo: points (x, y) px of the upright photo."""

    what: str
    photo: str
    outline_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A paper kept with the opening: hashed and shown, never read; `error` says why it cannot be used."""

    file: str
    path: Path
    kind: Literal["field-sheet", "order", "delivery-note"]
    error: Problem | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PhotoEntry:
    """One photo as listed: `file` as written, `path` resolved; `error` set where it cannot be used."""

    file: str
    path: Path
    turn: Literal[0, 90, 180, 270] = 0
    corners_px: Array | None = None
    trace: bool = True
    click_px: float = 3.0
    reference: Reference | None = None
    reference_corners_px: tuple[Array, ...] = ()
    focal35_mm: float | None = None
    lens: Path | None = None
    lenses: tuple[Path, ...] = ()
    when: Literal["before", "after"] | None = None
    error: Problem | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """One opening: its photos, what is known of the scene, and what the tape said.

    `readings` are those in force, `superseded` the earlier ones that a visit replaced, both named from
    outside.
    """

    label: str
    wall: Wall = "masonry"
    photos: tuple[PhotoEntry, ...] = ()
    reference: Reference = field(default_factory=Reference)
    check_bar: CheckBar = field(default_factory=CheckBar)
    edge_offset: Mapping[Side, Quantity] | None = None
    sill_at: SillAt = "front"
    shape: Shape = "rectangle"
    rule: str | None = None
    quantity: int = 1
    readings: tuple[Reading, ...] = ()
    superseded: tuple[Reading, ...] = ()
    visits: tuple[Visit, ...] = ()
    ordered: Size | None = None
    delivered: Size | None = None
    obstacles: tuple[Obstacle, ...] = ()
    clearances: Mapping[str, Length] = field(default_factory=lambda: MappingProxyType({}))
    documents: tuple[Document, ...] = ()
    note: str = ""
    extra: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def seen_reference(self) -> Reference:
        """The reference that the first photo to name one has, else the opening's own."""
        return next((p.reference for p in self.photos if p.reference is not None), self.reference)


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """A job file, read and checked; `file` is the job file itself, `sha256` of its bytes.

    `tolerance_given` holds the fields of `tolerance` that the file itself says; a rule may say the others.
    `unpointed_sha256` is of all that the file says but where somebody pointed in the photos.
    """

    id: str
    file: Path
    folder: Path
    units: Unit
    sha256: str
    openings: tuple[Opening, ...]
    measured_by: str | None = None
    measured_on: date | None = None
    tape: Tape = "unknown"
    graduation_mm: float = COMMON_GRADUATION_MM
    seen_from: SeenFrom = "outside"
    tolerance: Tolerance = field(default_factory=Tolerance)
    tolerance_given: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    note: str = ""
    extra: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    unpointed_sha256: str = ""


def photo_request(photo: PhotoEntry) -> PhotoRequest:
    """Return what `vision` is asked of one photo."""
    return PhotoRequest(
        path=photo.path,
        turn=photo.turn,
        corners_px=photo.corners_px,
        trace=photo.trace,
        click_px=photo.click_px,
        reference=photo.reference,
        reference_corners_px=photo.reference_corners_px,
        focal35_mm=photo.focal35_mm,
        lens=photo.lens,
        lenses=photo.lenses,
    )


def opening_request(opening: Opening) -> OpeningRequest:
    """Return what `vision` is asked of one opening: its photos that have no error, and the scene.

    Photos from afterwards may show another opening than was measured: they are asked only where there are no others.
    """
    usable = [photo for photo in opening.photos if photo.error is None]
    early = [photo for photo in usable if photo.when != "after"]
    return OpeningRequest(
        photos=tuple(photo_request(photo) for photo in early or usable),
        wall=opening.wall,
        reference=opening.reference,
        check_bar=opening.check_bar,
        edge_offset=opening.edge_offset,
        sill_at=opening.sill_at,
    )

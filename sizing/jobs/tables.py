"""The tables of a job file as they may be written: keys and types; nothing is converted here."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator

from sizing.jobs.job import SeenFrom, Shape, SillAt, Tape
from sizing.jobs.values import (
    CLICK_MOST_PX,
    FOCAL35_LEAST_MM,
    FOCAL35_MOST_MM,
    Across,
    Along,
    Box,
    Corners,
    Graduation,
    Name,
    Offset,
    OrderedSize,
    Person,
    Quadrilaterals,
    Reading,
    ReferenceKind,
    ReferenceLength,
    ToleranceLength,
    Uncertainty,
)
from sizing.units import Unit
from vision.request import Wall

# Contract, *Limits*.
MOST_OPENINGS, MOST_PHOTOS = 200, 12
# Guesses, far above any opening: each obstacle is held against the room for it, each document hashed.
MOST_OBSTACLES, MOST_DOCUMENTS = 50, 50
# Names of the forms that a value may take; they come up in the places of errors and are no keys.
FORMS = frozenset({"<text>", "<table>", "<value>", "<sides>"})


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def _by_type(value: object) -> str:
    return "<table>" if isinstance(value, dict) else "<text>"


def _offset_form(value: object) -> str:
    if isinstance(value, dict):
        return "<value>" if "value" in value or "u" in value else "<sides>"
    return "<text>"


class ToleranceTable(_Table):
    """Tolerances by direction."""

    width_under: ToleranceLength | None = None
    width_over: ToleranceLength | None = None
    height_under: ToleranceLength | None = None
    height_over: ToleranceLength | None = None
    diagonal: ToleranceLength | None = None


class ReferenceTable(_Table):
    """A rectangle of given size."""

    width: ReferenceLength
    height: ReferenceLength


class CheckBarTable(_Table):
    """The printed bars as measured."""

    across: Across | None = None
    along: Along | None = None
    u: Uncertainty | None = None

    @model_validator(mode="after")
    def _some_bar(self) -> CheckBarTable:
        if self.across is None and self.along is None:
            raise ValueError("names no bar: give across, along or both, as measured")
        return self


class QuantityTable(_Table):
    """An edge offset with its uncertainty."""

    value: Offset
    u: Uncertainty | None = None


OffsetForm = Annotated[
    Annotated[Offset, Tag("<text>")] | Annotated[QuantityTable, Tag("<table>")], Discriminator(_by_type)
]


class SidesTable(_Table):
    """Edge offsets by side."""

    head: OffsetForm | None = None
    right: OffsetForm | None = None
    sill: OffsetForm | None = None
    left: OffsetForm | None = None

    @model_validator(mode="after")
    def _some_side(self) -> SidesTable:
        if all(side is None for _, side in self):
            raise ValueError("names no side: give a length, or head, right, sill and left")
        return self


ReferenceForm = Annotated[
    Annotated[ReferenceKind, Tag("<text>")] | Annotated[ReferenceTable, Tag("<table>")],
    Discriminator(_by_type),
]
ToleranceForm = Annotated[
    Annotated[ToleranceLength, Tag("<text>")] | Annotated[ToleranceTable, Tag("<table>")],
    Discriminator(_by_type),
]
CheckBarForm = Annotated[
    Annotated[Across, Tag("<text>")] | Annotated[CheckBarTable, Tag("<table>")], Discriminator(_by_type)
]
EdgeOffsetForm = Annotated[
    Annotated[Offset, Tag("<text>")] | Annotated[QuantityTable, Tag("<value>")] | Annotated[SidesTable, Tag("<sides>")],
    Discriminator(_offset_form),
]


class PhotoTable(_Table):
    """A photo with what is told of it."""

    file: str
    corners: Corners | None = None
    trace: bool = True
    click_px: float = Field(default=3.0, gt=0, le=CLICK_MOST_PX)
    turn: Literal[0, 90, 180, 270] = 0
    reference: ReferenceForm | None = None
    reference_corners: Quadrilaterals | None = None
    lens: str | None = None
    focal35: float | None = Field(default=None, ge=FOCAL35_LEAST_MM, le=FOCAL35_MOST_MM)
    when: Literal["before", "after"] | None = None


PhotoForm = Annotated[Annotated[str, Tag("<text>")] | Annotated[PhotoTable, Tag("<table>")], Discriminator(_by_type)]


class Widths(_Table):
    """Boxes of the widths."""

    top: Reading | None = None
    middle: Reading | None = None
    bottom: Reading | None = None


class Heights(_Table):
    """Boxes of the heights."""

    left: Reading | None = None
    middle: Reading | None = None
    right: Reading | None = None


class Diagonals(_Table):
    """Boxes of the diagonals."""

    down: Reading | None = None
    up: Reading | None = None


class Boxes(_Table):
    """One set of readings."""

    width: Widths = Widths()
    height: Heights = Heights()
    diagonal: Diagonals = Diagonals()


class VisitTable(Boxes):
    """A later set of readings."""

    by: Person | None = None
    on: date | None = None
    tape: Tape | None = None
    graduation: Graduation | None = None
    seen_from: SeenFrom | None = None
    note: str = ""


class OrderedTable(_Table):
    """What is about to be ordered."""

    width: OrderedSize | None = None
    height: OrderedSize | None = None


class DeliveredTable(OrderedTable):
    """What arrived, as measured."""

    by: Person | None = None
    tape: Tape | None = None


class ObstacleTable(_Table):
    """Something in the way, in one photo."""

    what: str
    photo: str
    box: Box | None = None
    polygon: Corners | None = None

    @model_validator(mode="after")
    def _one_outline(self) -> ObstacleTable:
        if (self.box is None) == (self.polygon is None):
            raise ValueError("give box = [x0, y0, x1, y1] or polygon = [[x, y], ...], one of them")
        if self.polygon is not None and (len(self.polygon) < 3 or None in self.polygon):
            raise ValueError("a polygon has at least 3 points [x, y]")
        return self


class ClearancesTable(_Table):
    """Free room around the opening."""

    above: Reading | None = None
    below: Reading | None = None
    left: Reading | None = None
    right: Reading | None = None


class DocumentTable(_Table):
    """A paper kept with the opening."""

    file: str
    kind: Literal["field-sheet", "order", "delivery-note"]


class OpeningTable(Boxes):
    """One opening."""

    label: Name
    wall: Wall
    photos: list[PhotoForm] = Field(default_factory=list, max_length=MOST_PHOTOS)
    reference: ReferenceForm = "sheet"
    check_bar: CheckBarForm | None = None
    edge_offset: EdgeOffsetForm | None = None
    sill_at: SillAt = "front"
    shape: Shape = "rectangle"
    rule: Name | None = None
    quantity: int = Field(default=1, ge=1, le=10_000)
    visit: list[VisitTable] = Field(default_factory=list)
    ordered: OrderedTable | None = None
    delivered: DeliveredTable | None = None
    obstacles: list[ObstacleTable] = Field(default_factory=list, max_length=MOST_OBSTACLES)
    clearances: ClearancesTable = ClearancesTable()
    documents: list[DocumentTable] = Field(default_factory=list, max_length=MOST_DOCUMENTS)
    note: str = ""
    extra: dict[str, Any] = Field(default_factory=dict)


class JobTable(_Table):
    """What is common to all openings."""

    id: Name
    units: Unit
    measured_by: Person | None = None
    measured_on: date | None = None
    tape: Tape | None = None
    graduation: Graduation | None = None
    seen_from: SeenFrom | None = None
    tolerance: ToleranceForm | None = None
    note: str = ""
    extra: dict[str, Any] = Field(default_factory=dict)


class JobFile(_Table):
    """The whole file."""

    job: JobTable
    opening: list[OpeningTable] = Field(min_length=1, max_length=MOST_OPENINGS)

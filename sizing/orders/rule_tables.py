"""The tables of a sizing rule as they may be written: keys and types; nothing is converted here."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag, ValidationInfo, model_validator

from sizing.jobs.values import Name, ToleranceLength, Written, length_in
from sizing.units import Unit, parse_length, parse_signed_length

# What people on site must look at before an order; the words are in `sizing.messages.order`.
Confirm = Literal[
    "room-above",
    "room-below",
    "obstacles",
    "substrate",
    "escape-opening",
    "debris-region",
    "ladder",
    "bars-and-covers",
]
Choice = Literal["nearest", "next-up", "next-down"]
Which = Literal["largest", "smallest", "middle"]

MOST_SIZES, MOST_PARTS = 1000, 12

Addition = Annotated[Written, length_in(-1000, 1000, "an addition", parse_signed_length)]
Room = Annotated[Written, length_in(0, 2000, "an allowance")]
Step = Annotated[Written, length_in(0.5, 1000, "a step")]
Size = Annotated[Written, length_in(100, 20_000, "a size")]
Limit = Annotated[Written, length_in(0.01, 500, "a limit")]
Share = Annotated[int, Field(ge=1, le=100)]
Split = Annotated[list[Share], Field(min_length=1, max_length=MOST_PARTS)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


def _form(value: object) -> str:
    return "<table>" if isinstance(value, dict) else "<text>"


class AcrossTable(_Table):
    """Additions left and right."""

    left: Addition = 0
    right: Addition = 0


class UprightTable(_Table):
    """Additions at head and sill."""

    head: Addition = 0
    sill: Addition = 0


AcrossForm = Annotated[
    Annotated[Addition, Tag("<text>")] | Annotated[AcrossTable, Tag("<table>")], Discriminator(_form)
]
UprightForm = Annotated[
    Annotated[Addition, Tag("<text>")] | Annotated[UprightTable, Tag("<table>")], Discriminator(_form)
]


class _Direction(_Table):
    reading: Which
    step: Step | None = None
    sizes: Annotated[list[Size], Field(min_length=1, max_length=MOST_SIZES)] | None = None
    choose: Choice | None = None
    minimum: Size | None = None
    maximum: Size | None = None

    @model_validator(mode="after")
    def _sound(self, info: ValidationInfo) -> _Direction:
        unit: Unit = (info.context or {}).get("unit", "in")
        if self.step is not None and self.sizes is not None:
            raise ValueError("give step or sizes, not both: sizes come in even steps or from a list")
        if (self.step is None and self.sizes is None) != (self.choose is None):
            raise ValueError('step or sizes go with choose = "nearest", "next-up" or "next-down"; give both or neither')
        if self.sizes is not None:
            made = [parse_length(size, unit).exact for size in self.sizes]
            if any(a >= b for a, b in pairwise(made)):
                raise ValueError("sizes must run from small to large, each once")
        least, most = (None if one is None else parse_length(one, unit).exact for one in (self.minimum, self.maximum))
        if least is not None and most is not None and least > most:
            raise ValueError("minimum is above maximum: swap them")
        return self


class WidthTable(_Direction):
    """How the width to order follows from the readings."""

    add: AcrossForm = 0


class HeightTable(_Direction):
    """How the height to order follows from the readings."""

    add: UprightForm = 0
    hardware: Room | None = None
    hardware_least: Room | None = None

    @model_validator(mode="after")
    def _hardware(self, info: ValidationInfo) -> HeightTable:
        unit: Unit = (info.context or {}).get("unit", "in")
        if self.hardware_least is not None:
            whole = 0 if self.hardware is None else parse_length(self.hardware, unit).exact
            if parse_length(self.hardware_least, unit).exact > whole:
                raise ValueError("hardware_least is above hardware: it is what remains of it where there is room above")
        return self


class FreeTable(_Table):
    """Room around the opening that must stay free."""

    above: Room | None = None
    below: Room | None = None
    left: Room | None = None
    right: Room | None = None


class LimitsTable(_Table):
    """How far an opening may be off a rectangle."""

    out_of_square: Limit | None = None
    taper_width: Limit | None = None
    taper_height: Limit | None = None


class RuleToleranceTable(_Table):
    """Tolerances of readings by direction."""

    width_under: ToleranceLength | None = None
    width_over: ToleranceLength | None = None
    height_under: ToleranceLength | None = None
    height_over: ToleranceLength | None = None
    diagonal: ToleranceLength | None = None


class PanelsTable(_Table):
    """Several panels side by side where one would be too wide."""

    widest: Size
    narrowest: Size | None = None
    gap: Room = 0
    splits: Annotated[list[Split], Field(min_length=1, max_length=MOST_PARTS)] = Field(
        default_factory=lambda: [[1], [1, 1], [1, 1, 1, 1]]
    )


class HeadTable(_Table):
    """What a rule is called."""

    id: Name
    title: Name
    units: Unit
    note: str = ""
    confirm: list[Confirm] = Field(default_factory=list)


class RuleFile(_Table):
    """The whole file."""

    rule: HeadTable
    width: WidthTable
    height: HeightTable
    free: FreeTable = FreeTable()
    limits: LimitsTable = LimitsTable()
    tolerance: RuleToleranceTable = RuleToleranceTable()
    panels: PanelsTable | None = None

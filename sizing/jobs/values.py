"""Single values of a job file as they may be written: lengths within their limits, points, names.

Lengths keep the text as written, so that the second step can read it with the graduation that belongs to it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import AfterValidator, PlainValidator, ValidationInfo

from sizing.jobs.corners import FURTHEST_PX
from sizing.units import Length, Unit, format_length, parse_length, parse_signed_length
from vision.request import Reference

# The printed bars, contract, *The sheet*; a page printed to fit differs by a few per cent, a wrong unit by
# far more.
ACROSS_MM, ALONG_MM = 150.0, 200.0
BAR_RANGE = 0.25
# Farther than any edge stands out or in; a card's side at the least, a door's at the most (guesses, against slips).
OFFSET_MOST_MM = 300.0
REFERENCE_LEAST_MM, REFERENCE_MOST_MM = 5.0, 10_000.0
# From fisheye to the longest telephoto lens.
FOCAL35_LEAST_MM, FOCAL35_MOST_MM = 5.0, 2000.0
CLICK_MOST_PX = 1000.0
# A given size is known to its last digit (rectangular, JCGM 100, 4.3.7), as bars are, within two limits, both guesses:
# edges are seldom cut better than to the first, and whole mm or a fraction in lowest terms were read off a rule.
_U_GIVEN_LEAST_MM, _U_GIVEN_MOST_MM = 0.1, 0.25
_MOST_OF_NAME = 100
Written = str | int | float
Point = tuple[float, float]


def length_in(
    low_mm: float, high_mm: float, what: str, parse: Callable[[object, Unit], Length] = parse_length
) -> PlainValidator:
    """Return a check that a length can be read and lies within two limits; the text itself is kept."""

    def check(value: object, info: ValidationInfo) -> object:
        unit: Unit = (info.context or {}).get("unit", "in")
        length_mm = parse(value, unit).mm
        if not low_mm <= length_mm <= high_mm:
            high, read = format_length(high_mm, unit), format_length(length_mm, unit)
            # Limits too short to be shown in inches are there to refuse zero.
            low = "more than 0 and at most" if 0 < low_mm < 0.1 else f"{format_length(low_mm, unit)} to"
            raise ValueError(f"{str(value)!r} is {read}: {what} is {low} {high}; check the unit")
        return value

    return PlainValidator(check)


def given_reference(width: Length, height: Length) -> Reference:
    """Return the rectangle of a size that somebody gave, known to the last digit that was written.

    Examples
    --------
    >>> given_reference(parse_length("120 mm", "in"), parse_length("80.5 mm", "in")).u_mm
    (0.25, 0.1)
    """
    across, along = (min(max(s.step_mm / 12**0.5, _U_GIVEN_LEAST_MM), _U_GIVEN_MOST_MM) for s in (width, height))
    return Reference("given", width.mm, height.mm, (across, along))


def as_text(value: object) -> str:
    """Return any value of TOML as text, also whole numbers longer than Python prints."""
    try:
        return str(value)
    except ValueError:
        return "a number of thousands of digits"


def _finite(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < FURTHEST_PX:
        raise ValueError(f"{as_text(value)[:40]!r} is not a pixel coordinate: write numbers like [812, 640]")
    return float(value)


def _box(value: object) -> tuple[float, float, float, float]:
    if not isinstance(value, list) or len(value) != 4:
        raise ValueError("not a box: write [x0, y0, x1, y1] in pixels of the upright photo")
    x0, y0, x1, y1 = (_finite(end) for end in value)
    return x0, y0, x1, y1


def _point(value: object) -> Point | None:
    if value == "-":
        return None
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f"{as_text(value)[:40]!r} is not a point: write x and y in pixels, like [812, 640]")
    return _finite(value[0]), _finite(value[1])


def _points(value: object) -> tuple[Point | None, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("not a list of points: write [[x, y], ...] in pixels of the upright photo")
    return tuple(_point(point) for point in value)


def _quadrilaterals(value: object) -> tuple[tuple[Point | None, ...], ...]:
    nested = isinstance(value, list) and value and isinstance(value[0], list) and value[0]
    if nested and isinstance(nested[0], list):
        return tuple(_points(one) for one in value) if isinstance(value, list) else ()
    return (_points(value),)


def _name(value: str) -> str:
    if not value.strip() or not value.isprintable() or len(value) > _MOST_OF_NAME:
        raise ValueError(f"{value[:40]!r} is not a name: 1 to {_MOST_OF_NAME} characters that can be printed")
    return value


def _person(value: str) -> str:
    if len(value) > _MOST_OF_NAME:
        raise ValueError(f"{value[:40]!r} and more is no name: at most {_MOST_OF_NAME} characters; found {len(value)}")
    return value


Name = Annotated[str, AfterValidator(_name)]
Person = Annotated[str, AfterValidator(_person)]
Reading = Annotated[Written, length_in(0, 100_000, "a length")]
# No window is of no size; a decision on one would be refused too late, when the rest has been checked.
OrderedSize = Annotated[Written, length_in(0.01, 100_000, "a size to order or delivered")]
ToleranceLength = Annotated[Written, length_in(0.01, 100, "a tolerance")]
Graduation = Annotated[Written, length_in(0.01, 25.4, "a graduation")]
Uncertainty = Annotated[Written, length_in(0.001, 100, "an uncertainty")]
ReferenceLength = Annotated[Written, length_in(REFERENCE_LEAST_MM, REFERENCE_MOST_MM, "the side of a reference")]
Offset = Annotated[Written, length_in(-OFFSET_MOST_MM, OFFSET_MOST_MM, "an edge offset", parse_signed_length)]
Across = Annotated[
    Written, length_in(ACROSS_MM * (1 - BAR_RANGE), ACROSS_MM * (1 + BAR_RANGE), "the bar across the page")
]
Along = Annotated[Written, length_in(ALONG_MM * (1 - BAR_RANGE), ALONG_MM * (1 + BAR_RANGE), "the bar along the page")]
Box = Annotated[tuple[float, float, float, float], PlainValidator(_box)]
Corners = Annotated[tuple[Point | None, ...], PlainValidator(_points)]
Quadrilaterals = Annotated[tuple[tuple[Point | None, ...], ...], PlainValidator(_quadrilaterals)]
ReferenceKind = Literal["sheet", "letter", "a4", "id1"]

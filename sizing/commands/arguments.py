"""What is typed after `secondtape estimate`, checked, as a request to `vision`; all problems at once."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from sizing.errors import InputError, Problem
from sizing.jobs.corners import FURTHEST_PX, corner_array, corner_fault
from sizing.jobs.lenses import named_profile
from sizing.jobs.values import (
    ACROSS_MM,
    ALONG_MM,
    BAR_RANGE,
    CLICK_MOST_PX,
    FOCAL35_LEAST_MM,
    FOCAL35_MOST_MM,
    OFFSET_MOST_MM,
    REFERENCE_LEAST_MM,
    REFERENCE_MOST_MM,
    given_reference,
)
from sizing.messages.one_line import one_line
from sizing.orders.rulefile import find_rule
from sizing.orders.rules import Rule
from sizing.units import Length, LengthError, parse_length, parse_signed_length
from vision.request import CORNERS, SIDES, Array, CheckBar, OpeningRequest, PhotoRequest, Quantity, Reference

_T = TypeVar("_T")
_KINDS = ("sheet", "letter", "a4", "id1")
_WALLS = ("masonry", "render", "siding", "panel")
_SILLS = ("front", "wall", "frame")
# Contract, Job file: an edge offset that is given is good to 1 mm.
_U_OFFSET_MM = 1.0
_MOST_PHOTOS = 12
_CORNERS = 'four corners as "x,y x,y x,y x,y", in pixels, top left first, clockwise (- for one not in view)'


@dataclass(frozen=True, slots=True)
class EstimateOptions:
    """The options of `estimate` as typed."""

    photos: tuple[Path, ...]
    reference: str = "sheet"
    corners: str | None = None
    as_clicked: bool = False
    click: float = 3.0
    reference_corners: tuple[str, ...] = ()
    wall: str = "masonry"
    edge_offset: str | None = None
    check_bar: str | None = None
    lens: str | None = None
    focal35: float | None = None
    rule: str | None = None
    sill_at: str = "front"
    units: str = "in"


def opening_request(options: EstimateOptions) -> OpeningRequest:
    """Return the request that the options make.

    Raises
    ------
    InputError
        With every problem found, each naming its option.
    """
    problems: list[Problem] = []

    def read(option: str, reader: Callable[[str], _T], text: str | None) -> _T | None:
        if text is None:
            return None
        try:
            return reader(text)
        except ValueError as error:
            problems.append(Problem(option, str(error)))
            return None

    reference = read("--reference", parse_reference, options.reference)
    corners = read("--corners", parse_opening, options.corners)
    marked = [read("--reference-corners", parse_corners, text) for text in options.reference_corners]
    offset = read("--edge-offset", parse_edge_offset, options.edge_offset)
    bar = read("--check-bar", parse_check_bar, options.check_bar)
    problems += _choices(options)
    lens = read("--lens", named_profile, options.lens)
    problems += _rule_problems(options)
    if problems:
        raise InputError("bad-option", problems)
    photos = [
        PhotoRequest(
            path=path,
            corners_px=corners if i == 0 else None,
            trace=not (options.as_clicked and i == 0),
            click_px=options.click,
            reference_corners_px=tuple(px for px in marked if px is not None) if i == 0 else (),
            focal35_mm=options.focal35,
            lens=lens,
        )
        for i, path in enumerate(options.photos)
    ]
    chosen: Any = options  # wall and sill line have been checked against the lists above
    return OpeningRequest(
        photos=tuple(photos),
        wall=chosen.wall,
        reference=reference or Reference(),
        check_bar=bar or CheckBar(),
        edge_offset=offset,
        sill_at=chosen.sill_at,
    )


def _choices(options: EstimateOptions) -> list[Problem]:
    problems = []
    for option, value, allowed in (
        ("--wall", options.wall, _WALLS),
        ("--sill-at", options.sill_at, _SILLS),
        ("--units", options.units, ("in", "mm")),
    ):
        if value not in allowed:
            problems.append(Problem(option, f"'{one_line(value)}' is not known; use {', '.join(allowed)}."))
    if not (math.isfinite(options.click) and 0.0 < options.click <= CLICK_MOST_PX):
        says = f"{options.click} is not a number of pixels above 0, up to {CLICK_MOST_PX:g}."
        problems.append(Problem("--click", says))
    if options.focal35 is not None and not FOCAL35_LEAST_MM <= options.focal35 <= FOCAL35_MOST_MM:
        allowed_mm = f"{FOCAL35_LEAST_MM:g} to {FOCAL35_MOST_MM:g} mm"
        problems.append(Problem("--focal35", f"{options.focal35} is not {allowed_mm}, in 35 mm terms."))
    if options.as_clicked and options.corners is None:
        problems.append(Problem("--as-clicked", "there are no corners to take as they stand; give --corners as well."))
    if len(options.photos) > _MOST_PHOTOS:
        problems.append(Problem("PHOTO", f"{len(options.photos)} photos; give at most {_MOST_PHOTOS} of one opening."))
    return problems


def _rule_problems(options: EstimateOptions) -> list[Problem]:
    try:
        rule_named(options.rule)
    except InputError as error:
        return [p if p.where != "rule" else Problem("--rule", p.says) for p in error.problems]
    return []


def rule_named(name: str | None) -> Rule | None:
    """Return the sizing rule that `--rule` names, by id or file, looked for from this folder; None without one.

    Raises
    ------
    InputError
        It is not there, is there twice, or cannot be used.
    """
    return None if name is None else find_rule(name, Path(), of_job=False)


def parse_reference(text: str) -> Reference:
    """Return the reference that `sheet`, `letter`, `a4`, `id1` or a size like `120x80mm` names.

    Raises
    ------
    ValueError
        Neither a kind nor a size of 5 mm to 10 m.

    Examples
    --------
    >>> parse_reference("120x80mm")
    Reference(kind='given', width_mm=120.0, height_mm=80.0, u_mm=(0.25, 0.25))
    """
    plain = text.strip().lower()
    if plain in _KINDS:
        kind: Any = plain
        return Reference(kind)
    parts = re.split(r"\s*[x×*]\s*", plain)
    if len(parts) != 2:
        raise ValueError(f"'{one_line(text)}' is not known; use {', '.join(_KINDS)}, or a size as 120x80mm.")
    unit = re.search(r"[a-z'\"]+$", parts[1])
    if unit and not re.search(r"[a-z'\"]+$", parts[0]):
        parts[0] += f" {unit[0]}"
    width, height = (_length(part) for part in parts)
    if not all(REFERENCE_LEAST_MM <= size.mm <= REFERENCE_MOST_MM for size in (width, height)):
        allowed_mm = f"{REFERENCE_LEAST_MM:g} mm to {REFERENCE_MOST_MM / 1000:g} m"
        raise ValueError(f"'{one_line(text)}': both sides must be {allowed_mm}.")
    return given_reference(width, height)


def parse_opening(text: str) -> Array:
    """Return the corners of an opening (4, 2) px, read-only; `-` for one that is not in view gives NaN."""
    return parse_corners(text, part=True)


def parse_corners(text: str, *, part: bool = False) -> Array:
    """Return four corners (4, 2) px, read-only; where `part` is allowed `-` stands for one that is not in view (NaN).

    Raises
    ------
    ValueError
        Not four pairs of numbers, or corners that a job file would not take either (`corner_fault`).
    """
    words = iter(re.findall(r"[^\s,;]+", text))
    try:
        points = [None if part and word == "-" else (_pixel(word), _pixel(next(words, ""))) for word in words]
    except ValueError:
        raise ValueError(f"'{one_line(text)}' is not {_CORNERS}.") from None
    if len(points) != len(CORNERS):
        raise ValueError(f"'{one_line(text)}' is not {_CORNERS}.")
    fault = corner_fault(points, upright=part)
    if fault is not None:
        raise ValueError(f"'{one_line(text)}': {fault}.")
    return corner_array(points)


def _pixel(word: str) -> float:
    if not abs(value := float(word)) < FURTHEST_PX:
        raise ValueError(word)
    return value


def parse_edge_offset(text: str) -> Mapping[Any, Quantity]:
    """Return the edge offset by side, + toward the camera, from one length or from `head=0,sill=40mm,...`.

    Raises
    ------
    ValueError
        A side or length that is not known.

    Examples
    --------
    >>> parse_edge_offset("sill=40mm")
    {'sill': Quantity(value_mm=40.0, u_mm=1.0)}
    """
    if "=" not in text:
        return dict.fromkeys(SIDES, _offset(text))
    table = _by_key(text, SIDES)
    return {side: _offset(value) for side, value in table.items()}


def parse_check_bar(text: str) -> CheckBar:
    """Return the check bars from the length of the 150 mm bar, or from `across=149.5mm,along=199.4mm`.

    The uncertainty is that of the last digit: its worth over the root of 12 (JCGM 100, 4.3.7).

    Raises
    ------
    ValueError
        A bar or length that is not known.

    Examples
    --------
    >>> parse_check_bar("149.5mm").across.value_mm
    149.5
    """
    table = _by_key(text, ("across", "along")) if "=" in text else {"across": text}
    bars = {}
    for name, value in table.items():
        length = _length(value)
        nominal = ACROSS_MM if name == "across" else ALONG_MM
        if abs(length.mm - nominal) > BAR_RANGE * nominal:
            raise ValueError(f"{name} = '{one_line(value)}': the bar is {nominal:.0f} mm; measure it again.")
        bars[name] = Quantity(length.mm, length.step_mm / math.sqrt(12.0))
    return CheckBar(bars.get("across"), bars.get("along"))


def _by_key(text: str, known: tuple[str, ...]) -> dict[str, str]:
    table: dict[str, str] = {}
    for part in text.split(","):
        key, equals, value = part.partition("=")
        key = key.strip()
        if not equals or key not in known:
            raise ValueError(f"'{one_line(part)}' is not NAME=LENGTH with NAME one of {', '.join(known)}.")
        if key in table:
            raise ValueError(f"{key} is given twice; give it once.")
        table[key] = value.strip()
    return table


def _offset(text: str) -> Quantity:
    if text.strip() in ("0", "0.0"):
        return Quantity(0.0, _U_OFFSET_MM)
    length = _length(text, signed=True)
    if abs(length.mm) > OFFSET_MOST_MM:
        raise ValueError(f"'{one_line(text)}' is more than {OFFSET_MOST_MM:g} mm off the reference; check the unit.")
    return Quantity(length.mm, _U_OFFSET_MM)


def _length(text: str, *, signed: bool = False) -> Length:
    """Return a length with its unit; a fraction is in inches, a bare decimal number is refused."""
    stripped = text.strip()
    if re.fullmatch(r"[-+]?[0-9]+(\.[0-9]+)?", stripped):
        raise LengthError(f"'{stripped}' has no unit; write {stripped}mm or {stripped}in.")
    return (parse_signed_length if signed else parse_length)(stripped, "in")

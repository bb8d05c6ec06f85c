"""Words of the report's figures: readings, the photo's, sizes, causes, the budget and the chart."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from sizing.messages.chance import percent
from sizing.messages.exact_length import exact_length
from sizing.messages.names import names_of
from sizing.messages.photo_figures import about
from sizing.messages.verdicts import READING_VERDICTS
from sizing.units import INCH_MM, Unit, format_length

_PARTS = {
    "reference_image": "printed edges",
    "camera": "camera",
    "distortion": "lens",
    "print_scale": "print scale",
    "reference_size": "page size",
    "flatness": "flat paper",
    "wall_plane": "flat wall",
    "edge_depth": "depth of the edges",
    "edge_trace": "trace of the edges",
    "edge_choice": "which edge",
    "station": "place of the blade",
}


def part_name(part: str) -> str:
    """Return the plain name of a part of the budget."""
    return _PARTS.get(part, part.replace("_", " "))


def part_figure(u_mm: float, unit: Unit) -> str:
    """Return a part of the budget without its unit: to 0.01 mm, or to 0.001 in, which no fraction of an inch shows.

    Examples
    --------
    >>> part_figure(0.381, "in"), part_figure(0.381, "mm")
    ('0.015', '0.38')
    """
    return f"{u_mm / float(INCH_MM):.3f}" if unit == "in" else f"{u_mm:.2f}"


def all_parts() -> str:
    """Return the heading of the column of the whole uncertainty."""
    return "all, u"


def no_figure() -> str:
    """Return what stands where there is no figure."""
    return "-"


def photo_figure(value_mm: float, U95_mm: float, unit: Unit) -> str:
    """Return the photo's figure with its uncertainty, short.

    Examples
    --------
    >>> photo_figure(1381.2, 2.4, "in")
    'about 54 3/8 in ± 1/8 in'
    """
    return about(value_mm, U95_mm, unit).replace(", give or take ", " ± ")


def order_size(sizes_mm: Sequence[Fraction | None], unit: Unit, *, typed: bool) -> str:
    """Return the size of an order.

    Examples
    --------
    >>> order_size([Fraction(1397), Fraction(1600)], "mm", typed=True)
    '1397 mm x 1600 mm (ordered)'
    """
    said = " x ".join(no_figure() if size is None else exact_length(size, unit) for size in sizes_mm)
    return f"{said} ({'ordered' if typed else 'by the rule'})"


def reading_verdict(verdict: str, *, measured: bool) -> str:
    """Return the verdict of a reading in plain words."""
    if not measured:
        return "differs" if verdict == "differs" else "not checked"
    return READING_VERDICTS[verdict]


def cause(said: Sequence[str], probabilities: Sequence[float]) -> str:
    """Return what probably happened to a reading, with the probability of each cause.

    Examples
    --------
    >>> cause(["Probably an inch too long.", "Perhaps none."], [0.97, 0.02])
    'Probably an inch too long (97 %). Perhaps none (2 %).'
    >>> cause(["Probably an inch too long."], [0.9992])
    'Probably an inch too long (over 99 %).'
    """
    return " ".join(f"{s.rstrip('.')} ({percent(p)})." for s, p in zip(said, probabilities, strict=True) if p >= 0.005)


def cause_of(names: Sequence[str], says: str) -> str:
    """Return the cause of readings with their names: where it is that of several it is said once.

    Examples
    --------
    >>> cause_of(["width_top", "width_middle"], "Another cause than the usual slips (99 %).")
    'width, top; width, middle: Another cause than the usual slips (99 %).'
    """
    return f"{names_of(names)}: {says}"


def chart_key(tolerance: str) -> str:
    """Return what the drawing beside a reading shows; `tolerance` in words.

    Examples
    --------
    >>> chart_key("1/4 in either way").split("; ")[0]
    'Drawn: grey band, where the opening may lie without harm to this reading (the tolerance, 1/4 in either way)'
    """
    return (
        f"Drawn: grey band, where the opening may lie without harm to this reading (the tolerance, {tolerance}); bar, "
        "where the photo sees it (95 %); dot, the photo's figure; line in the middle, the reading."
    )


def chart_says(photo: str, verdict: str) -> str:
    """Return the drawing beside a reading in words, for who does not see it."""
    return f"photo {photo}: {verdict}"


def scale_words(value_mm: float, unit: Unit) -> str:
    """Return an end of the drawing's scale.

    Examples
    --------
    >>> scale_words(25.4, "in"), scale_words(-20.0, "mm")
    ('+1 in', '-20 mm')
    """
    size = abs(value_mm)
    text = format_length(size, unit) if unit == "in" else f"{size:.0f} mm"
    return f"{'-' if value_mm < 0 else '+'}{text}"

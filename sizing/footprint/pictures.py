"""The footprint as pictures: on the rectified wall and in the photo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.resources import as_file, files

import numpy as np
from PIL import Image

from sizing.jobs.job import PhotoEntry
from sizing.messages import footprint as words
from sizing.orders.footprint import Footprint, drawn_report
from sizing.orders.obstacles import Rectangle
from sizing.outcome import OpeningResult
from sizing.pictures.blanking import Blank, boxes_of
from sizing.pictures.drawn import as_measured
from sizing.units import Unit
from vision.photo.upright_rgb import Pixels
from vision.pictures.drawn_labels import TEXT_PART
from vision.pictures.footprint_view import Shape, footprint_on_photo, footprint_on_wall
from vision.request import Array, Estimate, PhotoReport

Cover = Callable[[Pixels, PhotoEntry, PhotoReport], Pixels]

# Kinds of `vision.pictures.looks.LOOKS`.
_KINDS = {"free": "agrees", "in-the-way": "differs", "unproven": "unproven"}


def footprint_shapes(footprint: Footprint, unit: Unit) -> list[Shape]:
    """Return what is drawn of a footprint, from the bottom up."""
    size = footprint.ordered
    zone = footprint.zone
    shapes = [Shape("room", zone.corners(), words.room_label(), _beyond(zone, size))] if zone != size else []
    shapes.append(Shape("opening", footprint.opening_mm))
    shapes += [Shape("panel", panel.corners()) for panel in footprint.panels]
    if footprint.hardware is not None:
        strip = footprint.hardware
        middle = (strip.y0 + strip.y1) / 2
        along = np.array([[strip.x0, middle], [strip.x1, middle]])
        shapes.append(Shape("hardware", strip.corners(), words.hardware_label(), along))
    label = words.drawn_label(size.x1 - size.x0, size.y1 - size.y0, footprint.size_from, unit)
    shapes.append(Shape("ordered", size.corners(), label))
    for thing in footprint.obstacles:
        said = words.obstacle_label(thing.what, thing.gap_mm, 2.0 * thing.u_mm, unit)
        shapes.append(Shape(_KINDS[thing.verdict], thing.outline_mm, said))
    return shapes


def _beyond(zone: Rectangle, product: Rectangle) -> Array:
    """Return the side (2, 2) mm of the room that must stay free on which it reaches farthest beyond the product."""
    a, b, c, d = zone.corners()
    reach = {
        "above": (product.y0 - zone.y0, (a, b)),
        "below": (zone.y1 - product.y1, (d, c)),
        "left": (product.x0 - zone.x0, (a, d)),
        "right": (zone.x1 - product.x1, (b, c)),
    }
    return np.array(max(reach.values(), key=lambda found: found[0])[1])


def footprint_pictures(
    result: OpeningResult,
    footprint: Footprint,
    unit: Unit,
    blanks: Sequence[Blank] = (),
    cover: Cover | None = None,
    text_part: float = TEXT_PART,
) -> tuple[Image.Image, Image.Image]:
    """Return the footprint on the rectified wall and in the first measured photo; `cover` hides more of its pixels.

    Raises
    ------
    ValueError, OSError, PhotoError
        The photo is not what it was when it was measured, or has no map.
    """
    report = drawn_report(result.answer if isinstance(result.answer, Estimate) else None)
    if report is None:
        raise ValueError("no photo maps the wall")
    entry = next(entry for entry in result.opening.photos if entry.path == report.path)
    rgb = as_measured(report, entry.turn, boxes_of(blanks, entry.file))
    rgb = rgb if cover is None else cover(rgb, entry, report)
    shapes = footprint_shapes(footprint, unit)
    with as_file(files("sizing") / "data" / "DejaVuSans.ttf") as font:
        on_wall = footprint_on_wall(rgb, report, shapes, font, text_part)
        return on_wall, footprint_on_photo(rgb, report, shapes, font, text_part)

"""The form of corners on the page of an opening: its fields read, and corners that enclose nothing refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from starlette.datastructures import FormData

from sizing.desk.photo_view import CORNER_NAMES
from sizing.errors import InputError, Problem
from sizing.jobs.corners import corner_fault
from sizing.jobs.values import CLICK_MOST_PX
from sizing.messages.pointing import click_refused, not_saved

Point = tuple[float, float]


def require_outlines(corners: Sequence[Point] | None, references: Sequence[Sequence[Point]]) -> None:
    """Raise InputError where corners are not those of something flat: saved, they would make the photo unusable."""
    named = [] if corners is None else [("", corners, True)]
    named += [(f"reference {i}: ", quad, False) for i, quad in enumerate(references, 1)]
    for lead, quad, upright in named:
        fault = corner_fault([None if math.isnan(x) or math.isnan(y) else (x, y) for x, y in quad], upright=upright)
        if fault is not None:
            raise InputError("bad-corner", [Problem("corners", not_saved(f"{lead}{fault}"))])


def points_of(form: FormData, key: str, count: int) -> list[tuple[float, float]] | None:
    """Return points of a form, fields like `c0x` and `c0y`; None where all are empty."""
    texts = [(str(form.get(f"{key}{i}x", "")).strip(), str(form.get(f"{key}{i}y", "")).strip()) for i in range(count)]
    if not any(x or y for x, y in texts):
        return None
    points = []
    for i, (x, y) in enumerate(texts):
        try:
            point = (float(x), float(y)) if x or y else (math.nan, math.nan)
        except ValueError:
            point = (math.inf, math.inf)
        if math.isinf(point[0]) or math.isinf(point[1]) or (math.isnan(point[0]) and (x or y)):
            raise InputError("bad-corner", [Problem(CORNER_NAMES[i], "needs two numbers, in pixels of the photo")])
        points.append(point)
    return points


def click_of(form: FormData, now_px: float) -> float:
    """Return how exactly the corners are put, px; as it is now where the form does not ask."""
    text = str(form.get("click_px", "")).strip()
    if not text:
        return now_px
    try:
        click_px = float(text)
    except ValueError:
        click_px = math.nan
    if not 0 < click_px <= CLICK_MOST_PX:
        raise InputError("bad-corner", [Problem("corners", click_refused(text, CLICK_MOST_PX))])
    return click_px


def turn_of(form: FormData) -> Any:  # noqa: ANN401 -- 0, 90, 180 or 270
    """Return by how much the photo is turned, degrees; 0 where the form says no such turn."""
    return int(str(form.get("turn", "0"))) if str(form.get("turn", "0")) in ("0", "90", "180", "270") else 0


def small(text: str) -> int:
    """Return a count of references, 12 at most; 0 for what is none."""
    return min(int(text), 12) if text.isascii() and text.isdigit() and len(text) < 3 else 0

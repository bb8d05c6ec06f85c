"""Warnings, points and tolerances within the JSON document."""

from __future__ import annotations

from dataclasses import asdict

from sizing.jobs.job import Tolerance
from sizing.json_values import Document, rounded, rounded_mm
from vision.request import Array, Warning_

COV_DIGITS = 6
P_DIGITS = 4
_PX_DIGITS = 1


def warning_document(warning: Warning_) -> Document:
    """Return a warning as code and message, with its side where it is of one."""
    return {"code": warning.code, "message": warning.message} | ({"side": warning.side} if warning.side else {})


def point_lists(points_px: Array) -> list[list[float | None]]:
    """Return points (N, 2) as pairs, rounded to 0.1 px."""
    return [[rounded(v, _PX_DIGITS) for v in point] for point in points_px]


def tolerance_document(tolerance: Tolerance) -> Document:
    """Return the limits of a tolerance in mm, by their names without the unit."""
    return {name.removesuffix("_mm"): rounded_mm(value) for name, value in asdict(tolerance).items()}

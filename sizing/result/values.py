"""Values within the JSON document: numbers rounded to what the contract promises, null where not finite."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime, time
from typing import Any

from sizing.jobs.job import Tolerance
from vision.request import Array, Warning_

Document = dict[str, Any]
# Contract: same inputs give the same values to 0.01 mm on any machine; what is beyond is not shown.
_MM_DIGITS = 3
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


def rounded_mm(value: float | None) -> float | None:
    """Return a length in mm as it is shown; None where there is none, or it is not finite."""
    return rounded(value, _MM_DIGITS)


def rounded(value: float | None, digits: int) -> float | None:
    """Return the value rounded; None where there is none, or it is not finite. Never minus zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def three_digits(value: float | None) -> float | None:
    """Return the value to three digits; None where there is none, or it is not finite."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.3g}")


def cleaned(value: object) -> Any:  # noqa: ANN401 -- a value of JSON
    """Return a value of a TOML table as one of JSON: dates as text, numbers that are not finite as null."""
    if isinstance(value, Mapping):
        return {str(key): cleaned(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [cleaned(item) for item in value]
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    # Beyond TOML's range; Python may refuse to print it in decimals.
    if isinstance(value, int) and abs(value) >= 1 << 63:
        return hex(value)
    return value

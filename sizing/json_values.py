"""Numbers and tables as JSON holds them: rounded, null where not finite, never minus zero."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import date, datetime, time
from fractions import Fraction
from typing import Any

Document = dict[str, Any]
# Contract: same inputs give the same values to 0.01 mm on any machine; what is beyond is not shown.
_MM_DIGITS = 3


def rounded_mm(value: float | Fraction | None) -> float | None:
    """Return a length in mm as it is shown; None where there is none, or it is not finite."""
    return rounded(value, _MM_DIGITS)


def rounded(value: float | Fraction | None, digits: int) -> float | None:
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


def as_text(document: Mapping[str, Any], *, indent: int | None = None) -> str:
    """Return the document as strict JSON in ASCII; ValueError if a NaN has slipped in."""
    return json.dumps(document, allow_nan=False, indent=indent)

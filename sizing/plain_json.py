"""Any value of a job as one that JSON can hold, alike for alike values: what hashes of inputs are taken of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time

import numpy as np

from sizing.units import Length


def plain_json(value: object) -> object:
    """Return a value as one of JSON; floats that are not finite and dates as text."""
    plain: object
    if value is None or isinstance(value, bool | str):
        plain = value
    elif isinstance(value, int):
        plain = value if abs(value) < 1 << 63 else hex(value)  # beyond TOML's range Python may refuse to print it
    elif isinstance(value, float):
        plain = value if np.isfinite(value) else repr(value)
    elif isinstance(value, Length):
        plain = str(value.exact)
    elif isinstance(value, np.ndarray):
        plain = plain_json(value.tolist())
    elif isinstance(value, datetime | date | time):
        plain = value.isoformat()
    elif isinstance(value, Mapping):
        plain = {str(key): plain_json(item) for key, item in value.items()}
    elif isinstance(value, list | tuple):
        plain = [plain_json(item) for item in value]
    elif is_dataclass(value) and not isinstance(value, type):
        plain = {f.name: plain_json(getattr(value, f.name)) for f in fields(value)}
    else:
        plain = str(value)
    return plain

"""Keys of a cache from requests and other plain values."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np


def value_key(value: Any) -> Hashable:  # noqa: ANN401 -- any value of a request
    """Return a hashable key of a request or value: arrays by their bytes, files by path, time of change and size."""
    key: Hashable = value
    if isinstance(value, np.ndarray):
        key = (value.shape, value.tobytes())
    elif isinstance(value, Path):
        try:
            found = value.stat()
            key = (str(value), found.st_mtime_ns, found.st_size)
        except OSError:
            key = (str(value),)
    elif is_dataclass(value) and not isinstance(value, type):
        key = (type(value).__name__, *(value_key(getattr(value, f.name)) for f in fields(value)))
    elif isinstance(value, tuple | list):
        key = tuple(value_key(v) for v in value)
    elif isinstance(value, Mapping):
        key = tuple((k, value_key(v)) for k, v in value.items())
    return key

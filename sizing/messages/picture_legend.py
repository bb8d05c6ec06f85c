"""Words of the strip below an annotated photo: what each kind of line is."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# By kind of `vision.pictures.looks.LOOKS`, in the order of the strip.
LEGEND: Mapping[str, str] = MappingProxyType(
    {
        "side": "edge of the opening as traced",
        "unseen": "edge where no line is seen",
        "rival": "another line that could be the edge",
        "face": "frame, trim or sill lines",
        "reference": "reference",
        "agrees": "agrees with the tape",
        "differs": "differs",
        "unproven": "cannot tell",
        "none": "not read by tape",
    }
)

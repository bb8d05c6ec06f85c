"""Warnings of a photo with their effect on U95."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.request import PARTS, SIZE_NAMES, Array, Warning_
from vision.solving.solved import CAMERA_PARTS

SHARPNESS_PARTS = ("reference_image", "edge_trace", "camera", "distortion")
EFFECT = {
    "cropped": CAMERA_PARTS,
    "digital-zoom": CAMERA_PARTS,
    "wide-lens": CAMERA_PARTS,
    "not-one-view": CAMERA_PARTS,
    "blurred": SHARPNESS_PARTS,
    "low-light": SHARPNESS_PARTS,
    "too-few-pixels": SHARPNESS_PARTS,
    "print-scale": ("print_scale",),
    "scale-unverified": ("print_scale",),
    "edge-hidden": ("edge_trace", "edge_choice"),
    "edge-ambiguous": ("edge_choice",),
    "edge-depth-assumed": ("edge_depth",),
    "reference-bent": ("flatness",),
    "steep": (*SHARPNESS_PARTS, "wall_plane", "edge_depth"),
}


def with_effects(warnings: Sequence[Warning_], cov_mm2: Array, budget_mm: Array) -> tuple[Warning_, ...]:
    """Return the warnings with their effect on the width or height that they touch most: `budget_mm` (9, parts) mm."""
    told = []
    for w in warnings:
        parts = [PARTS.index(p) for p in EFFECT.get(w.code, ())]
        if parts:
            shares = 2 * np.sqrt((budget_mm[:6, parts] ** 2).sum(axis=1))
            if w.side:  # a jamb makes no height longer, nor head or sill a width
                shares = np.where((np.arange(6) < 3) == (w.side in {"left", "right"}), shares, -1.0)
            most = int(np.argmax(shares))
            U95 = 2 * float(np.sqrt(cov_mm2[most, most]))
            says = f"the {SIZE_NAMES[most]} is known to {U95:.1f} mm, {shares[most]:.1f} mm of it from this"
            told.append(replace(w, message=f"{w.message} ({says})"))
        else:
            told.append(w)
    return tuple(told)

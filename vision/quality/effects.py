"""Warnings of a photo with their effect on U95; sides in doubt gathered where they are many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vision.request import PARTS, SIDE_WORD, SIDES, SIZE_NAMES, Array, Side, Warning_
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
# Of a side: no line shows it, or more than one could be it.
_UNCLEAR = frozenset({"edge-hidden", "edge-ambiguous"})
# So many sides in doubt are told in one sentence (taste).
_MANY_SIDES = 3
_COUNTED = {3: "three sides", 4: "all four sides"}


def with_effects(warnings: Sequence[Warning_], cov_mm2: Array, budget_mm: Array) -> tuple[Warning_, ...]:
    """Return the warnings with their effect on the width or height that they touch most: `budget_mm` (9, parts) mm.

    Three sides in doubt, or all, say the same sentence, of all of them and with one remedy; each keeps its code.
    """
    unclear = [s for s in SIDES if any(w.code in _UNCLEAR and w.side == s for w in warnings)]
    told = []
    for w in warnings:
        code_parts, side = EFFECT.get(w.code, ()), w.side
        if len(unclear) >= _MANY_SIDES and w.code in _UNCLEAR and side:
            effect = _effect(EFFECT["edge-hidden"], "", cov_mm2, budget_mm)
            told.append(replace(w, message=f"{_unclear_says(unclear)} ({effect})"))
        elif code_parts:
            told.append(replace(w, message=f"{w.message} ({_effect(code_parts, side, cov_mm2, budget_mm)})"))
        else:
            told.append(w)
    return tuple(told)


def _effect(code_parts: Sequence[str], side: str, cov_mm2: Array, budget_mm: Array) -> str:
    """Return what parts of the budget do to the size that they touch most: of a `side` those that it can change."""
    parts = [PARTS.index(p) for p in code_parts]
    shares = 2 * np.sqrt((budget_mm[:6, parts] ** 2).sum(axis=1))
    if side:  # a jamb makes no height longer, nor head or sill a width
        shares = np.where((np.arange(6) < 3) == (side in {"left", "right"}), shares, -1.0)
    most = int(np.argmax(shares))
    U95 = 2 * float(np.sqrt(cov_mm2[most, most]))
    shown, share = (np.ceil(10 * mm - 1e-6) / 10 for mm in (U95, shares[most]))  # rounded up, as beside the measure
    return f"the {SIZE_NAMES[most]} is known to {shown:.1f} mm, {share:.1f} mm of it from this"


def _unclear_says(sides: Sequence[Side]) -> str:
    named = [SIDE_WORD[s] for s in sides]
    listed = f"{', '.join(named[:-1])} and {named[-1]}"
    return (
        f"{_COUNTED[len(sides)]} are in doubt ({listed}); no clear line shows them, or more than one could be meant: "
        "see in the picture that the outline lies on this opening, and point exactly at its corners"
    )

"""Warnings about a photo's references and geometry, each with its effect and the remedy."""

from __future__ import annotations

import numpy as np

from vision.request import Array, CheckBar, Reference, Warning_
from vision.solving.solved import Solved

WEAK_MM = 6.35  # the contract's default tolerance


def reference_warnings(reference: Reference, bars: CheckBar, solved: Solved) -> list[Warning_]:
    """Return what the references of a photo leave open: a single one, one letter twice, bars not measured."""
    warned = []
    if len(solved.names) == 1:
        warned.append(
            Warning_(
                "one-reference",
                f"only one {reference.thing} was found and could be read: a second one on the other side of the "
                "opening makes the measure several times better",
            )
        )
    if len(set(solved.names)) < len(solved.names):
        warned.append(
            Warning_("letter-twice", "the same sheet letter is in view twice; both are used, each at its own place")
        )
    if reference.kind == "sheet" and bars == CheckBar() and not solved.scale_seen:
        warned.append(
            Warning_(
                "scale-unverified",
                "the printed bars were not measured and the outline of the paper does not show: the print scale is "
                "assumed within 0.2 %, and a sheet printed at 'fit to page' makes every size wrong by 2 to 8 %; "
                "measure both bars on the sheets and enter them",
            )
        )
    return warned


def geometry_warnings(cov_mm2: Array, references: int, thing: str) -> list[Warning_]:
    """Return `weak-geometry` when a width or height of the nine (9, 9) mm2 is not known to the default tolerance.

    `thing` is what the references are called.
    """
    worst = 2 * float(np.sqrt(np.diag(cov_mm2))[:6].max())
    if worst <= WEAK_MM:
        return []
    remedy = (
        f"put a second {thing} on the other side of the opening"
        if references < 2
        else f"stand squarer to the wall, nearer, and keep all {thing}s in view"
    )
    return [Warning_("weak-geometry", f"sizes are known to {worst:.0f} mm at best from this photo; {remedy}")]

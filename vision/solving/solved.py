"""What solving the references of a photo gives, and the steps that sheets, pages and cards share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment import Adjusted, Block, Descended, descended, finished
from vision.camera import project
from vision.observations import EdgeBlock, PhotoState, PriorBlock, reference_points
from vision.page_sides.traced import TracedQuad
from vision.request import Array, Warning_

STRAINED = 4.0  # standard deviations of what was known before, beyond which references contradict each other
BULGED_MM = 2.0  # a sheet that bulges more is said not to be flat
# Renderings: a corner lifted by 5 to 15 mm loses 9 to 86 % of its printed edges, one that lies flat none.
CORNER_MM, CORNER_EDGES, LEFT_OUT = 55.0, 10, 0.2

SAME_COST, SAME_TURN = 0.1, 0.02  # of sums of squares over their variances; of a rotation's elements
CAMERA_PARTS = ("camera", "distortion")  # budget parts of the priors of the interior


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Camera and references of one photo: adjustment, names and outlines (4, 2) px of the references, warnings.

    `noise_px` is the standard uncertainty of one edge position, of a click where no edge was traced. `blocks` are the
    observations that the adjustment rests on; the joint adjustment of several photos takes them from here. `starts` are
    other states that a single small reference leaves possible: the wall's lines may choose among them. `scale_seen`
    says that the outline of the paper told the print scale. `traced` are the sides of pages and cards (None: as
    clicked). `torn` (U,) leads from the adjusted state to that of the wall's lines, where they contradict a single
    plain reference. `scales` are those of sheets that were not printed alike, against the middle of them.
    """

    adjusted: Adjusted[PhotoState]
    names: tuple[str, ...]
    outlines_px: tuple[Array, ...]
    warnings: tuple[Warning_, ...]
    noise_px: float
    blocks: tuple[Block[PhotoState], ...] = ()
    starts: tuple[PhotoState, ...] = ()
    scale_seen: bool = False
    traced: tuple[TracedQuad | None, ...] = ()
    torn: Array | None = None
    scales: tuple[float, ...] = ()


def but_camera(blocks: Sequence[Block[PhotoState]]) -> list[Block[PhotoState]]:
    """Return the blocks without what was known of the interior of the camera beforehand."""
    return [b for b in blocks if not (isinstance(b, PriorBlock) and b.part in CAMERA_PARTS)]


def best_of(blocks: Sequence[Block[PhotoState]], starts: Sequence[PhotoState]) -> Adjusted[PhotoState]:
    """Return the adjustment of least cost among the starts."""
    rough = sorted((descended(blocks, s, iterations=8) for s in starts), key=lambda a: a.cost)
    near = [a for a in rough if a.cost < 10 * rough[0].cost + 100]  # the other pose of a weak view stays in
    ways: list[Descended[PhotoState]] = []
    for a in near or rough[:1]:
        if not any(_alike(a, b) for b in ways):
            ways.append(a)
    ends = (a if a.converged else descended(blocks, a.state, iterations=60) for a in ways)
    return finished(blocks, min(ends, key=lambda a: a.cost))


def _alike(a: Descended[PhotoState], b: Descended[PhotoState]) -> bool:
    """Return whether two adjustments are on their way to the same end."""
    turned = np.abs(a.state.camera.rotation - b.state.camera.rotation).max()
    return abs(a.cost - b.cost) < SAME_COST and bool(turned < SAME_TURN)


def outline_px(state: PhotoState, i: int, plane: Array, half: Array) -> Array:
    """Return the corners (N, 2) of reference `i`, given (N, 2) mm from its middle, in px."""
    return project(state.camera, reference_points(state, i, plane, half)[0])


def strain(blocks: Sequence[Block[PhotoState]], state: PhotoState) -> float:
    """Return the largest residual, in standard deviations, of what was known before: camera, wall, print, not bends."""
    return max(
        (
            float(np.abs(b.linearised(state)[0]).max())
            for b in blocks
            if isinstance(b, PriorBlock) and b.part != "flatness"  # bent paper is said by itself: the bend is measured
        ),
        default=0.0,
    )


def misfit_warnings(
    final: Adjusted[PhotoState],
    known: Sequence[Block[PhotoState]],
    seen: Sequence[Block[PhotoState]],
    names: Sequence[str],
) -> list[Warning_]:
    """Return warnings where references contradict each other or their paper is bent."""
    warned = []
    if strain(known, final.state) > STRAINED:
        warned.append(
            Warning_(
                "references-disagree",
                "the references do not fit one flat wall and one camera; the measure may be wrong by more than stated: "
                "check that all lie flat on one surface and that none was moved or is of another size (a sheet printed "
                "at another scale)",
            )
        )
    for block in seen:
        if isinstance(block, EdgeBlock) and len(block.u_px) >= 40:
            w, _ = block.linearised(final.state)
            rms_px = float(np.sqrt(np.median((w * block.u_px) ** 2)) * 1.4826)
            bulge = np.abs(final.state.references[block.reference, 6:8]).max()
            if rms_px > 0.35 or bulge > BULGED_MM:
                warned.append(
                    Warning_(
                        "reference-bent",
                        f"{names[block.reference]} is not flat; tape it down and take the photo again",
                    )
                )
    return warned


def not_bent_by_blur(solved: Solved) -> Solved:
    """Return a blurred photo without the word that its sheets are not flat, but where their bulge is seen."""
    bulge = float(np.abs(solved.adjusted.state.references[:, 6:8]).max())
    if not any("sheet" in name for name in solved.names) or bulge > BULGED_MM:
        return solved
    return replace(solved, warnings=tuple(w for w in solved.warnings if w.code != "reference-bent"))


def lifted_warnings(
    seen: Sequence[Block[PhotoState]], used: Sequence[Block[PhotoState]], names: Sequence[str]
) -> list[Warning_]:
    """Return a warning for each sheet of which a corner does not lie where the rest of it says.

    `seen` are all its printed edges, `used` in the same order those that were not left out as gross errors.
    """
    warned = []
    for all_, kept in zip(seen, used, strict=True):
        if not (isinstance(all_, EdgeBlock) and isinstance(kept, EdgeBlock)) or len(all_.u_px) < 40:
            continue
        far = np.abs(all_.plane_mm).max(0)
        for corner in far * [[-1, -1], [1, -1], [1, 1], [-1, 1]]:
            before, after = (int((np.hypot(*(b.plane_mm - corner).T) < CORNER_MM).sum()) for b in (all_, kept))
            if before >= CORNER_EDGES and after < (1 - LEFT_OUT) * before:
                says = (
                    f"a corner of {names[all_.reference]} does not lie where the rest of the sheet says, and was left "
                    "out: lifted, or something hides it; tape it down and take the photo again"
                )
                warned.append(Warning_("reference-bent", says))
                break
    return warned

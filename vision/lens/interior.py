"""A camera profile from photos of sheets: one joint adjustment of all photos with one shared interior.

Each photo keeps its pose, its wall and its references; focal length, principal point, k1 and k2 are common, and so is
the print scale of the sheets. A sheet's bulge may differ a little between photos about a common one.

References: Zhang (2000), A flexible new technique for camera calibration, IEEE TPAMI 22 (several views of planes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import UNKNOWNS
from vision.in_photo import InPhoto
from vision.lens.shared_unknowns import SHARED, Condensed, Known, LensState, LikeCommon
from vision.observations import (
    BULGE_X,
    BULGE_Y,
    FIRST_REFERENCE,
    PER_REFERENCE,
    SIZE,
    WALL,
    EdgeBlock,
    PhotoState,
    PriorBlock,
    reference_slice,
)
from vision.printed_scale import U_PRINT_SCALE
from vision.priors import U_BULGE_MM
from vision.request import Array

INTERIOR = slice(6, UNKNOWNS)
LEAST_VIEWS = 3  # Zhang 2000, section 3.1: three planes fix an interior
# Guesses: what the interior may be before any photo is seen. Loose, so that a profile rests on its photos alone.
U_LOG_FOCAL, U_CENTRE, U_K1, U_K2 = 0.7, 0.05, 0.5, 0.5
GROWN, LEAST_RMS_PX = 1.3, 0.02  # of the mean square; photos of one camera stay at 1 (guesses)
MISFIT_TIMES, MISFIT_PX = 2.5, 0.25  # a photo is left out when its residuals are both


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One photo for a profile: its name, solved state and observations, and what each reference is called.

    References of one name (a sheet's letter) are one sheet, whose bulge is nearly common to all photos.
    """

    name: str
    state: PhotoState
    blocks: tuple[Block[PhotoState], ...]
    references: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class LensFit:
    """The shared interior: focal px, principal point px, k1, k2 and covariance (5, 5) of (log focal, cx, cy, k1, k2).

    `rms_px` are the residuals of the photos that were used, in the order of `used`; `left_out` names the others with
    the reason.
    """

    focal_px: float
    cx: float
    cy: float
    k1: float
    k2: float
    covariance: Array
    used: tuple[str, ...]
    rms_px: Array
    left_out: tuple[tuple[str, str], ...]


def calibrate(views: Sequence[View], size_px: tuple[int, int]) -> LensFit | str:
    """Return the interior that all photos of planes share, or what stands in the way.

    Parameters
    ----------
    views : photos of one camera at one focal length, each with a first state; at least three.
    size_px : width and height of the pictures.

    Notes
    -----
    Photos that do not fit the others are left out one by one, worst first; so is one without which the others' growth
    is halved: a zoomed or cut one pulls all residuals up and none far. The covariance grows by the square of what
    residuals grow when photos share the interior: what the camera's model leaves unsaid is then in it.
    It cannot tell two equal poses from one: few or similar views show as a large covariance, not as an error.
    """
    chosen = list(views)
    left_out: list[tuple[str, str]] = []
    alone = {v.name: _rms_px(v.blocks, v.state) for v in views}
    while len(chosen) >= LEAST_VIEWS:
        fit = _adjusted(chosen, size_px)
        rms = np.array([_rms_px(v.blocks, s) for v, s in zip(chosen, fit.state.views, strict=True)])
        worst = int(np.argmax(rms))
        if rms[worst] <= max(MISFIT_TIMES * float(np.median(rms)), MISFIT_PX):
            if not fit.converged:
                return (
                    "the photos do not fix one camera, most likely because all were taken alike; take some with the "
                    "sheets tilted by 30 to 45 degrees to each side, up and down, and some with the camera turned"
                )
            own = np.array([alone[v.name] for v in chosen])
            odd = _odd(chosen, own, rms, size_px)
            if odd is None:
                return _fit_of(fit, chosen, rms, own, left_out)
            own_px = chosen[odd].state.camera.focal_px
            says = f"by itself it has a focal length of {own_px:.0f} px, unlike the others: was it zoomed or cut?"
            left_out.append((chosen.pop(odd).name, says))
            continue
        says = f"does not fit the others ({rms[worst]:.2f} px against {np.median(rms):.2f} px)"
        left_out.append((chosen.pop(worst).name, says))
    usable = "1 usable photo is" if len(chosen) == 1 else f"{len(chosen)} usable photos are"
    return f"{usable} too few; take at least {LEAST_VIEWS}, better 8, from different sides"


def _odd(views: Sequence[View], alone: Array, rms: Array, size_px: tuple[int, int]) -> int | None:
    """Return which photo strains the interior that the others share; None where there is none, or too few are left."""
    growth = _growth(rms, alone)
    if growth < GROWN or len(views) <= LEAST_VIEWS:
        return None
    k = int(np.argmax(rms / np.maximum(alone, LEAST_RMS_PX)))
    others = [v for i, v in enumerate(views) if i != k]
    fit = _adjusted(others, size_px)
    again = np.array([_rms_px(v.blocks, s) for v, s in zip(others, fit.state.views, strict=True)])
    left = _growth(again, np.delete(alone, k))
    return k if left - 1 < (growth - 1) / 2 else None


def _growth(rms: Array, alone: Array) -> float:
    """Return the mean square by which residuals grow where photos share one interior."""
    return float(np.mean((rms / np.maximum(alone, LEAST_RMS_PX)) ** 2))


def _adjusted(views: Sequence[View], size_px: tuple[int, int]) -> Adjusted[LensState]:
    """Return the joint adjustment of the views."""
    names = sorted({r for v in views for r in v.references})
    first = SHARED + 2 * len(names)
    start = _start(views, names)
    shared = np.arange(5)
    mid = [(size_px[0] - 1) / 2, (size_px[1] - 1) / 2]
    u_mid = U_CENTRE * max(size_px)
    value = np.array([np.median([np.log(v.state.camera.focal_px) for v in views]), *mid, 0, 0])
    blocks: list[Block[LensState]] = [
        Known(shared, value, np.array([U_LOG_FOCAL, u_mid, u_mid, U_K1, U_K2]), "camera"),
        Known(np.arange(5, 7), np.zeros(2), np.full(2, U_PRINT_SCALE), "print_scale"),
        Known(np.arange(SHARED, first), np.zeros(first - SHARED), np.full(first - SHARED, U_BULGE_MM), "flatness"),
    ]
    for i, view in enumerate(views):
        seen = tuple(b for b in view.blocks if isinstance(b, EdgeBlock))
        blocks.append(Condensed(i, seen))
        blocks += [InPhoto(i, b) for b in view.blocks if _own_prior(b)]
        for k, name in enumerate(view.references):
            at = reference_slice(k).start
            common = SHARED + 2 * names.index(name)
            blocks.append(LikeCommon(start.index[i][[at + BULGE_X, at + BULGE_Y]], np.array([common, common + 1])))
    return adjust(blocks, start, iterations=40)


def _own_prior(block: Block[PhotoState]) -> bool:
    """Return whether a prior is of one photo alone: interior, size and bulge are common and come once."""
    return isinstance(block, PriorBlock) and int(block.index.min()) >= WALL.start and block.part != "flatness"


def _start(views: Sequence[View], names: Sequence[str]) -> LensState:
    """Return the views with one interior, the median of what each found by itself."""
    found = np.array([[np.log(c.focal_px), c.cx, c.cy, c.k1, c.k2] for c in (v.state.camera for v in views)])
    log_f, cx, cy, k1, k2 = np.median(found, axis=0)
    states, index = [], []
    at = SHARED + 2 * len(names)
    for view in views:
        camera = view.state.camera
        scale = float(np.exp(log_f)) / camera.focal_px  # another focal length at the same size in the picture
        shift = camera.translation_mm * np.array([1, 1, scale])
        moved = replace(
            camera,
            translation_mm=shift,
            focal_px=float(np.exp(log_f)),
            cx=float(cx),
            cy=float(cy),
            k1=float(k1),
            k2=float(k2),
        )
        states.append(PhotoState(moved, np.zeros(2), view.state.references.copy(), view.state.wall))
        n = PER_REFERENCE * len(view.references)
        local = np.empty(FIRST_REFERENCE + n, np.intp)
        local[INTERIOR], local[SIZE] = np.arange(5), np.arange(5, SHARED)
        own = np.concatenate([np.arange(6), np.arange(WALL.start, FIRST_REFERENCE + n)])
        local[own] = at + np.arange(len(own))
        at += len(own)
        index.append(local)
    return LensState(tuple(states), np.zeros((len(names), 2)), tuple(index))


def _rms_px(blocks: Sequence[Block[PhotoState]], state: PhotoState) -> float:
    """Return the robust spread of all edges' residuals in px: 1.4826 times the median size."""
    found = [np.abs(b.linearised(state)[0]) * b.u_px for b in blocks if isinstance(b, EdgeBlock)]
    # the standard deviations hold the correlation of neighbours, the residuals in px do not
    return float(1.4826 * np.median(np.concatenate(found)))


def _fit_of(
    fit: Adjusted[LensState],
    views: Sequence[View],
    rms: Array,
    alone: Array,
    left_out: Sequence[tuple[str, str]],
) -> LensFit:
    camera = fit.state.views[0].camera
    grown = max(1.0, _growth(rms, alone))
    covariance = np.asarray(fit.covariance[:5, :5] * grown)
    return LensFit(
        camera.focal_px,
        camera.cx,
        camera.cy,
        camera.k1,
        camera.k2,
        covariance,
        tuple(v.name for v in views),
        rms,
        tuple(left_out),
    )

"""A camera profile from photos of sheets: one joint adjustment of all photos with one interior that they vary about.

Each photo keeps its pose, its wall and its references; k1 and k2 are common, and so is the print scale of the sheets.
Focal length and principal point of each photo vary a little about common ones (the lens focuses, its stabiliser
moves), and so does a sheet's bulge.

References: Zhang (2000), A flexible new technique for camera calibration, IEEE TPAMI 22 (several views of planes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment import Adjusted, Block, adjust
from vision.camera import UNKNOWNS
from vision.in_photo import InPhoto
from vision.lens.profile import U_CENTRE_MOVES, U_LOG_FOCUS
from vision.lens.shared_unknowns import OWN, SHARED, Condensed, Known, LensState, LikeCommon
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
U_BULGE_BETWEEN_MM = 0.15  # guess: how far a taped sheet moves between photos
LEAST_VIEWS = 3  # Zhang 2000, section 3.1: three planes fix an interior
# Guesses: what the interior may be before any photo is seen. Loose, so that a profile rests on its photos alone.
U_LOG_FOCAL, U_CENTRE, U_K1, U_K2 = 0.7, 0.05, 0.5, 0.5
LEAST_RMS_PX = 0.02  # of a photo's residuals, so that a perfect one does not count for all (guess)
MISFIT_TIMES, MISFIT_PX = 2.5, 0.25  # a photo is left out when its residuals are both
# So many times what chance does, a photo's own interior is no variation of the others': of 8 photos, three values each,
# one in 600 sets loses a sound one.
APART = 4.0
LEAST_TOLD = 0.01  # of the variance of an interior value, by the photo itself, before the photo can contradict (guess)


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
    """What the photos vary about: focal px, principal point px, k1, k2.

    `covariance` (5, 5) is of (log focal, cx, cy, k1, k2). `rms_px` are the residuals of the photos that were used, in
    the order of `used`; `left_out` names the others with the reason.
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
    """Return the interior that all photos of planes vary about, or what stands in the way.

    Parameters
    ----------
    views : photos of one camera at one focal length, each with a first state; at least three.
    size_px : width and height of the pictures.

    Notes
    -----
    Photos that do not fit the others are left out one by one, worst first; so is one whose own focal length or
    principal point no lens at one zoom comes to. The covariance grows by the square of what residuals grow when photos
    share the distortion, or of how far apart the photos' interiors are against what is allowed for: what the camera's
    model leaves unsaid is then in it.
    It cannot tell two equal poses from one: few or similar views show as a large covariance, not as an error.
    """
    chosen = list(views)
    left_out: list[tuple[str, str]] = []
    alone = {v.name: _rms_px(v.blocks, v.state) for v in views}
    while len(chosen) >= LEAST_VIEWS:
        fit = _adjusted(chosen, size_px)
        rms = np.array([_rms_px(v.blocks, s) for v, s in zip(chosen, fit.state.views, strict=True)])
        odd = _misfit(rms)
        if odd is None and not fit.converged:
            return (
                "the photos do not fix one camera, most likely because all were taken alike; take some with the "
                "sheets tilted by 30 to 45 degrees to each side, up and down, and some with the camera turned"
            )
        odd = odd or _apart(chosen, fit, size_px)
        if odd is None:
            growth = _growth(rms, np.array([alone[v.name] for v in chosen]))
            grown = max(1.0, growth, float((_aside(fit.state, size_px) ** 2).mean(0).max()))
            return _fit_of(fit, chosen, rms, grown, left_out)
        left_out.append((chosen.pop(odd[0]).name, odd[1]))
    usable = "1 usable photo is" if len(chosen) == 1 else f"{len(chosen)} usable photos are"
    return f"{usable} too few; take at least {LEAST_VIEWS}, better 8, from different sides"


def _misfit(rms: Array) -> tuple[int, str] | None:
    """Return which photo's residuals (V,) px stand out from the others', and what to say of it."""
    worst, usual = int(np.argmax(rms)), float(np.median(rms))
    if rms[worst] <= max(MISFIT_TIMES * usual, MISFIT_PX):
        return None
    return worst, f"does not fit the others ({rms[worst]:.2f} px against {usual:.2f} px)"


def _aside(state: LensState, size_px: tuple[int, int]) -> Array:
    """Return how far each photo's log focal length and principal point are from the common ones, in u: (V, 3)."""
    cameras = [v.camera for v in state.views]
    own = np.array([[np.log(c.focal_px), c.cx, c.cy] for c in cameras])
    return np.asarray((own - state.usual) / _u_own(size_px))


def _u_own(size_px: tuple[int, int]) -> Array:
    """Return how far one lens's log focal length and principal point px (3,) vary from photo to photo."""
    return np.array([U_LOG_FOCUS, *(U_CENTRE_MOVES * max(size_px),) * 2])


def _apart(views: Sequence[View], fit: Adjusted[LensState], size_px: tuple[int, int]) -> tuple[int, str] | None:
    """Return which photo's own interior is no variation of the others', and what to say of it.

    Notes
    -----
    Each difference is divided by the standard deviation that chance gives it (Baarda's w-test). Of as few photos as are
    needed none is left out.
    """
    aside, u = _aside(fit.state, size_px), _u_own(size_px)
    if len(aside) <= LEAST_VIEWS:
        return None
    w = np.zeros_like(aside)
    for i, index in enumerate(fit.state.index):
        d = np.zeros((OWN, fit.state.unknowns))
        d[np.arange(OWN), index[INTERIOR][:OWN]], d[np.arange(OWN), np.arange(OWN)] = 1 / u, -1 / u
        told = 1 - np.diag(d @ fit.covariance @ d.T)  # by the photo itself: where it says nothing, it cannot differ
        w[i] = np.where(told > LEAST_TOLD, np.abs(aside[i]) / np.sqrt(np.maximum(told, LEAST_TOLD)), 0)
    worst, value = divmod(int(np.argmax(w)), OWN)
    if w[worst, value] <= APART:
        return None
    own = views[worst].state.camera
    if value == 0:
        return worst, f"by itself it has a focal length of {own.focal_px:.0f} px, unlike the others: was it zoomed?"
    off = float(np.hypot(*(aside[worst, 1:] * u[1:])))
    return worst, f"its optical centre is {off:.0f} px or more from that of the others: was it cut or straightened?"


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
        blocks.append(LikeCommon(start.index[i][INTERIOR][:OWN], np.arange(OWN), _u_own(size_px), "camera"))
        for k, name in enumerate(view.references):
            at = reference_slice(k).start
            common = SHARED + 2 * names.index(name)
            bulges = start.index[i][[at + BULGE_X, at + BULGE_Y]]
            u_bulge = np.full(2, U_BULGE_BETWEEN_MM)
            blocks.append(LikeCommon(bulges, np.array([common, common + 1]), u_bulge, "flatness"))
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
        own = np.concatenate([np.arange(6 + OWN), np.arange(WALL.start, FIRST_REFERENCE + n)])
        local[own] = at + np.arange(len(own))
        at += len(own)
        index.append(local)
    return LensState(tuple(states), np.array([log_f, cx, cy]), np.zeros((len(names), 2)), tuple(index))


def _rms_px(blocks: Sequence[Block[PhotoState]], state: PhotoState) -> float:
    """Return the robust spread of all edges' residuals in px: 1.4826 times the median size."""
    found = [np.abs(b.linearised(state)[0]) * b.u_px for b in blocks if isinstance(b, EdgeBlock)]
    # the standard deviations hold the correlation of neighbours, the residuals in px do not
    return float(1.4826 * np.median(np.concatenate(found)))


def _fit_of(
    fit: Adjusted[LensState],
    views: Sequence[View],
    rms: Array,
    grown: float,
    left_out: Sequence[tuple[str, str]],
) -> LensFit:
    camera = fit.state.views[0].camera
    covariance = np.asarray(fit.covariance[:5, :5] * grown)
    log_focal, cx, cy = fit.state.usual
    return LensFit(
        float(np.exp(log_focal)),
        float(cx),
        float(cy),
        camera.k1,
        camera.k2,
        covariance,
        tuple(v.name for v in views),
        rms,
        tuple(left_out),
    )

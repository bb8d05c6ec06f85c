"""How well the wall's own lines are known: the noise of their points, the error of their slopes, and which are none."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.request import Array
from vision.wall.courses import two_apart

GATE = 3.5  # standard deviations off its line, beyond which a point is left out
CONTRARY = 2.0  # standard deviations of a slope from where the others run, beyond which it counts less
PRIOR_DOF = 20.0  # guess: so many places' worth is what is known of head joints beforehand
# The slopes of a wall's lines scatter more or less from wall to wall, by a factor of two (sd of the logarithm, a
# guess; seen in 36 photos: 0.05 to 0.5 mrad); the part of lines that are something else, how much further off they lie.
SPREAD_OF_WALLS, STRAY, STRAY_FAR = 0.7, 0.1, 5.0
GRID = np.linspace(-3.5, 3.5, 57)  # standard deviations of that logarithm
LEAST_FAN = 6  # lines of a direction that show where they run: two numbers are fitted to their slopes


def line_noise(
    across: Array,
    along: Array,
    u: Array,
    label: NDArray[np.intp],
    upright: NDArray[np.bool_],
    u_slope_rad: float,
    alike_mm: float,
    u_upright_mm: float = 0.0,
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return u of the points (N,), u of the slopes by course (C,), and which points stay (N,).

    A line is fitted to each course; what the points scatter about it is their noise, and what the slopes scatter
    beyond it tells how truly the wall is laid (`usual_slope`, of root mean square `u_slope_rad` over walls). Lines
    nearer to each other than `alike_mm` run alike.

    `u_upright_mm`: how far (sd) one piece of an upright line usually lies off it, 0: not known. Where few are seen
    their scatter says little, and chance has it small: both are pooled (Gelman et al., section 2.6; from memory).
    """
    courses = int(label.max()) + 1
    good = np.isfinite(across)
    residual = np.zeros(len(across))
    slope, u_fit = np.zeros(courses), np.full(courses, np.inf)
    for _ in range(3):
        few = np.bincount(label[good], minlength=courses) < 3
        few[few] = [not two_apart(along[(label == c) & good]) for c in np.flatnonzero(few)]
        good &= ~few[label]
        fits = _lines_through(across[good], along[good], u[good] ** -2, label[good], courses)
        off, slope, u_fit = fits[0], np.where(few, slope, fits[1]), np.where(few, np.inf, fits[2])
        residual = np.where(few[label], residual, across - off[label] - slope[label] * along)
        for kind in (False, True):
            of = good & (upright == kind) & (np.bincount(label[good], minlength=courses)[label] > 2)
            usual = u_upright_mm if kind else 0.0
            if of.sum() > 20 or (usual and of.any()):
                spread = 1.4826 * float(np.median(np.abs(residual[of] / u[of])))
                dof = of.sum() - 2 * len(np.unique(label[of]))  # each line's place and slope were fitted
                spread *= np.sqrt(of.sum() / max(dof, 0.2 * of.sum()))
                if usual:
                    here = usual / float(np.median(u[of]))
                    spread = np.sqrt((PRIOR_DOF * here**2 + max(dof, 0) * spread**2) / (PRIOR_DOF + max(dof, 0)))
                u[upright == kind] *= np.clip(spread, 0.2, 3.0)
        good &= np.abs(residual) < GATE * u
    number, place, direction = _places(across, label, upright, good)
    alike = _together(number, place, direction, alike_mm)
    u_slope = u_slope_rad * np.sqrt(alike)
    # a line that runs otherwise by far is something else
    stray = np.isfinite(u_fit) & (np.abs(slope) > 4 * np.hypot(u_fit, 2 * u_slope_rad) + 0.002)
    good &= ~stray[label]
    u_fit = np.where(stray, np.inf, u_fit)
    for way in (False, True):
        of = np.flatnonzero((direction == way) & (number > 0) & np.isfinite(u_fit))
        if len(of) >= LEAST_FAN:
            off = _from_fan(slope[of], np.hypot(u_fit[of], u_slope[of]), place[of])
            u_slope[of] *= usual_slope(off, u_fit[of], 1 / alike[of], u_slope_rad) / u_slope_rad
        u_slope[of] *= contrary(slope[of], np.hypot(u_fit[of], u_slope[of]), place[of])
    return u, u_slope, good


def _lines_through(
    across: Array, along: Array, weight: Array, label: NDArray[np.intp], courses: int
) -> tuple[Array, Array, Array]:
    """Return offset, slope and its u (C,) of the line of least squares through each course's points (N,)."""

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(label, values, courses))

    whole = np.maximum(total(weight), 1e-300)
    middle = total(weight * along) / whole
    from_middle = along - middle[label]
    moment = np.maximum(total(weight * from_middle**2), 1e-12)
    slope = total(weight * from_middle * across) / moment
    return total(weight * across) / whole - slope * middle, slope, 1 / np.sqrt(moment)


def contrary(slope: Array, u: Array, place_mm: Array) -> Array:
    """Return factors (C,), at least 1, for the errors of slopes that run otherwise than the rest.

    Parameters
    ----------
    slope, u : (C,) of lines of one direction, rad.
    place_mm : (C,) across.

    Notes
    -----
    Seen by a camera not yet well known, slopes are a + b place, to first order. Those far off are the foot of a sill,
    a shadow, bricks on end: their error grows with the square of their distance, as in Cauchy's weights of the robust
    fit (Huber 1981, 7.8), so that none pulls with more than its share.
    """
    if len(slope) < LEAST_FAN:
        return np.ones(len(slope))
    z = _from_fan(slope, u, place_mm) / u
    return np.asarray(np.maximum(1.0, np.abs(z) / CONTRARY) ** 2)


def _from_fan(slope: Array, u: Array, place_mm: Array) -> Array:
    """Return by how much slopes (N,) of uncertainty u, at places (N,) mm across, leave the a + b place of most."""
    scale = max(float(np.ptp(place_mm)), 1.0)
    design = np.column_stack([np.ones(len(slope)), (place_mm - place_mm.mean()) / scale])
    fan = np.array([float(np.median(slope)), 0.0])
    by = design / u[:, None]
    for _ in range(21):
        off = slope - design @ fan
        p = 1 / (1 + (off / u / CONTRARY) ** 2)
        fan = np.linalg.solve(by.T @ (p[:, None] * by) + 1e-9 * np.eye(2), by.T @ (p * slope / u))
    return np.asarray(slope - design @ fan)


def usual_slope(off: Array, u_fit: Array, weight: Array, u_slope_rad: float) -> float:
    """Return the standard deviation with which the slopes of one wall's lines scatter, rad.

    Parameters
    ----------
    off : (N,) slopes from where the lines run, rad.
    u_fit : (N,) what points leave of them.
    weight : (N,) of lines that run alike, so that together they count once.
    u_slope_rad : root mean square over walls.

    Notes
    -----
    Walls are laid more and less truly: the deviation is log-normal over them, and its mean square is taken over what
    that and the slopes seen leave (empirical Bayes: Gelman et al., 5.4; from memory). One line in ten is something
    else, five times as far off (contaminated normal: Box and Tiao 1968; from memory).
    """
    tau = u_slope_rad * np.exp(-(SPREAD_OF_WALLS**2) + SPREAD_OF_WALLS * GRID)
    fitted = max(float(weight.sum()), 3.0)
    variance = u_fit**2 + tau[:, None] ** 2
    r2 = off**2 * fitted / (fitted - 2)  # two numbers were fitted
    likely = sum(
        p / np.sqrt(k * variance) * np.exp(-r2 / (2 * k * variance))
        for p, k in ((1 - STRAY, 1.0), (STRAY, STRAY_FAR**2))
    )
    total = (weight * np.log(np.maximum(likely, 1e-300) * u_slope_rad)).sum(1) - GRID**2 / 2
    p = np.exp(total - total.max())
    return float(np.sqrt(p @ tau**2 / p.sum()))


def _places(
    across: Array, label: NDArray[np.intp], upright: NDArray[np.bool_], good: NDArray[np.bool_]
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return number of points, place across and direction (C,) of each course."""
    courses = int(label.max()) + 1
    number = np.bincount(label[good], minlength=courses).astype(float)
    place = np.bincount(label[good], across[good], courses) / np.maximum(number, 1)
    return number, place, np.asarray(np.bincount(label[good], upright[good], courses) > 0)


def _together(number: Array, place: Array, kind: NDArray[np.bool_], alike_mm: float) -> Array:
    """Return with how many lines, itself among them, each course (C,) shares its slope: both edges of one joint."""
    near = (np.abs(place[:, None] - place) < alike_mm) & (kind[:, None] == kind) & (number > 0)
    return np.asarray(np.maximum(near.sum(1), 1), float)

"""The nine and further measures of an opening from the joint adjustment of its photos."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.depths import EdgeDepths
from vision.joint.common import side_errors, torn_apart, with_one_wall
from vision.joint.solve import Joint
from vision.measures import Measured, assembled, effects_on
from vision.one_photo import PhotoTraced
from vision.request import PARTS, SIDES, Array, Candidate, Side, Warning_
from vision.stations import Line, local_edges, nine_of, shifted
from vision.uncertainty import carried, jacobian

SIDE_STEPS = [1e-2, 1e-6] * 4
DEPTH_CONTRADICTED = "edge-depth-contradicted"
CONTRADICTED = 3.3  # of a standard normal: 0.001 on both sides
DOUBTED = 2.0  # where all four together are known to lie elsewhere: 0.05 each
NO_GAIN = 0.98  # of the declared variance: nearer, the photos say nothing of the depth


def measured_lines(joint: Joint) -> dict[Side, Line]:
    """Return the sides as adjusted, in the first photo's wall frame."""
    found = joint.adjusted.state.sides
    return {s: shifted(joint.lines[s], found[i, 0], found[i, 1]) for i, s in enumerate(SIDES)}


def measure_joint(joint: Joint, photos: Sequence[PhotoTraced], apart_mm: Sequence[Array] = ()) -> Measured:
    """Return the measures that all photos give together.

    `apart_mm` are the distances (9,) to other answers that may as well be right: standard deviations of the choice.

    Notes
    -----
    The sides are unknowns of the adjustment, so the covariance is J Q J' over their eight (JCGM 100, 5.2), by the
    origin of the observations. What all photos see wrong alike (`vision.joint.common`) is added once a side.
    """
    state = joint.adjusted.state
    lines = measured_lines(joint)
    sides = {s: replace(joint.sides[s], depth_mm=float(state.sides[i, 2])) for i, s in enumerate(SIDES)}
    local, u_station = local_edges(lines, sides)

    def nine(x: Array) -> Array:
        moved = x.reshape(4, 2)
        return nine_of({s: shifted(lines[s], *moved[i]) for i, s in enumerate(SIDES)}, local)

    by_side = jacobian(nine, np.zeros(8), SIDE_STEPS)
    at = state.layout.sides[:, :2].ravel()
    whole = with_one_wall(joint, photos)
    parts = {part: carried(by_side, q[np.ix_(at, at)]) for part, q in whole.items() if part in PARTS}
    torn = carried(by_side, torn_apart(joint, photos)[np.ix_(at, at)])
    parts["reference_size"] = parts.get("reference_size", np.zeros((9, 9))) + torn
    parts["edge_choice"] = np.zeros((9, 9))
    for i, (cov, u_choice) in enumerate(side_errors(joint, photos).values()):
        parts["edge_trace"] = parts["edge_trace"] + carried(by_side[:, 2 * i : 2 * i + 2], cov)
        parts["edge_choice"] += carried(by_side[:, [2 * i]], [[u_choice**2]])
    for distance in apart_mm:
        parts["edge_choice"] += np.outer(distance, distance)
    parts["station"] = np.diag(u_station**2)
    camera = state.photos[0].camera
    return assembled(camera, lines, sides, local, nine(np.zeros(8)), parts, u_station)


def joint_candidates(
    joint: Joint, measured: Measured, listed: Mapping[Side, tuple[tuple[float, float, str], ...]]
) -> tuple[Candidate, ...]:
    """Return candidates (weight, shift outward mm, name) by side with their effect on the joint measures."""
    lines = measured_lines(joint)
    local, _ = local_edges(lines, joint.sides)
    return effects_on(lines, local, listed)


def seen_depths(joint: Joint) -> dict[Side, tuple[float, float]]:
    """Return the depth z (mm, into the wall) of each side as the photos alone see it, and its standard uncertainty.

    Sides of whose depth they say next to nothing are absent.

    Notes
    -----
    From estimate z, variance q and the prior z0, p the photos alone give variance 1 / (1/q - 1/p) and the value
    weighted accordingly.
    """
    state = joint.adjusted.state
    found: dict[Side, tuple[float, float]] = {}
    for i, side in enumerate(SIDES):
        q = float(joint.adjusted.covariance[state.layout.sides[i, 2], state.layout.sides[i, 2]])
        p = float(joint.depths.cov_mm2[i, i])
        if q < NO_GAIN * p:
            alone = 1 / (1 / q - 1 / p)
            z = alone * (state.sides[i, 2] / q - joint.depths.z_mm[side] / p)
            found[side] = float(z), float(np.sqrt(alone))
    return found


def depth_warnings(
    joint: Joint, declared: EdgeDepths, words: Mapping[Side, str], level: float = CONTRADICTED
) -> list[Warning_]:
    """Return `edge-depth-contradicted` for sides whose depth the photos see elsewhere than declared or assumed.

    One for each side, which it names. `level` is how many standard deviations off. What the photos alone see is
    independent of what was declared: their difference has the sum of their variances.
    """
    warned: list[Warning_] = []
    for side, (seen, u) in seen_depths(joint).items():
        off = seen - declared.z_mm[side]
        u_declared = declared.cov_mm2[SIDES.index(side), SIDES.index(side)] ** 0.5
        if abs(off) > level * np.hypot(u, u_declared):
            given = side not in declared.assumed
            says = (
                f"seen from several places the {words[side]} {_stands(seen, u)}, not {round(-declared.z_mm[side])} mm "
                f"as {'declared' if given else 'assumed, since none was given'}; the photos' value is used: "
                f"measure how far it stands out and {'correct the' if given else 'enter it as'} edge offset"
            )
            warned.append(Warning_(DEPTH_CONTRADICTED, says, side))
    return warned


def _stands(z_mm: float, u_mm: float) -> str:
    """Return where an edge lies that is seen at depth `z_mm` into the wall."""
    where = "in front of" if z_mm <= 0 else "behind"
    return f"stands {round(abs(z_mm))} mm +- {np.ceil(2 * u_mm - 1e-6):.0f} mm {where} the wall's face"

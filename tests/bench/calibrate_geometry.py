"""Is the budget honest? Observations drawn from its own priors, without pictures, through adjustment and measures.

Usage: python tests/bench/calibrate_geometry.py [--count 200] [--sheets 1 2 4] [--seed 1]

Every case draws camera, print scale, paper, wall, edge depths and trace noise from the standard deviations that the
budget states, projects all printed edges of the sheets with pixel noise, adjusts from the starts that a photo would
give, and holds the nine measures against the truth: rms error/u must be 1, U95 must cover 95 % (JCGM 101 as the judge
of JCGM 100).
"""

from __future__ import annotations

import argparse

import numpy as np

from vision.adjustment import adjust
from vision.camera import Camera, project
from vision.measures import measure
from vision.observations import PER_REFERENCE, EdgeBlock, PhotoState, point_block, reference_points
from vision.printed_scale import OTHER, P_OTHER, U_PRINT_SCALE
from vision.priors import (
    STANDOFF_MM,
    U_BULGE_MM,
    U_DEPTH_MM,
    U_STANDOFF_MM,
    U_TILT_RAD,
    camera_blocks,
    camera_prior,
    reference_blocks,
    size_block,
)
from vision.request import NINE, PARTS, SIDES, CheckBar, Quantity, Reference
from vision.sheets import printed_edges, sheet
from vision.solving.solve import SHEET_HALF_MM, SHEET_MIDDLE_MM
from vision.solving.solved import best_of
from vision.solving.start import start_states
from vision.stations import SideLine, lines_of, nine_of, shifted, stations

SIZE_PX = (4032, 3024)
NOISE_PX = 0.08  # of one unit edge, independent
U_OFFSET_MM, U_SLOPE, U_CHOICE_MM, U_LOCAL_MM = 0.2, 2e-4, 0.3, 0.3
ENDS = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}


def draw_camera(rng, prior, middle, span, centre_z):
    """Return a camera of the prior that sees `span` about `middle` (2,) mm, a few degrees off square."""
    f = prior.focal_px * np.exp(rng.normal(0, prior.u_log_focal))
    distance = max(span[0] / SIZE_PX[0], span[1] / SIZE_PX[1]) * f * rng.uniform(1.1, 1.35)
    # Rodrigues of small turns; the wall's z runs away from the camera, so R is near unity
    ax, ay, az = np.deg2rad(rng.normal(0, [6.0, 6.0, 1.5]))
    rx = np.array([[1, 0, 0], [0, np.cos(ax), -np.sin(ax)], [0, np.sin(ax), np.cos(ax)]])
    ry = np.array([[np.cos(ay), 0, np.sin(ay)], [0, 1, 0], [-np.sin(ay), 0, np.cos(ay)]])
    rz = np.array([[np.cos(az), -np.sin(az), 0], [np.sin(az), np.cos(az), 0], [0, 0, 1]])
    rotation = rz @ rx @ ry
    translation = np.array([0, 0, distance]) - rotation @ np.array([*middle, centre_z])
    return Camera(
        rotation,
        translation,
        float(f),
        float(prior.cx + rng.normal(0, prior.u_centre_px)),
        float(prior.cy + rng.normal(0, prior.u_centre_px)),
        float(rng.normal(0, prior.u_k1)),
        float(rng.normal(0, prior.u_k2)),
    )


def draw_case(rng, count):
    """Return truth of one case: state, letters, corners (4, 2) mm, wall, check bars, declared depth and true depth."""
    wall = str(rng.choice(["masonry", "render", "siding"], p=[0.6, 0.2, 0.2]))
    w, h = rng.uniform(600, 1600), rng.uniform(650, 1500)
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 + rng.normal(0, 4, (4, 2))
    side = [-1, 1] if count > 1 else [int(rng.choice([-1, 1]))]
    places = [
        np.array([s * (w / 2 + 130 + rng.uniform(20, 110)), (row + rng.uniform(-0.15, 0.15)) * h])
        for row in ([-0.05] if count <= 2 else [-0.27, 0.27])
        for s in side
    ]
    references = np.zeros((count, PER_REFERENCE))
    origin = places[0]
    references[:, :2] = np.array(places) - origin
    references[1:, 2] = np.deg2rad(rng.normal(0, 1.2, count - 1))
    references[:, 3] = -rng.normal(STANDOFF_MM, U_STANDOFF_MM, count) + rng.normal(0, U_DEPTH_MM[wall], count)
    references[:, 4:6] = rng.normal(0, U_TILT_RAD, (count, 2))
    references[:, 6:8] = rng.normal(0, U_BULGE_MM, (count, 2))
    references[:, 8] = rng.normal(0, 0.3, count)
    if rng.random() < 0.5:  # bars read to the millimetre, errors taken as normal
        size = rng.normal(rng.uniform(*OTHER) - 1 if rng.random() < P_OTHER else 0, U_PRINT_SCALE, 2)
        read = np.array([150.0, 200.0]) * (1 + size) + rng.normal(0, 0.29, 2)
        bar = CheckBar(*(Quantity(float(v), 0.29) for v in read))
    else:
        size, bar = rng.normal(0, U_PRINT_SCALE, 2), CheckBar()
    declared = dict.fromkeys(SIDES, -float(rng.choice([0.0, 15.0])))
    common = bool(rng.random() < 0.5)
    shift = np.full(4, rng.normal()) if common else rng.normal(size=4)
    depth = {s: declared[s] + float(shift[i]) for i, s in enumerate(SIDES)}
    prior = camera_prior(26 * np.hypot(*SIZE_PX) / 43.2666, 0.03, SIZE_PX, known=True)
    everything = np.vstack([corners, *(p + s * SHEET_HALF_MM for p in places for s in (-1, 1))])
    low, high = everything.min(0), everything.max(0)
    camera = draw_camera(rng, prior, (low + high) / 2 - origin, high - low, 0.0)
    return PhotoState(camera, size, references), corners - origin, wall, bar, declared, depth, common, prior


def observe(rng, truth):
    """Return the printed edges of all sheets as blocks, and rough outlines (4, 2) px."""
    blocks, outlines, saddles = [], [], []
    corners = SHEET_MIDDLE_MM * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])

    def seen(i, plane):
        return project(truth.camera, reference_points(truth, i, plane, SHEET_HALF_MM)[0])

    for i in range(len(truth.references)):
        edges = printed_edges.unit_edges(i)
        middle = edges.middle_mm - SHEET_MIDDLE_MM
        here = seen(i, middle)
        normal = seen(i, middle + 0.5 * edges.normal) - here
        along = seen(i, middle + 0.5 * edges.along) - here
        across = np.stack([-along[:, 1], along[:, 0]], axis=1)
        across *= np.sign((across * normal).sum(1, keepdims=True)) / np.linalg.norm(across, axis=1, keepdims=True)
        shift = truth.references[i, 8] + rng.normal(0, NOISE_PX, len(middle))
        n = len(middle)
        blocks.append(
            EdgeBlock(
                i,
                middle,
                SHEET_HALF_MM,
                here + shift[:, None] * across,
                across,
                np.full(n, NOISE_PX),
                np.ones(n),
            )
        )
        outlines.append(seen(i, corners) + rng.normal(0, 1.0, (4, 2)))
        plane = sheet.saddles_mm() - SHEET_MIDDLE_MM
        saddles.append(point_block(i, plane, SHEET_HALF_MM, seen(i, plane) + rng.normal(0, 0.1, plane.shape), 0.12))
        saddles.append(point_block(i, corners, SHEET_HALF_MM, outlines[-1], 3.0))
    return blocks, outlines, saddles, corners


def draw_sides(rng, truth, corners, declared, depth):
    """Return the sides as traced (true edges, noise of trace and of the arris), and the true nine."""
    sides = {}
    for s in SIDES:
        xyz = np.column_stack([corners[list(ENDS[s])], np.full(2, depth[s])])
        cov = np.diag([U_OFFSET_MM**2, U_SLOPE**2])
        none = np.zeros(0)
        sides[s] = SideLine(s, project(truth.camera, xyz), depth[s], none, none, cov, 0.0, 0.0, U_CHOICE_MM)
    lines = lines_of(truth.camera, sides, depth)
    local = {n: tuple(rng.normal(0, U_LOCAL_MM, 2)) for n in stations(lines)}
    nine = nine_of(lines, local)
    traced = {}
    for s in SIDES:
        moved = shifted(
            lines[s], float(rng.normal(0, np.hypot(U_OFFSET_MM, U_CHOICE_MM))), float(rng.normal(0, U_SLOPE))
        )
        ends = np.array([moved.origin, moved.origin + moved.length * moved.direction])
        pixel = project(truth.camera, np.column_stack([ends, np.full(2, depth[s])]))
        line = sides[s]
        traced[s] = SideLine(
            s, pixel, declared[s], line.s_mm, line.local_mm, line.cov_offset_slope, 0.0, 0.0, U_CHOICE_MM
        )
    return traced, nine


def one_case(seed, number, count):
    """Return errors (9,), u (9,), budget (9, parts) and normalised errors of the unknowns of one case."""
    rng = np.random.default_rng([seed, count, number])
    truth, corners, wall, bar, declared, depth, common, prior = draw_case(rng, count)
    edges, outlines, saddles, plane = observe(rng, truth)
    known = [*camera_blocks(prior), size_block(Reference("sheet"), bar)]
    known += reference_blocks(count, wall, sheets=True, stiff=False)
    start = best_of(known + saddles, start_states(prior, [plane] * count, outlines))
    solved = adjust(known + edges, start.state, iterations=40)
    sides, nine = draw_sides(rng, truth, corners, declared, depth)
    m = measure(solved.state.camera, solved.parts, sides, np.ones((4, 4)) if common else np.eye(4))
    u = np.sqrt(np.diag(m.cov_mm2))
    d = (solved.state.vector() - truth.vector()) / np.sqrt(np.diag(solved.covariance))
    return m.values_mm - nine, u, m.budget_mm, np.delete(d, range(6))[:7]


def report(name, z, share):
    """Print rms, mean and coverage of normalised errors (N, 9), by measure and by dominant part."""
    n = len(z)
    print(
        f"{name}: {n} cases, rms e/u {np.sqrt(np.mean(z[:, :8] ** 2)):.3f}, covered {np.mean(abs(z[:, :8]) <= 2):.3f}"
    )
    for i, measure_name in enumerate(NINE):
        rms = np.sqrt(np.mean(z[:, i] ** 2))
        print(
            f"  {measure_name:14} rms {rms:.2f}  mean {z[:, i].mean():+.2f}  covered {np.mean(abs(z[:, i]) <= 2):.3f}"
        )
    for i, part in enumerate(PARTS):
        most = share[:, :8].argmax(2) == i
        if most.sum() > 40:
            print(f"  mostly {part:16} {most.sum():5d}  rms {np.sqrt(np.mean(z[:, :8][most] ** 2)):.2f}")


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--count", type=int, default=200)
    p.add_argument("--sheets", type=int, nargs="+", default=[1, 2, 4])
    p.add_argument("--seed", type=int, default=1)
    a = p.parse_args()
    pooled = []
    for count in a.sheets:
        rows = [one_case(a.seed, n, count) for n in range(a.count)]
        z = np.array([e / u for e, u, _, _ in rows])
        u = np.median([u for _, u, _, _ in rows], axis=0)
        share = np.array([b for _, _, b, _ in rows]) ** 2
        report(f"{count} sheets", z, share)
        print("  median u mm", u.round(2))
        names = ("log f", "cx", "cy", "k1", "k2", "size x", "size y")
        unknowns = np.array([d for *_, d in rows])
        print(
            "  unknowns rms",
            dict(zip(names, np.sqrt(np.mean(unknowns**2, 0)).round(2).tolist(), strict=True)),
        )
        pooled.append(z)
    z = np.concatenate(pooled)[:, :8]
    print(f"pooled: rms e/u {np.sqrt(np.mean(z**2)):.3f}, covered {np.mean(abs(z) <= 2):.3f}")


if __name__ == "__main__":
    main()

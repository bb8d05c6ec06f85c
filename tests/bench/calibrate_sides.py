"""Are the sides' own uncertainties honest? Traced on photos with exact truth, with the true camera and depth.

Usage: python tests/bench/calibrate_sides.py FOLDER... [--first N] [--json OUT]

For every side that was taken for the right line (within 2 mm): error of offset and slope against their covariance and
the arris; for every width and height: error of both local edges at the station against their u.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps
from score_photos import ENDS, WALLS, true_camera, true_sides

from vision.measures import measure
from vision.request import NINE, PARTS, SIDES
from vision.sides import traced
from vision.sides.finding import FailedSide
from vision.sides.tracing import trace_sides
from vision.stations import lines_of, local_edge, stations


def one_photo_rows(file):
    """Return rows of sides (name, error, u, slope error, u, scatter, u_local, mm/px) and stations (name, error, u)."""
    truth = json.loads(file.read_text())
    rgb = np.asarray(ImageOps.exif_transpose(Image.open(file.parent / truth["photo"])).convert("RGB"))
    camera = true_camera(truth)
    offset = truth.get("edge_depth_mm", truth.get("edge_offset_mm", 0))
    offset = offset if isinstance(offset, dict) else dict.fromkeys(SIDES, offset)
    depth = {s: -float(offset[s]) for s in SIDES}
    wall = WALLS[truth["wall"][:5]]
    rough = np.array(truth["rough_corners_px"], float)
    traces = trace_sides(rgb, camera, rough, 3.0, depth, wall)
    if any(isinstance(t, FailedSide) for t in traces.values()):
        return [], []
    sides = traced.side_lines(camera, traces, wall)[0]
    lines = lines_of(camera, sides, depth)
    corners = np.array(truth["corners_mm"])
    scale = np.linalg.norm(corners[2] - corners[0]) / np.linalg.norm(
        np.subtract(*np.array(truth["corners_px"])[[2, 0]])
    )
    found, right = [], {}
    for s in SIDES:
        a, b = corners[list(ENDS[s])]
        t = traces[s]
        line = lines[s]
        middle = (a + b) / 2
        d = (b - a) / np.linalg.norm(b - a)
        along = (middle - line.origin) @ line.direction
        error = float((line.origin + along * line.direction - middle) @ line.normal)
        slope = float(line.direction @ line.normal - d @ line.normal)
        cov = sides[s].cov_offset_slope
        right[s] = abs(error) + abs(slope) * np.linalg.norm(b - a) / 2 < 2
        found.append(
            (
                s,
                bool(right[s]),
                error,
                float(np.sqrt(cov[0, 0])),
                sides[s].u_choice_mm,
                slope * np.linalg.norm(b - a) / 2,
                float(np.sqrt(cov[1, 1])) * np.linalg.norm(b - a) / 2,
                t.scatter_mm,
                t.u_local_mm,
                float(scale),
                float(t.candidates[0].weight) if t.candidates else 1.0,
            )
        )
    straight = true_sides(truth)[1]
    m = measure(camera, {}, sides, np.zeros((4, 4)))
    at = []
    for name, ends in stations(lines).items():
        if not all(right[s] for s, _ in ends):
            continue
        local = [local_edge(sides[s], float((p - lines[s].origin) @ lines[s].direction)) for s, p in ends]
        true = truth["measures_mm"][name] - straight[NINE.index(name)]
        i = NINE.index(name)
        whole = float(m.values_mm[i] - truth["measures_mm"][name])
        u = float(np.sqrt(m.cov_mm2[i, i]))
        u_bare = float(np.sqrt(max(u**2 - m.budget_mm[i, PARTS.index("edge_choice")] ** 2, 0)))
        near = [np.abs(sides[s].s_mm - float((p - lines[s].origin) @ lines[s].direction)) <= 8 for s, p in ends]
        values = [sides[s].local_mm[n].tolist() for (s, _), n in zip(ends, near, strict=True)]
        u_local = [sides[s].u_local_mm for s, _ in ends]
        at.append(
            (
                name,
                local[0][0] + local[1][0] - true,
                float(np.hypot(local[0][1], local[1][1])),
                true,
                whole,
                u,
                u_bare,
                values,
                u_local,
            )
        )
    return found, at


def figures(z):
    """Return rms, mean, median |z| and coverage of normalised errors as text."""
    z = np.asarray(z)
    return (
        f"{len(z):4d}  rms {np.sqrt(np.mean(z**2)):.2f}  mean {z.mean():+.2f}  median|z| {np.median(abs(z)):.2f}"
        f" (0.67)  covered {np.mean(abs(z) <= 2):.3f}"
    )


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("folders", nargs="+", type=Path)
    p.add_argument("--first", type=int, default=1000)
    p.add_argument("--json", type=Path)
    a = p.parse_args()
    cv2.setNumThreads(1)
    sides, at = [], []
    for file in [f for d in a.folders for f in sorted(d.glob("*.truth.json"))[: a.first]]:
        walls = json.loads(file.read_text())["wall"][:5]
        one, two = one_photo_rows(file)
        sides += [(walls, *r) for r in one]
        at += [(walls, *r) for r in two]
    if a.json:
        a.json.write_text(json.dumps([sides, at]))
    print(f"sides {len(sides)}, right line {np.mean([r[2] for r in sides]):.3f}")
    for wall in sorted({r[0] for r in sides}):
        for s in SIDES:
            all_of = [r for r in sides if r[0] == wall and r[1] == s]
            rows = [r for r in all_of if r[2]]
            if len(rows) < 4:
                continue
            x = np.array([r[3:12] for r in rows])
            print(
                f"{wall} {s:6} right {len(rows)}/{len(all_of)}"
                f"  offset mean {x[:, 0].mean():+.2f} sd {x[:, 0].std():.2f} mm,"
                f" median u {np.median(x[:, 1]):.2f} + choice {x[0, 2]:.2f}; px mean {np.mean(x[:, 0] / x[:, 7]):+.2f}"
            )
            print("   offset", figures(x[:, 0] / np.hypot(x[:, 1], x[:, 2])))
            print(
                "   slope ",
                figures(x[:, 3] / x[:, 4]),
                f" end sd {x[:, 3].std():.2f} mm u {np.median(x[:, 4]):.2f}",
            )
        rows = [r for r in at if r[0] == wall]
        for kind in ("width", "height"):
            x = np.array([r[2:8] for r in rows if r[1].startswith(kind)])
            if len(x):
                print(
                    f"{wall} station {kind}",
                    figures(x[:, 0] / x[:, 1]),
                    f" mean {x[:, 0].mean():+.2f} sd {x[:, 0].std():.2f} u {np.median(x[:, 1]):.2f} mm",
                )

                print(
                    "   whole length ",
                    figures(x[:, 3] / x[:, 4]),
                    f" mean {x[:, 3].mean():+.2f} sd {x[:, 3].std():.2f} mm",
                )
                print("   without choice", figures(x[:, 3] / x[:, 5]))


if __name__ == "__main__":
    main()

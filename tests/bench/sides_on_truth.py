"""Errors of the traced sides on photos with exact truth beside them, with the true camera.

Usage: python tests/bench/sides_on_truth.py FOLDER [NAME...]; prints one line a side that is off, then the sums.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps

from vision.camera import Camera
from vision.request import SIDES
from vision.sides.tracing import SideTrace, trace_sides
from vision.stations import ENDS

WALLS = {"brick": "masonry", "stucco": "render", "siding-trim": "siding"}
STATION_IN_MM = 50.8


def load(truth: Path):
    """Return photo, true camera (its world mirrored to ours), truth and depth by side."""
    d = json.loads(truth.read_text())
    c = d["camera"]
    camera = Camera(
        np.array(c["R"]) @ np.diag([1, 1, -1.0]),
        np.array(c["t"], float),
        c["f_px"],
        c["cx"],
        c["cy"],
        c["k1"],
        c["k2"],
    )
    rgb = np.asarray(ImageOps.exif_transpose(Image.open(truth.with_name(truth.name[:-11] + ".jpg"))).convert("RGB"))
    offset = d["edge_offset_mm"]
    depth = {s: -float(offset[s] if isinstance(offset, dict) else offset) for s in SIDES}
    return rgb, camera, d, depth


def station(trace: SideTrace, s: float) -> float:
    """Return the local edge at s by the contract's rule: innermost within 8 mm, else nearest within 20 mm."""
    d = np.abs(trace.s_mm - s)
    if (d <= 8).any():
        return float(trace.local_mm[d <= 8].min())
    return float(trace.local_mm[d.argmin()]) if d.min(initial=99) <= 20 else 0.0


def nine(traces, local=True):
    """Return widths and heights (6,) mm of four traces by the contract's definitions."""

    def cross(a, b):
        m = np.column_stack([a.direction, -b.direction])
        return a.origin_mm + a.direction * np.linalg.solve(m, b.origin_mm - a.origin_mm)[0]

    h, r, s, le = (traces[k] for k in ("head", "right", "sill", "left"))
    tl, tr, br, bl = cross(h, le), cross(h, r), cross(s, r), cross(s, le)

    def at(trace, a, b, where):
        length = np.hypot(*(b - a))
        u = {0: STATION_IN_MM, 1: length / 2, 2: length - STATION_IN_MM}[where]
        p = a + (b - a) / length * u
        out = trace.direction[::-1] * (np.array([-1, 1]) if trace.side in ("sill", "left") else np.array([1, -1]))
        return p + out * (station(trace, float((p - trace.origin_mm) @ trace.direction)) if local else 0)

    widths = [np.hypot(*(at(le, tl, bl, w) - at(r, tr, br, w))) for w in range(3)]
    heights = [np.hypot(*(at(h, tl, tr, w) - at(s, bl, br, w))) for w in range(3)]
    return np.array(widths + heights)


def main() -> None:
    folder, names = Path(sys.argv[1]), sys.argv[2:]
    files = [
        f for f in sorted(folder.rglob("*.truth.json")) if "corners_mm" in f.read_text() and '"R"' in f.read_text()
    ]
    rows, sizes, spent = [], [], []
    for file in files:
        name = file.name[:-11]
        if names and name not in names:
            continue
        rgb, camera, d, depth = load(file)
        begin = time.perf_counter()
        traces = trace_sides(rgb, camera, np.array(d["rough_corners_px"]), 3.0, depth, WALLS[d["wall"]], "front")
        spent.append((time.perf_counter() - begin, rgb.shape[0] * rgb.shape[1]))
        corners = np.array(d["corners_mm"])[:, :2]
        for side, trace in traces.items():
            a, b = corners[list(ENDS[side])]
            if not isinstance(trace, SideTrace):
                print(name, side, "FAILED", trace.reason)
                rows.append((name, side, np.nan, np.nan, 0, True, 1, 1, 0))
                continue
            normal = np.array([trace.direction[1], -trace.direction[0]])
            normal = -normal if side in ("sill", "left") else normal
            error = -float(((a + b) / 2 - trace.origin_mm) @ normal)
            true = (b - a) / np.hypot(*(b - a))
            slope = float(trace.direction @ normal - true @ normal)
            best = trace.candidates[0].weight
            rows.append(
                (
                    name,
                    side,
                    error,
                    slope * np.hypot(*(b - a)) / 2,
                    best,
                    trace.hidden,
                    np.sqrt(trace.cov_offset_slope[0, 0]),
                    np.sqrt(trace.cov_offset_slope[1, 1]) * np.hypot(*(b - a)) / 2,
                    rgb.shape[0] * rgb.shape[1],
                )
            )
            if abs(error) > 1.0 or best < 0.97 or trace.hidden:
                rivals = " ".join(f"{c.shift_mm:+.1f}:{c.weight:.2f}" for c in trace.candidates)
                print(
                    f"{name} {side} error {error:+.2f} mm slope {rows[-1][3]:+.2f} coverage {trace.coverage:.2f} "
                    f"u {rows[-1][6]:.2f} bow {trace.bow_mm:.1f} hidden {trace.hidden} | {rivals}"
                )
        if all(isinstance(t, SideTrace) for t in traces.values()):
            m = d["measures_mm"]
            true = np.array(
                [
                    m[k]
                    for k in (
                        "width_top",
                        "width_middle",
                        "width_bottom",
                        "height_left",
                        "height_middle",
                        "height_right",
                    )
                ]
            )
            sizes.append(np.concatenate([nine(traces) - true, nine(traces, local=False) - true]))
    error = np.array([r[2] for r in rows])
    end = np.array([r[3] for r in rows])
    best, hidden = np.array([r[4] for r in rows]), np.array([r[5] for r in rows])
    u = np.array([r[6] for r in rows])
    large = np.array([r[8] for r in rows]) > 8e6
    wrong = ~(np.abs(error) < 2.0)
    ok = ~wrong
    flagged = (best < 0.97) | hidden
    print(f"sides {len(rows)}; wrong > 2 mm {wrong.sum()}, of them flagged {(wrong & flagged).sum()}")
    u_end = np.array([r[7] for r in rows])
    ratio, ratio_end = error[ok] / u[ok], end[ok] / u_end[ok]
    print(f"clean and flagged {(ok & flagged).sum()}; bias {np.mean(error[ok]):+.2f}")
    print(f"offset: rms/u {np.sqrt(np.mean(ratio**2)):.2f}, 68 % of |error|/u {np.quantile(np.abs(ratio), 0.68):.2f}")
    print(f"slope at the ends: median {np.nanmedian(np.abs(end)):.2f} mm", end=", ")
    print(f"rms/u {np.sqrt(np.mean(ratio_end**2)):.2f}, 68 % {np.quantile(np.abs(ratio_end), 0.68):.2f}")
    for label, pick in (("12 MP", large), ("smaller", ~large)):
        if pick.any():
            middle, bias = np.nanmedian(np.abs(error[pick])), np.mean(error[pick & ok])
            print(f"{label}: median |error| {middle:.2f} mm, bias of good {bias:+.2f}")
    for side in SIDES:
        pick = np.array([r[1] == side for r in rows])
        middle = np.nanmedian(np.abs(error[pick]))
        print(f"  {side}: median |error| {middle:.2f}, wrong {wrong[pick].sum()} of {pick.sum()}")
    s = np.array(sizes)
    print(
        "widths, heights: median |error| with stations",
        np.median(np.abs(s[:, :6]), axis=0).round(2),
        "straight only",
        np.median(np.abs(s[:, 6:]), axis=0).round(2),
    )
    print(
        "  bias with stations", np.median(s[:, :6], axis=0).round(2), "straight", np.median(s[:, 6:], axis=0).round(2)
    )
    print("  95 % of |error|", np.quantile(np.abs(s[:, :6]), 0.95, axis=0).round(1))
    t = np.array(spent)
    print(
        "seconds a photo: large", t[t[:, 1] > 8e6, 0].round(2), "small median", np.median(t[t[:, 1] < 8e6, 0]).round(2)
    )


if __name__ == "__main__":
    main()

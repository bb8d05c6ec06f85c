"""Errors and honesty of `vision.estimate` on a folder of photos with exact truth beside them, two at a time.

Usage: python tests/bench/score_photos.py FOLDER... [--no-corners] [--only GLOB] [--layout GLOB] [--jobs 2]
       [--json OUT] [--judge MEDIAN P95 COVERED_LO COVERED_HI RMS_LO RMS_HI]

A truth file `NAME.truth.json` names its photo, wall, references, edge offsets, rough corners, true corners and the
nine measures. Parts of the budget that a photo does not exercise (its list `exact`) are taken out of u before
errors are held against it. The error is also split: the camera's (true straight sides seen by the adjusted camera)
and the sides' (the rest), each against its own parts of the budget.
"""

# ruff: noqa: E402

from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):  # before NumPy: two workers share the cores
    os.environ.setdefault(_name, "1")

import argparse
import fnmatch
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from vision import one_photo
from vision.camera import Camera, back_project, project
from vision.estimate import estimate_opening
from vision.measures import measure
from vision.request import (
    NINE,
    PARTS,
    SIDES,
    CheckBar,
    NotMeasured,
    OpeningRequest,
    PhotoRequest,
    Quantity,
    Reference,
)
from vision.stations import SideLine

WALLS = {"brick": "masonry", "stucc": "render", "sidin": "siding", "panel": "panel"}
ALWAYS_EXACT = {
    "reference_size",
    "wall_plane",
    "edge_depth",
    "print_scale",
}  # of photos that do not list them
WRONG_MM = 2.0
READ_MM = 0.01 / 12**0.5  # bars written to 0.01 mm
ENDS = {"head": (0, 1), "right": (1, 2), "sill": (3, 2), "left": (0, 3)}


def layout(truth):
    """Return number and kind of the references, and the wall where it is not brick."""
    kinds = [r["kind"] for r in truth["references"]]
    name = f"{len(kinds)} {kinds[0]}" + ("s" if len(kinds) > 1 else "")
    return name + ("" if truth["wall"].startswith("brick") else f", {truth['wall'].split('-')[0]}")


def exact_parts(truth):
    """Return the parts of the budget that the photo does not exercise."""
    listed = truth.get("exact")
    if listed is not None:
        return {e.split()[0] for e in listed} & set(PARTS)
    bent = any(r.get("bulge_mm") or r.get("lift_mm") for r in truth["references"])
    return ALWAYS_EXACT | (set() if bent else {"flatness"})


def request(truth, folder, corners=True):
    """Return what a person would ask for this photo: rough corners, bars and offsets as declared."""
    ref = truth["references"][0]
    if ref["kind"] == "sheet":
        reference = Reference("sheet")
        scale = ref.get("print_scale", 1.0)
        bar = ref.get("check_bar_mm") or {"across": 150 * scale, "along": 200 * scale}
        if truth.get("exact") is None or any(e.startswith("print_scale") for e in truth["exact"]):
            bar = {"across": 150 * scale, "along": 200 * scale}
        u = ref.get("check_bar_u_mm") or READ_MM
        bars = CheckBar(*(Quantity(round(bar[k], 2), u) for k in ("across", "along")))
    else:
        reference, bars = Reference(ref["kind"], *ref["size_mm"]), CheckBar()
    offset = truth.get("edge_offset_mm", 0)
    offset = offset if isinstance(offset, dict) else dict.fromkeys(SIDES, offset)
    if "edge_depth_mm" in truth:  # drawn side by side, each with its own error: equal values would read as one error
        offset = {s: offset[s] + 1e-6 * i for i, s in enumerate(SIDES)}
    clicked = tuple(np.array(r["rough_corners_px"]) for r in truth["references"] if "rough_corners_px" in r)
    photo = PhotoRequest(
        Path(folder) / truth["photo"],
        corners_px=np.array(truth["rough_corners_px"], float) if corners else None,
        reference_corners_px=clicked,
    )
    return OpeningRequest(
        (photo,),
        wall=WALLS[truth["wall"][:5]],
        reference=reference,
        check_bar=bars,
        edge_offset={s: Quantity(float(v), 1.0) for s, v in offset.items()},
    )


def true_camera(truth):
    """Return the true camera; the world of the truth has z toward the camera, ours away from it."""
    c = truth["camera"]
    rotation = np.array(c["R"]) @ np.diag([1, 1, -1.0])
    return Camera(rotation, np.array(c["t"], float), c["f_px"], c["cx"], c["cy"], c["k1"], c["k2"])


def side_errors(truth, corners_px):
    """Return, by side, how far (mm) its worse corner stands off across it; camera errors left out."""
    offset = truth.get("edge_offset_mm", 0)
    offset = offset if isinstance(offset, dict) else dict.fromkeys(SIDES, offset)
    camera, true = true_camera(truth), np.array(truth["corners_mm"])
    seen = [
        back_project(camera, q[None], -float(offset[s]))[0]
        for q, s in zip(corners_px, ("head", "head", "sill", "sill"), strict=True)
    ]
    found = {}
    for side, (a, b) in ENDS.items():
        d = true[b] - true[a]
        normal = np.array([-d[1], d[0]]) / np.linalg.norm(d)
        found[side] = float(np.abs((np.array(seen) - true)[[a, b]] @ normal).max())
    return found


SIDE_PARTS = ("edge_trace", "edge_choice", "station")


def true_sides(truth):
    """Return the true straight sides as they are seen in the photo, with declared depth, and their true nine."""
    offset = truth.get("edge_offset_mm", 0)
    offset = offset if isinstance(offset, dict) else dict.fromkeys(SIDES, offset)
    real = truth.get("edge_depth_mm", offset)
    camera, corners = true_camera(truth), np.array(truth["corners_mm"])
    none = np.zeros(0)
    seen = {}
    for s, (a, b) in ENDS.items():
        xyz = np.column_stack([corners[[a, b]], np.full(2, -float(real[s]))])
        seen[s] = SideLine(s, project(camera, xyz), -float(offset[s]), none, none, np.zeros((2, 2)), 0.0, 0.0, 0.0)
    at = {s: replace(line, depth_mm=-float(real[s])) for s, line in seen.items()}
    return seen, measure(camera, {}, at, np.zeros((4, 4))).values_mm


def split(truth, camera, error, budget):
    """Return errors of camera and sides (9,) and their u, from one photo's error and budget without exact parts."""
    seen, straight = true_sides(truth)
    by_camera = measure(camera, {}, seen, np.zeros((4, 4))).values_mm - straight
    of_sides = np.array([p in SIDE_PARTS for p in PARTS])
    u_camera = np.sqrt((budget[:, ~of_sides] ** 2).sum(1))
    u_sides = np.sqrt((budget[:, of_sides] ** 2).sum(1))
    return by_camera, u_camera, error - by_camera, u_sides


def score(file, corners=True):
    """Return one photo's row: errors, u without the exact parts, budget, warnings, sides."""
    cv2.setNumThreads(1)
    file = Path(file)
    truth = json.loads(file.read_text())
    row = {"photo": truth["photo"], "layout": layout(truth)}
    start = time.perf_counter()
    kept = {}

    def recorded(camera, *args, **more):
        kept["camera"] = camera
        return measure(camera, *args, **more)

    one_photo.measure = recorded
    try:
        e = estimate_opening(request(truth, file.parent, corners))
    except Exception as error:  # a benchmark goes on and says so
        return row | {"s": time.perf_counter() - start, "bad": f"{type(error).__name__}: {error}"}
    row["s"] = time.perf_counter() - start
    row["warnings"] = sorted({w.code for p in e.photos for w in p.warnings} | {w.code for w in e.warnings})
    if isinstance(e, NotMeasured):
        return row | {"why": f"{e.code}: {e.why}"}
    out = exact_parts(truth)
    variance = np.diag(e.cov_mm2)
    left = (e.budget_mm[:, [PARTS.index(p) for p in sorted(out)]] ** 2).sum(1)
    u = np.sqrt(np.maximum(variance - left, 0.04 * variance))
    keep = [p not in out for p in PARTS]
    error = e.values_mm - np.array([truth["measures_mm"][n] for n in NINE])
    parts = split(truth, kept["camera"], error, e.budget_mm * keep)
    sides = side_errors(truth, e.photos[0].corners_px)
    said = {
        s: [
            w.code
            for w in e.photos[0].warnings
            if w.code in {"edge-ambiguous", "edge-hidden"} and f"the {s}" in w.message
        ]
        for s in SIDES
    }
    bound = truth.get("bound_mm", {}).get("camera")
    return row | {
        "error": error.tolist(),
        "split": [np.asarray(p).tolist() for p in parts],
        "u": u.tolist(),
        "stated": np.sqrt(variance).tolist(),
        "budget": (e.budget_mm * keep).tolist(),
        "bound": [bound[n] for n in NINE] if bound else None,
        "sides": sides,
        "said": said,
    }


def summary(rows):
    """Return the figures of some photos; sizes are the eight lengths, `6` only widths and heights."""
    good = [r for r in rows if "error" in r]
    found = {"photos": len(rows), "measured": len(good)}
    if not good:
        return found
    e, u = (np.array([r[k] for r in good])[:, :8] for k in ("error", "u"))
    six = np.abs(e[:, :6])
    found |= {
        "median|e| 6": np.median(six),
        "p95|e| 6": np.percentile(six, 95),
        "median|e|": np.median(abs(e)),
        "p95|e|": np.percentile(abs(e), 95),
        "medianU95": np.median(2 * u),
        "covered": np.mean(abs(e) <= 2 * u),
        "rms e/u": np.sqrt(np.mean((e / u) ** 2)),
        "mean e/u": np.mean(e / u),
        "s": np.median([r["s"] for r in good]),
    }
    bounded = [r for r in good if r["bound"]]
    if bounded:
        b = np.array([r["bound"] for r in bounded])[:, :8]
        found["|e|/bound"] = np.median(np.abs(np.array([r["error"] for r in bounded])[:, :8]) / (0.6745 * b))
    wrong = [(s, r) for r in good for s in SIDES if r["sides"][s] > WRONG_MM]
    found["wrong sides"] = len(wrong)
    if wrong:
        found["photo says"] = np.mean([any(r["said"].values()) for _, r in wrong])
        found["side says"] = np.mean([bool(r["said"][s]) for s, r in wrong])
        found["said of right"] = np.mean([bool(r["said"][s]) for r in good for s in SIDES if r["sides"][s] <= WRONG_MM])
    return {k: round(float(v), 3) if isinstance(v, float) else v for k, v in found.items()}


def by_part(rows):
    """Print rms e/u and coverage of the measures in which one part makes up most of the variance."""
    good = [r for r in rows if "error" in r]
    if not good:
        return
    e, u = (np.array([r[k] for r in good])[:, :8] for k in ("error", "u"))
    share = np.array([r["budget"] for r in good])[:, :8] ** 2
    share = share / share.sum(2, keepdims=True)
    print("part that makes up most of the variance: measures, rms e/u, mean e/u, covered, median u")
    for i, part in enumerate(PARTS):
        most = share.argmax(2) == i
        if most.sum() >= 8:
            z = (e / u)[most]
            print(
                f"  {part:16} {most.sum():5d}  {np.sqrt(np.mean(z**2)):5.2f}  {z.mean():+5.2f}  "
                f"{np.mean(abs(z) <= 2):.3f}  {np.median(u[most]):.2f}"
            )
    print("measure: rms e/u, mean e, covered")
    for i, name in enumerate(NINE[:8]):
        z = e[:, i] / u[:, i]
        print(f"  {name:14} {np.sqrt(np.mean(z**2)):5.2f}  {e[:, i].mean():+5.2f} mm  {np.mean(abs(z) <= 2):.3f}")
    parts = np.array([r["split"] for r in good])[:, :, :8]
    for name, i in (("camera", 0), ("sides", 2)):
        z = parts[:, i] / np.maximum(parts[:, i + 1], 1e-3)
        print(
            f"{name} alone: rms e/u {np.sqrt(np.mean(z**2)):.2f}, mean {z.mean():+.2f}, median |e|/u "
            f"{np.median(abs(z)):.2f} (0.67), covered {np.mean(abs(z) <= 2):.3f}, median |e| "
            f"{np.median(abs(parts[:, i])):.2f}, median u {np.median(parts[:, i + 1]):.2f} mm; by measure rms "
            + " ".join(f"{x:.2f}" for x in np.sqrt(np.mean(z**2, axis=0)))
        )
    right = np.array([max(r["sides"].values()) <= WRONG_MM for r in good])
    if right.any():
        z = (e / u)[right]
        print(
            f"photos without a wrong side: {right.sum()}, rms e/u {np.sqrt(np.mean(z**2)):.2f}, "
            f"covered {np.mean(abs(z) <= 2):.3f}"
        )


def show(row):
    """Print one photo."""
    head = f"{row['photo']:16} {row['layout']:18} {row['s']:5.1f}s "
    if "error" not in row:
        print(head, row.get("bad") or row.get("why"))
        return
    pairs = " ".join(f"{e:+.2f}/{2 * u:.2f}" for e, u in zip(row["error"][:8], row["u"], strict=False))
    wrong = " ".join(
        f"{s} {v:.1f}{''.join('!' for _ in row['said'][s])}" for s, v in row["sides"].items() if v > WRONG_MM
    )
    print(head, pairs, wrong)


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("folders", nargs="+", type=Path)
    p.add_argument("--no-corners", action="store_true")
    p.add_argument("--only", default="*")
    p.add_argument("--layout", default="*")
    p.add_argument("--jobs", type=int, default=2)
    p.add_argument("--json", type=Path)
    p.add_argument("--judge", nargs=6, type=float, metavar=("MEDIAN", "P95", "COV_LO", "COV_HI", "RMS_LO", "RMS_HI"))
    a = p.parse_args()
    files = [f for d in a.folders for f in sorted(d.glob("*.truth.json")) if fnmatch.fnmatch(f.name, a.only + "*")]
    files = [f for f in files if fnmatch.fnmatch(layout(json.loads(f.read_text())), a.layout)]
    rows = []
    with ProcessPoolExecutor(a.jobs) as pool:
        for row in pool.map(partial(score, corners=not a.no_corners), files):
            rows.append(row)
            show(row)
    print()
    for name in sorted({r["layout"] for r in rows}):
        print(f"{name:20}", summary([r for r in rows if r["layout"] == name]))
    print(f"{'all':20}", summary(rows))
    by_part(rows)
    if a.json:
        a.json.write_text(json.dumps(rows, indent=1))
    if a.judge:
        t = summary(rows)
        median, p95, cov_lo, cov_hi, rms_lo, rms_hi = a.judge
        good = t["measured"] >= 0.95 * len(rows) and t["median|e|"] <= median and t["p95|e|"] <= p95
        sys.exit(0 if good and cov_lo <= t["covered"] <= cov_hi and rms_lo <= t["rms e/u"] <= rms_hi else 1)


if __name__ == "__main__":
    main()

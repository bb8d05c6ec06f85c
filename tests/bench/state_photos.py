"""What the program states of photos with sheets: measures, covariance and candidates, bars measured and not.

Usage: python tests/bench/state_photos.py FOLDER... [--only GLOB] [--out photos_stated.json]

`photos_stated.json` is what `slips_drawn.py` draws photos from. Every photo of a folder that shows sheets is taken,
with rough corners as a person gives them: once with its bars as a ruler reads them (to half a millimetre), once
without, when its paper's outline is all that is known of the print.
"""

# ruff: noqa: E402

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import replace
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import cv2
import numpy as np
from score_photos import WALLS, request

from vision.estimate import estimate_opening
from vision.request import PARTS, CheckBar, NotMeasured, Quantity

# A ruler is read to half a millimetre.
READ_MM = 0.5
BARS = ("measured", "not measured")
# Warnings by which the program itself says that it may not be able to judge a reading.
DOUBTS = ("weak-geometry", "edge-ambiguous", "edge-hidden")


def stated(truth, estimate, bars):
    """Return one photo as plain values: mm, mm2; covariance as its lower triangle, row by row."""
    scale = estimate.budget_mm[:, PARTS.index("print_scale")]
    return {
        "sheets": len(truth["references"]),
        "bars": bars,
        "wall": WALLS[truth["wall"][:5]],
        "warnings": sorted({w.code for p in estimate.photos for w in p.warnings} & set(DOUBTS)),
        "values_mm": np.round(estimate.values_mm, 2).tolist(),
        "cov_mm2": np.round(estimate.cov_mm2[np.tril_indices(9)], 5).tolist(),
        "print_scale_mm": np.round(scale, 4).tolist(),
        "candidates": [
            [c.side, round(float(c.weight), 4), round(float(c.shift_mm), 2), np.round(c.shift_nine_mm, 2).tolist()]
            for c in estimate.candidates
        ],
    }


def asked(truth, folder, bars):
    """Return the request for one photo, its bars read by a ruler or not at all."""
    whole = request(truth, folder)
    read = whole.check_bar
    by_ruler = CheckBar(
        *(Quantity(round(q.value_mm / READ_MM) * READ_MM, READ_MM / 12**0.5) for q in (read.across, read.along))
    )
    return replace(whole, check_bar=by_ruler if bars == "measured" else CheckBar())


def main():
    """Measure and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER")
    parser.add_argument("--only", default="*")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("photos_stated.json"))
    args = parser.parse_args()
    cv2.setNumThreads(1)
    rows = []
    for file in sorted(f for folder in args.folders for f in folder.glob(f"{args.only}.truth.json")):
        truth = json.loads(file.read_text())
        if truth["references"][0]["kind"] != "sheet":
            continue
        for bars in BARS:
            estimate = estimate_opening(asked(truth, file.parent, bars))
            print(file.name, bars, getattr(estimate, "code", "measured"), file=sys.stderr, flush=True)
            if not isinstance(estimate, NotMeasured):
                rows.append(stated(truth, estimate, bars))
        write(rows, args.out)


def write(rows, path):
    """Write photos, one a line."""
    path.write_text("[\n" + ",\n".join(json.dumps(r) for r in rows) + "\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()

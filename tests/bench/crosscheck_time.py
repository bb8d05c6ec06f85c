"""Time of cross-checking one opening against that of decoding its 12 MP photo, on one core in one run.

Usage: python tests/bench/crosscheck_time.py [--truth FILE] [--profile]
Without a photo one is rendered (4032 x 3024, about a minute). The photo is measured once; then the readings are
tested together, judged and explained, without and with an order by a sample rule: sound ones, one slip, three slips.
Processor time, so that a busy machine does not tell; the median over openings.
Target: at most a tenth of the decode.
"""

# ruff: noqa: E402

from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[_name] = "1"

import argparse
import cProfile
import json
import pstats
import sys
import tempfile
import time
from itertools import product
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import cv2
import numpy as np
from score_photos import request
from speed import decode_s, rendered

from sizing.crosscheck.consistency import cross_check
from sizing.jobs.job import Job, Opening, Reading, Size
from sizing.judging import judge_readings
from sizing.orders.rulefile import load_rule
from sizing.units import parse_length
from vision.estimate import estimate_opening

INCH = 25.4
NAMES = ("width_top", "width_middle", "width_bottom", "height_left", "height_middle", "height_right")
NAMES += ("diagonal_down", "diagonal_up")
SLIPS_MM = (INCH, -INCH, INCH / 2, 10 * INCH, -12 * INCH, 3 * INCH / 4, 41.0)
OPENINGS = 12


def opening_of(rng, measures, slips, *, ordered=True):
    """Return an opening read to 1/16 in with so many slips, with or without an order."""
    off = dict.fromkeys(NAMES, 0.0)
    for name in rng.choice(NAMES, slips, replace=False):
        off[str(name)] = float(rng.choice(SLIPS_MM))
    rows = []
    for name in NAMES:
        sixteenths = round((measures[name] + rng.normal(0.0, 1.0) + off[name]) / (INCH / 16))
        text = f"{sixteenths // 16} {sixteenths % 16}/16"
        rows.append(Reading(name, parse_length(text, "in"), name, tape="class-2"))
    size = Size(parse_length("56", "in"), parse_length("60", "in")) if ordered else None
    return Opening("W1", readings=tuple(rows), ordered=size)


def times_s(openings, answer, rule):
    """Return processor times of cross-checking the openings (n,), the least of two each."""
    job = Job("bench", Path("job.toml"), Path(), "in", "", tuple(openings))
    found = []
    for opening in openings:
        pair = []
        for _ in range(2):
            start = time.process_time()
            judge_readings(job, opening, answer, cross_check(opening, answer), rule)
            pair.append(time.process_time() - start)
        found.append(min(pair))
    return np.array(found)


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--truth", type=Path, help="truth file of a photo; without it one is rendered")
    p.add_argument("--profile", action="store_true")
    a = p.parse_args()
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        file = a.truth or rendered(folder)
        truth = json.loads(file.read_text())
        decode = decode_s(file.parent / truth["photo"])
        answer = estimate_opening(request(truth, file.parent))
    rule = load_rule(ROOT / "sizing" / "data" / "rules" / "louvered-outside.toml")
    rng = np.random.default_rng(2026)
    good = True
    for slips, used in product((0, 1, 3), (None, rule)):
        openings = [opening_of(rng, truth["measures_mm"], slips, ordered=used is not None) for _ in range(OPENINGS)]
        times_s(openings[:2], answer, used)
        found = times_s(openings, answer, used)
        share = 100.0 * np.median(found) / decode
        print(
            f"{slips} slips{', rule and order' if used else ''}: {1e3 * np.median(found):.1f} ms, "
            f"most {1e3 * found.max():.1f} ms; {share:.1f} % of the decode ({1e3 * decode:.0f} ms)"
        )
        good &= share <= 10.0
        if a.profile:
            profile = cProfile.Profile()
            profile.runcall(times_s, openings, answer, used)
            pstats.Stats(profile).sort_stats("tottime").print_stats(25)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()

"""Time and memory of measuring one 12 MP photo, against decoding it, and start of the command against NumPy's.

Usage: python tests/bench/speed.py [--truth FILE] [--profile]
Without a photo one is rendered (4032 x 3024, about a minute). One core; imports are apart; processor time, so that a
busy machine does not tell.
Targets: at most 25 decodes, wall lines among them, at most 500 MB, `secondtape --help` under three times
`python -c "import numpy"`.
"""

from __future__ import annotations

import os

# ruff: noqa: E402
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[_name] = "1"

import argparse
import cProfile
import json
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 3


def peak_mb():
    """Return the peak resident memory of this process in MB (Linux counts kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def rendered(folder):
    """Return the truth file of a rendered 12 MP photo with two sheets; made in a process of its own."""
    command = [
        sys.executable,
        "-m",
        "fixtures.calibration",
        "--out",
        folder,
        "--count",
        "1",
        "--width",
        "4032",
    ]
    subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return next(Path(folder).glob("*.truth.json"))


def decode_s(photo):
    """Return the least time of decoding a photo with Pillow."""
    from PIL import Image

    times = []
    for _ in range(RUNS):
        start = time.process_time()
        with Image.open(photo) as picture:
            picture.load()
        times.append(time.process_time() - start)
    return min(times)


def starts():
    """Return the least times of `secondtape --help` and of importing NumPy, s."""
    found = []
    command = Path(sys.executable).with_name("secondtape")
    for line in ([str(command), "--help"], [sys.executable, "-c", "import numpy"]):
        times = []
        for _ in range(5):
            start = time.perf_counter()
            subprocess.run(line, check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
            times.append(time.perf_counter() - start)
        found.append(min(times))
    return found


def measure_photo(truth_file, profile):
    """Print time and memory of one photo in this process."""
    truth = json.loads(truth_file.read_text())
    photo = truth_file.parent / truth["photo"]
    import cv2
    import numpy as np  # noqa: F401

    cv2.setNumThreads(1)
    from score_photos import request

    from vision.estimate import estimate_opening

    imported = peak_mb()
    decode = decode_s(photo)
    decoded = peak_mb()
    asked = request(truth, photo.parent)
    times = []
    for _ in range(RUNS):
        start = time.process_time()
        estimate_opening(asked)
        times.append(time.process_time() - start)
    best = min(times)
    print(f"{photo.name}: decode {decode:.3f} s, measure {best:.2f} s, ratio {best / decode:.1f}")
    print(f"memory: imports {imported:.0f} MB, decoded {decoded:.0f} MB, peak {peak_mb():.0f} MB")
    if profile:
        p = cProfile.Profile()
        p.runcall(estimate_opening, asked)
        pstats.Stats(p).sort_stats("cumulative").print_stats(45)
    return best / decode <= 25 and peak_mb() <= 500


def main():
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--truth", type=Path, help="truth file of a photo; without it one is rendered")
    p.add_argument("--profile", action="store_true")
    a = p.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        good = measure_photo(a.truth or rendered(folder), a.profile)
    command, numpy_s = starts()
    print(f"secondtape --help {command:.2f} s, import numpy {numpy_s:.2f} s, ratio {command / numpy_s:.1f}")
    sys.exit(0 if good and command < 3 * numpy_s else 1)


if __name__ == "__main__":
    main()

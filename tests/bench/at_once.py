"""Wall time of checking many jobs one after another and several at once, and the peak memory of a process.

Usage: python tests/bench/at_once.py [--at-once N...] [--runs R] [--copies C] [JOB...]
Without jobs, copies of the demo job are checked. The least wall time of the runs counts, taken in turn: whatever else
runs on the machine only adds to it. The output must be the same bytes each time.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def copies(folder, count):
    """Return so many copies of the demo job."""
    made = [folder / f"demo-{number:02}" for number in range(count)]
    for place in made:
        shutil.copytree(ROOT / "fixtures" / "demo", place, ignore=shutil.ignore_patterns("secondtape"))
    return made


def timed(jobs, at_once, out):
    """Return wall time in s, processor time in s and peak memory in MB of a check, its output written to `out`."""
    words = [sys.executable, "-m", "sizing.cli", "check", "--jsonl", "--quiet", "--at-once", str(at_once), *jobs]
    start = time.perf_counter()
    with out.open("wb") as stream:
        actions = [(os.POSIX_SPAWN_DUP2, stream.fileno(), 1), (os.POSIX_SPAWN_CLOSE, 2)]
        pid = os.posix_spawn(sys.executable, words, os.environ, file_actions=actions)
        used = os.wait4(pid, 0)[2]  # of all its processes: times in all, memory of the largest (getrusage(2))
    return time.perf_counter() - start, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main():
    """Print a line a number of processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("jobs", nargs="*")
    parser.add_argument("--at-once", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--copies", type=int, default=8)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"SECONDTAPE_DATA": folder, "PYTHONPATH": str(ROOT)}
        jobs = options.jobs or [str(job) for job in copies(Path(folder), options.copies)]
        found = {number: [] for number in options.at_once}
        outputs = set()
        for _ in range(options.runs):
            for number in options.at_once:
                found[number].append(timed(jobs, number, Path(folder) / "out"))
                outputs.add((Path(folder) / "out").read_bytes())
        first = min(found[options.at_once[0]])[0]
        for number, times in found.items():
            wall, peak = min(times)[0], max(mb for *_, mb in times)
            work = min(s for _, s, _ in times)
            print(f"{len(jobs)} jobs, {number} at once: {wall:.1f} s ({first / wall:.2f} x)", end=", ")
            print(f"{work:.1f} s of work, {peak:.0f} MB")
        print("the same output" if len(outputs) == 1 else "OUTPUTS DIFFER")


if __name__ == "__main__":
    main()

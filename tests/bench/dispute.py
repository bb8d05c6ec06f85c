"""How often a dispute names the step that slipped, and whether its probabilities come true; run by hand.

    nice python -m tests.bench.dispute [OPENINGS]

Openings are simulated with sound tapes, photos before and after, a rule that adds 1 in and rounds to 1/8 in, and at
most one slip: of one box, all boxes, the order, the making, or the opening itself. Sizes of slips are not the model's
bells but an eighth to a foot, as people make them.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np

from sizing.dispute.chain import Trace
from sizing.dispute.dispute import trace_direction
from sizing.dispute.steps import load_settings
from sizing.jobs.job import Opening, Reading
from sizing.orders.rules import STATIONS
from sizing.tape import readings_cov_mm2
from sizing.units import Length, parse_length

STEPS = ("none", "reading", "readings", "ordered", "made", "changed")
SLIPS_MM = np.array([3.175, 6.35, 12.7, 19.05, 25.4, 50.8, 254.0, 304.8])
U_PHOTO_MM = 1.0


def length(value_mm: float) -> Length:
    """Return a length read to 1/16 in."""
    return parse_length(f"{round(value_mm / 1.5875) * 1.5875:.4f} mm", "mm")


def simulated(rng: np.random.Generator, step: str, slip_mm: float) -> Trace:
    """Return the chain of one width with a slip in one step."""
    noise = load_settings().noise_mm
    true = rng.uniform(700.0, 1800.0) + rng.normal() * noise["taper"] * np.array([1.0, 0.0, -1.0])
    true[1] += rng.normal() * noise["bow"]
    read = rng.multivariate_normal(true, readings_cov_mm2(true, "class-2", 1.5875, "masonry"))
    if step == "reading":
        read[rng.integers(3)] += slip_mm
    if step == "readings":
        read += slip_mm
    boxes = tuple(
        Reading(name, length(v), name, tape="class-2") for name, v in zip(STATIONS["width"], read, strict=True)
    )
    by_rule = round((max(b.length.mm for b in boxes) + 25.4) / 3.175) * 3.175
    ordered = by_rule + (slip_mm if step == "ordered" else 0.0)
    delivered = ordered + rng.normal() * noise["made"] + (slip_mm if step == "made" else 0.0)
    cov = U_PHOTO_MM**2 * (0.8 + 0.2 * np.eye(3))
    later = true + rng.normal() * noise["after"] + (slip_mm if step == "changed" else 0.0)
    before, after = rng.multivariate_normal(true, cov), rng.multivariate_normal(later, cov)
    return Trace(
        "width", boxes, 0, (), (before, cov), (after, cov), ordered, by_rule, round(delivered / 1.5875) * 1.5875, 0.8
    )


def main(count: int) -> None:
    """Print how often the true step comes first, by size of slip, and how often a stated probability is right."""
    rng, settings, opening = np.random.default_rng(7), load_settings(), Opening("W1")
    first: Counter[tuple[str, float]] = Counter()
    seen: Counter[tuple[str, float]] = Counter()
    said, was = [], []
    for _ in range(count):
        step = STEPS[rng.integers(len(STEPS))]
        slip_mm = float(rng.choice(SLIPS_MM)) * rng.choice([-1.0, 1.0])
        found = trace_direction(simulated(rng, step, slip_mm), opening, None, settings)
        best = found.findings[0]
        named = "none" if best.probability < 0.5 else best.steps[0]
        key = (step, 0.0 if step == "none" else abs(slip_mm))
        seen[key] += 1
        first[key] += named == step
        said += [f.probability for f in found.findings]
        was += [step in f.steps for f in found.findings]
    for step in STEPS:
        sizes = sorted(size for s, size in seen if s == step)
        print(f"{step:9}", "  ".join(f"{size:g} mm: {first[step, size]}/{seen[step, size]}" for size in sizes))
    p, right = np.array(said), np.array(was)
    for low, high in ((0.0, 0.01), (0.01, 0.1), (0.1, 0.5), (0.5, 0.9), (0.9, 0.99), (0.99, 1.01)):
        at = (p >= low) & (p < high)
        if at.any():
            what = f"{at.sum()} times, mean {p[at].mean():.3f}, true {right[at].mean():.3f}"
            print(f"said {low:.2f} to {min(high, 1):.2f}: {what}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)

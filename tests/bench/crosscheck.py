"""How often the cross-check finds, and lays to the right reading, slips in simulated openings.

    python tests/bench/crosscheck.py [TRIALS]

Openings of many sizes, tapered, leaning and bowed; readings by the tape model of `sizing.tape`, measures of a photo
of four qualities (own noise u of each, a scale of 0.1 % in common) and no photo. Simulated from the model that the
cross-check assumes: it shows what the tests can do, not how good the model is.
"""

import sys

import numpy as np

from sizing.crosscheck.adjustment import STATIONS, observations, predict_readings_mm
from sizing.crosscheck.snooping import snoop
from sizing.tape import readings_cov_mm2

INCH = 25.4
QUALITIES = (None, 0.5, 1.0, 2.0, 4.0)


def opening(rng, u_mm):
    """Return observations of a sound opening, drawn from their own covariance."""
    width, height = rng.uniform(500, 2000), rng.uniform(500, 2200)
    shape = np.array([width, width + rng.normal(0, 4), height, height + rng.normal(0, 4), rng.normal(0, 6)])
    lengths = predict_readings_mm(shape)
    tape = readings_cov_mm2(lengths, "class-2", None, "masonry")
    photo = None if u_mm is None else u_mm**2 * np.eye(8) + 0.001**2 * np.outer(lengths, lengths)
    readings = dict(zip(STATIONS, lengths, strict=True))
    return readings, tape, None if photo is None else lengths, photo, rng


def observed(drawn, slips):
    """Return observations with noise and slips (mm by name)."""
    readings, tape, measures, photo, rng = drawn
    made = observations(readings, tape, measures, photo)
    noise = np.linalg.cholesky(made.cov_mm2) @ rng.normal(size=len(made.names))
    said = {n: v + noise[i] + slips.get(n, 0.0) for i, (n, v) in enumerate(readings.items())}
    return observations(said, tape, None if measures is None else measures + noise[8:], photo)


def named(found):
    """Return all readings named, alone or in a group."""
    return {n for o in found.outliers for n in o.group}


def row(u_mm, trials, rng):
    """Return the rates of one quality: false alarms, slips of the least size, inches, and two inches."""
    false = found = pointed = inch = two = 0
    sizes = []
    for _ in range(trials):
        drawn = opening(rng, u_mm)
        sound = snoop(observed(drawn, {}))
        false += bool(sound.outliers) or sound.rejected
        name = STATIONS[rng.integers(6)]
        size = sound.tests[name].mdb_mm
        sizes.append(size)
        least = snoop(observed(drawn, {name: size * rng.choice([-1, 1])}))
        found += bool(least.outliers)
        pointed += name in named(least)
        inch += named(snoop(observed(drawn, {name: INCH}))) == {name}
        a, b = rng.choice(STATIONS[:6], 2, replace=False)
        two += named(snoop(observed(drawn, {a: INCH, b: -INCH}))) == {a, b}
    return [float(np.median(sizes)), *(100.0 * v / trials for v in (false, found, pointed, inch, two))]


def main():
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    rng = np.random.default_rng(2026)
    print(f"{trials} openings a row, seed 2026; percent")
    print("photo u mm  least slip mm  false alarm  least found  in its group  one inch, alone  two inches, alone")
    for u in QUALITIES:
        size, false, found, pointed, inch, two = row(u, trials, rng)
        label = "none" if u is None else f"{u:g}"
        print(f"{label:>10}  {size:13.1f}  {false:11.2f}  {found:11.1f}  {pointed:12.1f}  {inch:15.1f}  {two:17.1f}")


if __name__ == "__main__":
    main()

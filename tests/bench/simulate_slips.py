"""Decisions and explanations on simulated openings with known slips, over qualities of photos.

Usage: python tests/bench/simulate_slips.py [--openings 20000] [--seed 1] [--out FOLDER]
Prints a table; with --out writes it as slips.md and slips.json. One core, about ten milliseconds an opening. The
photos are as the program has stated them (see `slips_drawn.py`) and right by construction; the slips' rates are the
guesses of `sizing/data/slips.toml`.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

# ruff: noqa: E402
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
from slips_drawn import (
    DOUBTS,
    NAMES,
    QUALITIES,
    Drawn,
    do_slip,
    rates,
    root_of,
    sound,
    stated_photos,
    text,
    unknown_slip,
)
from sound_jobs import JOB, JOBS, TOLERANCE, Photos, about_zero, as_practised, sound_jobs, within

from sizing.explaining.hypotheses import Other, Scene
from sizing.explaining.slips import NONE, load_priors
from sizing.explaining.weighed import explain_readings
from vision.request import NINE, Face

# Openings that share a photo's covariance, so that the smallest slip is worked out once.
SHARED = 50
# What is drawn of each hundred openings: sound; slips at the file's rates, three times and a third of them, each kind
# at a rate of its own between; slips that are in no list.
SHARES = {"sound": 30, "rates": 34, "rates x 3": 12, "rates / 3": 12, "rates mixed": 8, "unknown": 4}
BINS = (0.0, 0.5, 0.7, 0.85, 0.95, 0.99, 1.0001)


def slipped(rng, priors, case, what):
    """Return an opening with one slip or more, at the rates of the case."""
    values, marks, other_line = sound(rng, what.photo, what.drawn_tape_cov)
    drawn = Drawn(values, dict(zip(NAMES, marks.tolist(), strict=True)), other_line=other_line)
    if case == "sound":
        return drawn
    if case == "unknown":
        return unknown_slip(rng, drawn, together=rng.random() < 0.5)
    scale = {"rates x 3": 3.0, "rates / 3": 1 / 3}.get(case, 1.0)
    names = {k[0] for _, k in rates(priors, what.photo.metric, {})}
    mixed = {n: float(3.0 ** rng.uniform(-1, 1)) for n in sorted(names)} if case == "rates mixed" else {}
    table = rates(priors, what.photo.metric, mixed)
    weights = np.array([w for w, _ in table])
    # Marks too small to be told are left out of the first draw: nothing would be seen of most openings.
    seen = weights * [k[0] not in ("eighth", "sixteenth") for _, k in table]
    first = True
    for _ in range(1 + int(rng.poisson(scale * weights.sum()))):
        chosen = seen if first else weights
        while True:
            kind = table[int(rng.choice(len(table), p=chosen / chosen.sum()))][1]
            more = do_slip(rng, kind, drawn, what.photo, what.others, what.line_mm)
            if more is not None or not first:
                break
        drawn, first = (more or drawn), False
    return drawn


def explained(drawn, what, priors, wanted):
    """Return the explanations of the readings wanted."""
    values = dict(zip(NINE, drawn.values.tolist(), strict=True))
    face = Face("left jamb, line", {n: values[n] + what.line_mm for n in NAMES[:3]}, 1.0, 0.0)
    metric = what.photo.metric
    scene = Scene(
        drawn.readings,
        values,
        {n: text(v, metric) for n, v in drawn.readings.items()},
        dict.fromkeys(NAMES, "mm" if metric else "in"),
        what.graduation,
        (face,),
        tuple(Other(f"W{k}", o.truth, np.eye(9)) for k, o in enumerate(what.others)),
    )
    return explain_readings(
        scene, what.photo.cov[:8, :8], what.tape_cov, priors, candidates=what.candidates, wanted=wanted
    )


class Tally:
    """Counts by key: how many, and how many of these."""

    def __init__(self):
        self.of = defaultdict(lambda: [0, 0])

    def add(self, key, *right):
        """Count outcomes under a key."""
        for r in np.ravel(right):
            self.of[key][0] += 1
            self.of[key][1] += bool(r)

    def share(self, key):
        """Return the share and how many it rests on; None without any."""
        n, k = self.of[key]
        return (k / n if n else None), n


def judge_decisions(tally, drawn, what, case):
    """Count the verdicts of one opening; return its differences, p and verdicts."""
    readings = np.array([drawn.readings[n] for n in NAMES])
    difference = readings - drawn.values[:8]
    p = what.p_within(difference[None])[0]
    slip = np.array([what.slip[n] for n in NAMES])
    error = readings - what.photo.truth[:8]
    strange = (readings < 100.0) | (readings > 8000.0)
    blind = ~np.isfinite(slip)
    differs = strange | ((p <= 0.05) & ~blind)
    if case == "sound":
        held = bool(differs.any())
        tally.add("a sound opening is held", held)
        tally.add(("held", what.photo.quality), held)
        tally.add(("held by doubt", what.photo.stated.doubt), held)
        tally.add(("held by line", "another" if drawn.other_line else "the traced"), held)
        tally.add(("sent", what.photo.quality), bool((p >= 0.95).all()))
        exact_checks(tally, drawn, what)
    elif case != "unknown" and not any(code == "one-ratio" for code, _ in drawn.slips.values()):
        large = [i for i, n in enumerate(NAMES) if n in drawn.slips and abs(error[i]) >= slip[i]]
        tally.add("a slip of at least the smallest slip differs", differs[large])
        tally.add(("let through", what.photo.quality), (p >= 0.95)[large])
    return difference, slip, differs, p


def exact_checks(tally, drawn, what):
    """Count readings that are off by exactly the tolerance, one u more, and the smallest slip."""
    noise = what.photo.truth[:8] - drawn.values[:8]
    T = np.array([TOLERANCE[n] for n in NAMES])
    u = np.array([what.mixtures[n].u_mm for n in NAMES])
    slip = np.array([what.slip[n] for n in NAMES])
    for sign in (1.0, -1.0):
        p = what.p_within(np.stack([noise + sign * T, noise + sign * (T + u), noise + sign * slip]))
        tally.add("off by the tolerance agrees", p[0] >= 0.95)
        tally.add("off by the tolerance and one u agrees", p[1] >= 0.95)
        tally.add("off by the smallest slip differs", (p[2] <= 0.05)[np.isfinite(slip)])


def judge_explanations(tally, drawn, what, priors, case, difference, slip, noticed):
    """Count how explanations of one opening compare with what was done to it."""
    wanted = {n for n, seen in zip(NAMES, noticed, strict=True) if seen}
    if not wanted:
        return
    found = explained(drawn, what, priors, wanted)
    for i, name in enumerate(NAMES):
        if name not in wanted or abs(difference[i]) < slip[i]:
            continue
        top = found[name][0]
        if case == "sound":
            continue
        true, shift = drawn.slips.get(name, (NONE, None))
        named = top.slip == true and (shift is None or top.shift_mm is None or abs(top.shift_mm - shift) < 1.0)
        fits = named or (shift is not None and top.shift_mm is not None and abs(top.shift_mm - shift) < 1.0)
        if case == "unknown":
            tally.add("unknown kind: 'none of these' first", top.slip == NONE)
            continue
        if true != NONE:
            tally.add(("first", case), named)
            tally.add(("fits", case), fits)
        tally.add(("code", true), named)
        b = int(np.searchsorted(BINS, top.probability, side="right")) - 1
        tally.add(("bin", case, b), named)
        if top.probability >= 0.85 and top.probability < 0.95:
            tally.add(("at 90 %", case), named)


def more_photos(rng, tally, what, count):
    """Count decisions with one photo and with two of the same opening, print scale shared, the rest independent."""
    photo = what.photo
    scale = photo.stated.print_scale
    shared = np.outer(scale, scale)
    half = shared + (photo.cov - shared) / 2
    own = root_of(photo.cov - shared)
    common = scale[:, None] * rng.normal(size=count)
    first, second = own @ rng.normal(size=(9, count)), own @ rng.normal(size=(9, count))
    off = rng.choice([0.0, 0.0, 12.7, 25.4, -12.7], size=(8, count))
    tape = np.linalg.cholesky(what.tape_cov) @ rng.normal(size=(8, count))
    for key, noise, cov in (("one", common + first, photo.cov), ("two", common + (first + second) / 2, half)):
        for i, n in enumerate(NAMES):
            mixture = about_zero(photo.truth, cov, (), n)
            p = within(tape[i] + off[i] - noise[i], mixture, TOLERANCE[n])
            bad = np.abs(off[i] + tape[i]) > TOLERANCE[n]
            tally.add((key, "sound agrees"), p[~bad] >= 0.95)
            tally.add((key, "sound differs"), p[~bad] <= 0.05)
            tally.add((key, "bad differs"), p[bad] <= 0.05)
            tally.add((key, "bad agrees"), p[bad] >= 0.95)


def simulate(openings, seed, progress=None):
    """Return the tally over so many openings; the same seed gives the same. `progress` is called with each batch."""
    rng = np.random.default_rng(seed)
    priors = load_priors()
    tally = Tally()
    cases = [c for c, n in SHARES.items() for _ in range(n)]
    qualities = list(QUALITIES)
    for batch in range(max(openings // SHARED, 1)):
        if progress:
            progress(batch * SHARED, tally)
        quality = qualities[batch % len(qualities)]
        # One photo after the other, so that chance does not choose how many weak ones there are.
        photos = stated_photos()[quality]
        what = Photos(rng, quality, photos[(batch // len(qualities)) % len(photos)])
        more_photos(rng, tally, what, 20)
        for _ in range(min(SHARED, openings)):
            case = cases[int(rng.integers(len(cases)))]
            drawn = slipped(rng, priors, case, what)
            difference, slip, _, p = judge_decisions(tally, drawn, what, case)
            # As `explain`: whatever does not agree.
            judge_explanations(tally, drawn, what, priors, case, difference, slip, p < 0.95)
    jobs = min(JOBS, max(openings // JOB, 1))
    for key, only in (
        ("a sound job of twelve is held", None),
        ("a sound job of twelve is held, no warning", DOUBTS[0]),
    ):
        sound_jobs(tally, np.random.default_rng(seed + 1), jobs, key, only)
    as_practised(tally, np.random.default_rng(seed + 2), jobs)
    return tally


# Key, words, target: at least (+) or at most (-).
_TARGETS = (
    ("a slip of at least the smallest slip differs", 0.95, 1),
    ("off by the smallest slip differs", 0.95, 1),
    ("off by the tolerance agrees", 0.05, -1),
    ("off by the tolerance and one u agrees", 0.005, -1),
    ("a sound opening is held", 0.005, -1),
    ("a sound job of twelve is held", 0.03, -1),
    ("a sound job of twelve is held, no warning", 0.03, -1),
    ("a sound opening is held, kits and walls as in practice", 0.005, -1),
    ("a sound job of twelve is held, kits and walls as in practice", 0.03, -1),
    ("unknown kind: 'none of these' first", 0.70, 1),
)


def rows_of(tally):
    """Return the rows of the summary: what, target, found, how many."""
    rows = []
    for key, target, way in _TARGETS:
        share, n = tally.share(key)
        rows.append((key, f"{'>=' if way > 0 else '<='} {100 * target:g} %", share, n))
    for case in ("rates", "rates x 3", "rates / 3", "rates mixed"):
        rows.append((f"{case}: true slip first", ">= 85 %", *tally.share(("first", case))))
        rows.append((f"{case}: size put forward is right", "", *tally.share(("fits", case))))
        rows.append((f"{case}: right where 85 to 95 % sure", "about 90 %", *tally.share(("at 90 %", case))))
    for b, (low, high) in enumerate(pairwise(BINS)):
        title = f"rates: right where {100 * low:.0f} to {min(100 * high, 100):.0f} % sure"
        rows.append((title, "", *tally.share(("bin", "rates", b))))
    for what in ("sound agrees", "sound differs", "bad differs", "bad agrees"):
        for key in ("one", "two"):
            rows.append((f"{key} photo{'s' if key == 'two' else ''}: {what}", "", *tally.share((key, what))))
    for quality in QUALITIES:
        rows.append((f"{quality}: sound opening held", "<= 0.5 %", *tally.share(("held", quality))))
        for key in ("a sound job of twelve is held", "a sound job of twelve is held, no warning"):
            rows.append((f"{quality}: {key}", "<= 3 %", *tally.share((key, quality))))
        rows.append((f"{quality}: sound opening may be ordered", "", *tally.share(("sent", quality))))
        rows.append((f"{quality}: large slip agrees", "", *tally.share(("let through", quality))))
    for doubt in DOUBTS:
        rows.append((f"photo with {doubt}: sound opening held", "<= 0.5 %", *tally.share(("held by doubt", doubt))))
    for line in ("the traced", "another"):
        title = f"sound opening held where {line} line is the true one"
        rows.append((title, "", *tally.share(("held by line", line))))
    codes = sorted(key[1] for key in tally.of if key[0] == "code")
    rows += [(f"first, of {code}", "", *tally.share(("code", code))) for code in codes]
    return rows


def as_markdown(rows):
    """Return the summary as a table."""
    lines = ["| what | target | found | of |", "|---|---|---|---|"]
    for what, target, share, n in rows:
        lines.append(f"| {what} | {target} | {'-' if share is None else f'{100 * share:.2f} %'} | {n} |")
    return "\n".join(lines)


def main():
    """Run and report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--openings", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path)
    args = parser.parse_args()

    def progress(done, tally):
        if done % 2000 == 0 and done:
            report(tally, args, done)

    tally = simulate(args.openings, args.seed, progress)
    report(tally, args, args.openings)
    print(as_markdown(rows_of(tally)))


def report(tally, args, done):
    """Write what was found so far."""
    print(f"{done} openings", file=sys.stderr)
    if args.out:
        rows = rows_of(tally)
        args.out.mkdir(parents=True, exist_ok=True)
        (args.out / "slips.md").write_text(as_markdown(rows) + "\n", encoding="utf-8")
        found = [{"what": w, "target": t, "share": s, "of": n} for w, t, s, n in rows]
        document = {"openings": done, "seed": args.seed, "rows": found}
        (args.out / "slips.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

"""Photos as the program stated them, ready to judge by; sound jobs of twelve openings and how often they are held."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from slips_drawn import INCH, NAMES, QUALITIES, draw_photo, root_of, stated_photos, wrong_lines

from sizing.conformance import probabilities, smallest_slips
from sizing.mixture import mixture_of
from sizing.tape import reading_noise_mm, readings_cov_mm2, tape_parts_mm
from vision.request import Candidate

TOLERANCE = {n: 12.7 if n.startswith("diagonal") else 6.35 for n in NAMES}
# Jobs of so many sound openings: one kit and one print run, one tape, one kind of wall.
JOB, JOBS = 12, 4000
# Sheets and walls of the 24 photos for practice that show sheets (their truth files); nobody else has counted.
PRACTICE = {
    ("two sheets", "masonry"): 11,
    ("two sheets", "siding"): 6,
    ("two sheets", "render"): 1,
    ("one sheet", "masonry"): 4,
    ("one sheet", "siding"): 2,
}


def about_zero(values_mm, cov_mm2, candidates, name):
    """Return what a photo knows of one measure, less its best value."""
    mixture = mixture_of(values_mm, cov_mm2, candidates, name)
    return replace(mixture, value_mm=0.0, means_mm=mixture.means_mm - mixture.value_mm)


def within(differences, mixture, tolerance):
    """Return p (n,) of readings that differ (n,) mm from what a photo knows of one measure."""
    n = len(differences)
    return probabilities(differences, [mixture] * n, np.full(n, tolerance), np.full(n, tolerance))[0]


class Photos:
    """One photo's knowledge with what follows from it: mixtures about zero and smallest slips by reading."""

    def __init__(self, rng, quality, stated=None):
        self.photo = draw_photo(rng, quality, stated)
        self.candidates = tuple(Candidate(*c) for c in self.photo.stated.candidates)
        self.mixtures = {n: about_zero(self.photo.truth, self.photo.cov, self.candidates, n) for n in NAMES}
        self.graduation = 1.0 if self.photo.metric else INCH / 16
        self.tape_cov = readings_cov_mm2(self.photo.truth[:8], "class-2", self.graduation, "masonry")
        own = np.eye(8) * (self.graduation**2 / 12)
        self.drawn_tape_cov = self.tape_cov - own + 1e-9 * np.eye(8)
        self.line_mm = float(rng.uniform(15, 90))
        self.others = [draw_photo(rng, quality) for _ in range(3)]

    @cached_property
    def slip(self):
        """Smallest slip by reading, mm: worked out for photos that are drawn."""
        tolerance = np.array([TOLERANCE[n] for n in NAMES])
        return dict(zip(NAMES, smallest_slips([self.mixtures[n] for n in NAMES], tolerance, tolerance), strict=True))

    def p_within(self, differences):
        """Return p (n, 8) of differences reading minus photo (n, 8), mm."""
        columns = [within(differences[:, i], self.mixtures[n], TOLERANCE[n]) for i, n in enumerate(NAMES)]
        return np.stack(columns, axis=1)


def sound_jobs(tally, rng, count, key, only=None):
    """Count sound jobs of twelve that are held: a print scale, a tape's zero and scale are one for a job.

    The wall is one kind in a job, each as often as among the photos of the kit; `only` photos of that doubt.
    """
    sets, kits = {}, {q: [s for s in photos if only in (None, s.doubt)] for q, photos in stated_photos().items()}
    for quality, photos in kits.items():
        for stated in photos:
            sets.setdefault((quality, stated.wall), []).append(Photos(rng, quality, stated))
    for job in range(count):
        quality = QUALITIES[job % len(QUALITIES)]
        photos = kits[quality]
        wall = photos[int(rng.integers(len(photos)))].wall
        held = any(sound_job(rng, sets[quality, wall]))
        tally.add(key, held)
        tally.add((key, quality), held)


def sound_job(rng, whats):
    """Return which openings of a sound job of twelve are held; their photos are drawn from `whats`."""
    print_scale, zero, blade = rng.normal(size=3)
    held = []
    for k in rng.integers(len(whats), size=JOB):
        what = whats[k]
        p = what.p_within(sound_difference(rng, what, print_scale, zero, blade)[None])[0]
        blind = ~np.isfinite([what.slip[n] for n in NAMES])
        held.append(bool(((p <= 0.05) & ~blind).any()))
    return held


def as_practised(tally, rng, count):
    """Count sound jobs whose sheets and walls are as in the photos for practice; bars measured in every second."""
    sets = {}
    for quality, photos in stated_photos().items():
        for stated in photos:
            sets.setdefault((quality, stated.wall), []).append(Photos(rng, quality, stated))
    kinds, weights = list(PRACTICE), np.array(list(PRACTICE.values()), dtype=float)
    for job in range(count):
        sheets, wall = kinds[int(rng.choice(len(kinds), p=weights / weights.sum()))]
        held = sound_job(rng, sets[sheets + (", bars measured" if job % 2 else ""), wall])
        tally.add("a sound opening is held, kits and walls as in practice", held)
        tally.add("a sound job of twelve is held, kits and walls as in practice", any(held))


def sound_difference(rng, what, print_scale, zero, blade):
    """Return sound readings minus the photo's measures (8,), mm; what a job shares is given in units of its sd."""
    photo, truth = what.photo, what.photo.truth
    scale = photo.stated.print_scale
    own = root_of(photo.cov - np.outer(scale, scale)) @ rng.normal(size=9)
    values = truth + scale * print_scale + own - wrong_lines(rng, photo)
    u_zero, u_blade = tape_parts_mm(truth[:8], "class-2")
    placed = [reading_noise_mm(float(v), 1e-9, "masonry") for v in truth[:8]]
    readings = truth[:8] + zero * u_zero + blade * u_blade + placed * rng.normal(size=8)
    step = what.graduation
    return np.round(readings / step) * step - values[:8]

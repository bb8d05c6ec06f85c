"""Photos proposed for openings: by when they were taken, and by how well what they show fits the typed readings.

A proposal says how sure it is and assigns nothing; a person does, or does not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from sizing.crosscheck.adjustment import STATIONS
from sizing.crosscheck.assignment import LEAST_READINGS, log_likelihood_of
from sizing.crosscheck.consistency import cov_of_readings_mm2, expected_lengths_mm, sound_readings
from sizing.jobs.job import Opening
from vision.request import Estimate

# Guess: nobody packs up, walks to the next opening and tapes sheets there in less; at one opening photos follow faster.
GAP = timedelta(seconds=60)
# Guess: openings are 0.3 to 3 m wide and high, each size as likely; further readings of one lie within so much of the
# first. It is what the readings would be if the photo told nothing of them.
_RANGE_MM, _SPREAD_MM = 2700.0, 15.0
# Guess: frames and trims stand 20 to 60 mm beside the edge that the tape touches.
ANOTHER_LINE_MM = 30.0
# Below this a proposal is not made.
LEAST_SURE = 0.5
# A reading further off than both is named beside the proposal: so many joint standard uncertainties, and half an inch
# (taste).
_OFF, _OFF_MM = 3.0, 12.7

Basis = Literal["fit", "time"]


@dataclass(frozen=True, slots=True)
class Taken:
    """A photo with the camera's time of it, ISO 8601 without zone, None where the camera wrote none."""

    photo: str
    at: str | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """A photo that may belong to an opening: on what basis, how probable, and beside which photo it was taken.

    `probability` is None for a proposal by time: habits of crews are no statistics. `off` names readings that the photo
    does not bear out: an opening may be the likeliest with slips among its readings.
    """

    photo: str
    label: str
    basis: Basis
    probability: float | None = None
    beside: str = ""
    gap_s: float = 0.0
    off: tuple[str, ...] = ()


def groups_by_time(photos: Sequence[Taken], gap: timedelta = GAP) -> tuple[tuple[Taken, ...], ...]:
    """Return the photos with a time in groups, in order: within one no pause is longer than `gap`."""
    timed = sorted(((at, p) for p in photos if (at := _time(p.at)) is not None), key=lambda one: (one[0], one[1].photo))
    groups: list[list[Taken]] = []
    last: datetime | None = None
    for at, photo in timed:
        if last is None or at - last > gap:
            groups.append([])
        groups[-1].append(photo)
        last = at
    return tuple(tuple(group) for group in groups)


def by_time(
    photos: Sequence[Taken], given: Mapping[str, Sequence[str]], labels: Sequence[str], gap: timedelta = GAP
) -> tuple[Proposal, ...]:
    """Return proposals for photos that no opening has, by the pauses between them.

    Parameters
    ----------
    photos : all photos of the job.
    given : mapping
        Labels of the openings that a photo is given to already, by photo; empty for one that is not used.
    labels : openings of the job in the file's order.
    gap : the pause that parts openings.

    Notes
    -----
    A photo in one group with photos of one opening is proposed for that. Where nothing is given yet and there are as
    many groups as openings, and more than one, the order of the file is proposed for the order of time.
    """
    groups = groups_by_time(photos, gap)
    found: list[Proposal] = []
    for group in groups:
        owners = {label for photo in group for label in given.get(photo.photo, ())}
        if len(owners) != 1:
            continue
        near = [p for p in group if given.get(p.photo)]
        for photo in group:
            if not given.get(photo.photo):
                beside = min(near, key=lambda other: abs(_seconds(photo, other)))
                gap_s = abs(_seconds(photo, beside))
                found.append(Proposal(photo.photo, next(iter(owners)), "time", beside=beside.photo, gap_s=gap_s))
    if not any(given.values()) and len(groups) == len(labels) > 1:
        for group, label in zip(groups, labels, strict=True):
            found += [Proposal(photo.photo, label, "time") for photo in group]
    return tuple(found)


def by_fit(photo: str, estimate: Estimate, openings: Sequence[Opening]) -> tuple[Proposal, ...]:
    """Return the openings whose readings fit what a photo shows, most probable first; those at least `LEAST_SURE`.

    Notes
    -----
    Bayes: every opening with three readings or more, and 'none of these', are equally probable before. The readings of
    an opening weigh by their density with the photo's measures over their density without it
    (`sizing.crosscheck.assignment`, slips and rival edges counted in). Two openings of one size share the probability,
    so that neither may be proposed.
    """
    return by_fit_of_each(photo, [(opening, estimate) for opening in openings])


def by_fit_of_each(photo: str, measured: Sequence[tuple[Opening, Estimate]]) -> tuple[Proposal, ...]:
    """Return as `by_fit`, with the photo measured for each opening by its own wall and depths of edges."""
    scores: dict[str, float] = {}
    for opening, estimate in measured:
        fit = log_likelihood_of(opening, estimate)
        if fit is not None:
            scores[opening.label] = fit - _log_without_photo(opening)
    if not scores:
        return ()
    top = max(0.0, *scores.values())
    whole = math.exp(-top) + sum(math.exp(s - top) for s in scores.values())
    sure = {label: math.exp(s - top) / whole for label, s in scores.items()}
    likely = sorted((label for label in sure if sure[label] >= LEAST_SURE), key=lambda label: -sure[label])
    off = {opening.label: _off(opening, estimate) for opening, estimate in measured}
    return tuple(Proposal(photo, label, "fit", sure[label], off=off[label]) for label in likely)


def _off(opening: Opening, estimate: Estimate) -> tuple[str, ...]:
    """Return the names of an opening's readings that are far from what the photo shows, in their order."""
    readings = sound_readings(opening)
    rows = [STATIONS.index(r.name) for r in readings]
    difference = np.array(list(expected_lengths_mm(readings).values())) - estimate.values_mm[rows]
    u = np.sqrt(np.diag(cov_of_readings_mm2(readings, opening)) + np.diag(estimate.cov_mm2)[rows])
    far = np.abs(difference) > np.maximum(_OFF * u, _OFF_MM)
    return tuple(r.name for r, is_far in zip(readings, far, strict=True) if is_far)


def loosened(estimate: Estimate) -> Estimate:
    """Return measures of an outline that was found but that nobody confirmed, unsure enough to compare, never to judge.

    Each side may be another line of the opening: frame, trim or reveal instead of the edge.
    """
    values = estimate.values_mm
    width, height = float(values[:3].mean()), float(values[3:6].mean())
    slant = np.array([width, height]) / max(float(np.hypot(width, height)), 1.0)
    sides = np.zeros((9, 4))  # head, right, sill, left outward
    sides[:3, [1, 3]] = 1.0
    sides[3:6, [0, 2]] = 1.0
    sides[6:8, [1, 3]], sides[6:8, [0, 2]] = slant
    return replace(estimate, cov_mm2=estimate.cov_mm2 + ANOTHER_LINE_MM**2 * sides @ sides.T, candidates=())


def comparable(openings: Sequence[Opening]) -> tuple[str, ...]:
    """Return the openings with enough readings for a photo to be compared with them."""
    return tuple(o.label for o in openings if len(sound_readings(o)) >= LEAST_READINGS)


def twins(photo: str, estimate: Estimate, openings: Sequence[Opening]) -> tuple[str, ...]:
    """Return the openings, two or more, that a photo fits alike so that their sizes cannot tell which it shows."""
    return twins_of_each(photo, [(opening, estimate) for opening in openings])


def twins_of_each(photo: str, measured: Sequence[tuple[Opening, Estimate]]) -> tuple[str, ...]:
    """Return as `twins`, with the photo measured for each opening."""
    fits = {o.label: f - _log_without_photo(o) for o, e in measured if (f := log_likelihood_of(o, e)) is not None}
    good = [label for label, fit in fits.items() if fit > 0 and fit > max(fits.values()) - math.log(9.0)]
    return tuple(good) if len(good) > 1 and not by_fit_of_each(photo, measured) else ()


def _log_without_photo(opening: Opening) -> float:
    """Return the log density of an opening's readings when nothing is known of it."""
    density, seen = 0.0, set[str]()
    for reading in sound_readings(opening):
        kind = reading.name.partition("_")[0]
        first = kind not in seen and kind != "diagonal"
        seen.add(kind)
        density -= math.log(_RANGE_MM) if first else math.log(_SPREAD_MM * math.sqrt(2.0 * math.pi * math.e))
    return density


def _time(text: str | None) -> datetime | None:
    if not text:
        return None
    try:
        return datetime.fromisoformat(text[:19])
    except ValueError:
        return None


def _seconds(one: Taken, other: Taken) -> float:
    a, b = _time(one.at), _time(other.at)
    return (a - b).total_seconds() if a is not None and b is not None else math.inf

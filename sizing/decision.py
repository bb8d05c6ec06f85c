"""The error of a reading judged by the photo: verdicts of readings, openings and jobs.

The rule is the contract's: p = P(-under <= reading - opening <= over) by the photo alone with a flat prior.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.special import ndtr

from sizing.conformance import P_DIFFERS, probabilities, smallest_slips
from sizing.mixture import Mixture, gaussian, mixture_of
from sizing.units import READING_FROM_MM, READING_TO_MM

__all__ = [
    "REQUIRED",
    "Judgement",
    "Mixture",
    "OpeningVerdict",
    "ReadingVerdict",
    "Verdict",
    "gaussian",
    "job_verdict",
    "judge_measured",
    "judge_opening",
    "judge_reading",
    "judge_without_photo",
    "missing_readings",
    "mixture_of",
    "verdict_by_one_line",
]

ReadingVerdict = Literal["agrees", "differs", "unproven"]
Verdict = Literal["send", "hold", "unproven"]

# Contract, Decision.
P_AGREES = 0.95
# Contract, Decision: `send` needs these or proof that an absent one changes nothing.
REQUIRED = ("width_top", "width_middle", "width_bottom", "height_left", "height_middle", "height_right")


@dataclass(frozen=True, slots=True)
class Judgement:
    """One reading judged by the photo; values are None without one.

    `p_short`, `p_long`: probability that it is too short, too long beyond the tolerance. `risk_if_ordered` is
    that of harm if it is used, `risk_if_stopped` that it was sound after all (the two risks of JCGM 106).
    `blind`: the photo is too weak to tell any reading from any other.
    """

    verdict: ReadingVerdict
    reading_mm: float
    photo_mm: float | None = None
    difference_mm: float | None = None
    U95_mm: float | None = None
    e_n: float | None = None
    p_within: float | None = None
    p_short: float | None = None
    p_long: float | None = None
    risk_if_ordered: float | None = None
    risk_if_stopped: float | None = None
    smallest_slip_mm: float | None = None
    blind: bool = False
    out_of_range: bool = False


@dataclass(frozen=True, slots=True)
class OpeningVerdict:
    """Verdict of an opening, the code of its reason, and the names (readings, problems) that carry it.

    `facts`: `order_problems` and `missing` readings, whether they carry the verdict or not.
    """

    verdict: Verdict
    why: str
    names: tuple[str, ...] = ()
    facts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def judge_reading(
    reading_mm: float, mixture: Mixture, under_mm: float, over_mm: float, u_tape_mm: float = 0.0
) -> Judgement:
    """Return the verdict of the photo on one reading.

    Parameters
    ----------
    reading_mm : the reading as a number, mm; the tape's uncertainty is not in p.
    mixture : what the photo knows of that measure.
    under_mm, over_mm : tolerance below and above, mm, not negative.
    u_tape_mm : standard uncertainty of the reading, for `e_n` alone.

    Returns
    -------
    Judgement
        `agrees` when p >= 0.95, `differs` when p <= 0.05, else `unproven`.

    Notes
    -----
    When u is so large that p <= 0.05 for every possible reading, a low p says nothing against this one: it
    stays `unproven` (`blind`, smallest slip infinite). A reading under 100 mm or over 8 m `differs` whatever
    the photo says.

    References
    ----------
    Contract, *Decision*; JCGM 106:2012, conformance probability and risks on both sides; E_n: ISO 13528:2022.
    """
    return judge_measured([reading_mm], [mixture], [(under_mm, over_mm)], [u_tape_mm])[0]


def judge_measured(
    readings_mm: Sequence[float],
    mixtures: Sequence[Mixture],
    tolerances_mm: Sequence[tuple[float, float]],
    u_tapes_mm: Sequence[float],
) -> list[Judgement]:
    """Return the verdicts of the photo on several readings, worked out at once; each as `judge_reading` says."""
    if not readings_mm:
        return []
    read = np.asarray(readings_mm, dtype=np.float64)
    tolerance = np.asarray(tolerances_mm, dtype=np.float64)
    under, over = tolerance[:, 0], tolerance[:, 1]
    within, short, long = (p.tolist() for p in probabilities(read, mixtures, under, over))
    slips = smallest_slips(mixtures, under, over).tolist()
    found = []
    for k, mixture in enumerate(mixtures):
        reading, p, slip = float(readings_mm[k]), within[k], slips[k]
        blind = slip == float("inf")
        strange = not READING_FROM_MM <= reading <= READING_TO_MM
        difference = reading - mixture.value_mm
        found.append(
            Judgement(
                verdict=_verdict(p, strange=strange, blind=blind),
                reading_mm=reading,
                photo_mm=mixture.value_mm,
                difference_mm=difference,
                U95_mm=2.0 * mixture.u_mm,
                e_n=abs(difference) / max(2.0 * math.hypot(mixture.u_mm, u_tapes_mm[k]), 1e-9),
                p_within=p,
                p_short=short[k],
                p_long=long[k],
                risk_if_ordered=1.0 - p,
                risk_if_stopped=p,
                smallest_slip_mm=slip,
                blind=blind,
                out_of_range=strange,
            )
        )
    return found


def verdict_by_one_line(
    reading_mm: float, value_mm: float, u_mm: float, under_mm: float, over_mm: float
) -> ReadingVerdict:
    """Return the verdict on a reading were the traced edges beyond doubt: as `judge_reading` on one Gaussian.

    Parameters
    ----------
    reading_mm, value_mm, u_mm : the reading, the measure and its standard uncertainty, mm.
    under_mm, over_mm : tolerance below and above, mm, not negative.
    """
    # The reading most probable of all lies in the middle of the tolerance; where that is improbable all are.
    half, u = 0.5 * (under_mm + over_mm), max(u_mm, 1e-9)
    away = abs(reading_mm - value_mm - 0.5 * (over_mm - under_mm))
    p = float(ndtr((half - away) / u) - ndtr((-half - away) / u))
    most = float(ndtr(half / u) - ndtr(-half / u))
    strange = not READING_FROM_MM <= reading_mm <= READING_TO_MM
    return _verdict(p, strange=strange, blind=most <= P_DIFFERS)


def _verdict(p: float, *, strange: bool, blind: bool) -> ReadingVerdict:
    if strange or (p <= P_DIFFERS and not blind):
        return "differs"
    return "agrees" if p >= P_AGREES else "unproven"


def judge_without_photo(reading_mm: float) -> Judgement:
    """Return `unproven`, or `differs` for a length under 100 mm or over 8 m, which no opening has."""
    strange = not READING_FROM_MM <= reading_mm <= READING_TO_MM
    return Judgement("differs" if strange else "unproven", reading_mm, out_of_range=strange)


def missing_readings(present: Collection[str], harmless: Collection[str] = ()) -> tuple[str, ...]:
    """Return the required readings neither present nor shown (p >= 0.95) not to change the ordered size."""
    return tuple(n for n in REQUIRED if n not in present and n not in harmless)


def judge_opening(
    judgements: Mapping[str, Judgement],
    *,
    counts: Mapping[str, bool] | None = None,
    missing: Sequence[str] = (),
    order_problems: Sequence[str] = (),
    has_photo: bool = True,
    inconsistent: Sequence[str] = (),
) -> OpeningVerdict:
    """Return the verdict of one opening from the verdicts of its readings.

    Parameters
    ----------
    judgements : by name of the reading.
    counts : False for a reading that cannot change the ordered size; absent names count.
    missing : required readings absent without proof that they change nothing (`missing_readings`).
    order_problems : codes of problems of the order.
    has_photo : a photo gave measures.
    inconsistent : group named by the joint test of the readings at 0.001; decides only without a photo.

    Returns
    -------
    OpeningVerdict
        `why` is one of order-problem, reading-differs, readings-inconsistent, no-photo, reading-unproven,
        readings-missing, all-agree, agree-that-count (others do not, but cannot change the order; they are its names).

    References
    ----------
    Contract, *Decision*.
    """
    counting = {n: j for n, j in judgements.items() if counts is None or counts.get(n, True)}
    differs = tuple(n for n, j in counting.items() if j.verdict == "differs")
    unproven = tuple(n for n, j in counting.items() if j.verdict == "unproven")
    facts = {"order_problems": tuple(order_problems), "missing": tuple(missing)}
    steps: tuple[tuple[bool, Verdict, str, tuple[str, ...]], ...] = (
        (bool(differs), "hold", "reading-differs", differs),
        (bool(order_problems), "hold", "order-problem", tuple(order_problems)),
        (not has_photo and bool(inconsistent), "hold", "readings-inconsistent", tuple(inconsistent)),
        (not has_photo, "unproven", "no-photo", ()),
        (bool(unproven), "unproven", "reading-unproven", unproven),
        (bool(missing) or not judgements, "unproven", "readings-missing", tuple(missing)),
    )
    for applies, verdict, why, names in steps:
        if applies:
            return OpeningVerdict(verdict, why, names, facts)
    idle = tuple(n for n, j in judgements.items() if j.verdict != "agrees")
    if idle:
        return OpeningVerdict("send", "agree-that-count", idle, facts)
    return OpeningVerdict("send", "all-agree", tuple(counting), facts)


def job_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """Return hold if any opening is on hold, else unproven if any is (or there is none), else send."""
    found = set(verdicts)
    if "hold" in found:
        return "hold"
    return "send" if found == {"send"} else "unproven"

"""Readings of the tape as JSON: what was said, how it was judged, what probably slipped."""

from __future__ import annotations

from sizing.jobs.job import Reading
from sizing.json_values import Document, cleaned, rounded, rounded_mm, three_digits
from sizing.judging import ReadingResult
from sizing.messages.slips import slip_says
from sizing.result.crosscheck import reading_test_document
from sizing.result.orders import not_held_document
from sizing.result.values import P_DIGITS
from sizing.units import Unit


def reading_document(result: ReadingResult, units: Unit) -> Document:
    """Return one reading against the photo, with its test and what probably happened to it; `units` of the words."""
    judged = result.judgement
    document: Document = {
        **said_document(result.reading),
        "photo_mm": rounded_mm(judged.photo_mm),
        "difference_mm": rounded_mm(judged.difference_mm),
        "U95_mm": rounded_mm(judged.U95_mm),
        "e_n": rounded(judged.e_n, 2),
        "p_within": rounded(judged.p_within, P_DIGITS),
        "smallest_slip_mm": rounded_mm(judged.smallest_slip_mm),
        "verdict": judged.verdict,
        "holds": result.holds,
        "edge_decides": bool(result.deciding),
        **not_held_document(result.reading.name, judged.verdict, result.p_changes),
        "risk_if_ordered": rounded(judged.risk_if_ordered, P_DIGITS),
        "risk_if_stopped": rounded(judged.risk_if_stopped, P_DIGITS),
        **reading_test_document(result.test),
    }
    document["likely"] = [
        {
            "slip": e.slip,
            "probability": rounded(e.probability, P_DIGITS),
            "likelihood_ratio": three_digits(e.likelihood_ratio),
            "corrected_mm": rounded_mm(e.corrected_mm),
            "says": slip_says(e.slip, e.shift_mm, e.corrected_mm, e.facts, units),
            **({"facts": dict(e.facts)} if e.facts else {}),
        }
        for e in result.likely
    ]
    return document


def said_document(reading: Reading) -> Document:
    """Return what the tape said, as from outside, and how it was written."""
    document: Document = {
        "name": reading.name,
        "tape_mm": rounded_mm(reading.length.mm),
        "as_written": reading.length.as_written,
    }
    if reading.as_named != reading.name:
        document["as_named"] = reading.as_named
    tape = reading.tape if reading.tape != "unknown" else None
    known = {"by": reading.by, "on": reading.on, "visit": reading.visit, "tape": tape}
    return document | {key: cleaned(value) for key, value in known.items() if value}

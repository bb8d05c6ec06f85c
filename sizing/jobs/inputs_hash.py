"""The hash of one opening's inputs: what a person's decision rests on, so that a changed input makes it stale.

Taken are the values, not their spelling: `54 3/8` and `54.375 in` are one reading, and a photo that was
renamed is the same photo. What arrives later (`delivered`) is no input of an order, nor is another opening.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import astuple
from pathlib import Path

from sizing.jobs.job import Job, Opening, PhotoEntry, Reading, Size
from sizing.plain_json import plain_json
from sizing.regularfile import regular_sha256

_FORM = "secondtape/inputs/1"


def inputs_sha256(
    job: Job,
    opening: Opening,
    photo_sha256: Sequence[str],
    document_sha256: Sequence[str] = (),
    rule_sha256: str = "",
    lens_sha256: Sequence[str] = (),
) -> str:
    """Return the SHA-256 of what one opening is judged and ordered by, as 64 hex digits.

    Parameters
    ----------
    job : Job
        Its id and tolerance count; its units do not, as lengths are taken in mm.
    opening : Opening
        Readings in force and superseded, photos with their corners, reference, wall, rule, order, notes.
    photo_sha256, document_sha256 : sequence of str
        SHA-256 of each photo and document in the opening's order, empty where a file cannot be read.
    rule_sha256 : str
        SHA-256 of the sizing rule's file, empty without one.
    lens_sha256 : sequence of str
        SHA-256 of each camera profile that applied.

    Notes
    -----
    JSON with sorted keys and without spaces, floats as their shortest repr, lengths as exact fractions of a
    mm; hence the same on any machine.
    """
    listed = list(zip(opening.photos, _padded(photo_sha256, len(opening.photos)), strict=True))
    # As in `job.opening_request`: photos from afterwards are no part of a check that has others.
    early = [(p, s) for p, s in listed if p.when != "after"]
    photos = [_photo(p, s) for p, s in early or listed]
    papers = _padded(document_sha256, len(opening.documents))
    facts = {
        "form": _FORM,
        "job": job.id,
        "label": opening.label,
        "tolerance_mm": astuple(job.tolerance),
        "tolerance_given": sorted(job.tolerance_given),
        "wall": opening.wall,
        "shape": opening.shape,
        "sill_at": opening.sill_at,
        "reference": opening.reference,
        "check_bar": opening.check_bar,
        "edge_offset": opening.edge_offset,
        "photos": photos,
        "readings": [_reading(r) for r in opening.readings],
        "superseded": [_reading(r) for r in opening.superseded],
        "rule": opening.rule,
        "rule_sha256": rule_sha256,
        "lenses": sorted(set(lens_sha256)),
        "quantity": opening.quantity,
        "ordered": _size(opening.ordered),
        "clearances": opening.clearances,
        "obstacles": opening.obstacles,
        "documents": [[d.kind, s or f"missing: {d.file}"] for d, s in zip(opening.documents, papers, strict=True)],
        "notes": [job.note, opening.note],
        "extra": [job.extra, opening.extra],
    }
    text = json.dumps(plain_json(facts), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _padded(hashes: Sequence[str], count: int) -> list[str]:
    return [*hashes, *[""] * count][:count]


def _reading(reading: Reading) -> list[object]:
    # Tape and graduation enter the joint tests and the explanations; who read it is shown beside them.
    return [
        reading.name,
        reading.length,
        reading.tape,
        reading.graduation_mm,
        reading.visit,
        reading.by,
        reading.on,
    ]


def _size(size: Size | None) -> object:
    return None if size is None else [size.width, size.height]


def _photo(photo: PhotoEntry, sha256: str) -> list[object]:
    return [
        sha256 or f"missing: {photo.file}",
        photo.turn,
        photo.corners_px,
        photo.trace,
        photo.click_px,
        photo.reference,
        list(photo.reference_corners_px),
        photo.focal35_mm,
        _file_sha256(photo.lens),
        photo.when,
        *([[_file_sha256(path) for path in photo.lenses]] if photo.lenses else []),
    ]


def _file_sha256(path: Path | None) -> str | None:
    if path is None:
        return None
    return regular_sha256(path, f"missing: {path.name}")

"""What a job says of an opening beside its readings, kept as JSON and not interpreted."""

from __future__ import annotations

from collections.abc import Sequence

from sizing.jobs.job import Opening
from sizing.json_values import Document, cleaned, rounded_mm
from sizing.result.readings import said_document


def kept_document(opening: Opening, hashes: Sequence[str]) -> Document:
    """Return what is kept and shown, and not interpreted; nothing where nothing was given."""
    kept: Document = {
        "quantity": opening.quantity if opening.quantity != 1 else None,
        "note": opening.note,
        "superseded": [said_document(reading) for reading in opening.superseded],
        "extra": cleaned(opening.extra),
        "rule": opening.rule,
        "obstacles": [
            {"what": o.what, "photo": o.photo, "outline_px": [list(point) for point in o.outline_px]}
            for o in opening.obstacles
        ],
        "clearances_mm": {side: rounded_mm(length.mm) for side, length in opening.clearances.items()},
        "documents": [
            {
                "file": d.file,
                "kind": d.kind,
                **({"sha256": sha256} if sha256 else {}),
                **({"error": d.error.says} if d.error is not None else {}),
            }
            for d, sha256 in zip(opening.documents, hashes, strict=False)
        ],
    }
    for key, size in (("ordered", opening.ordered), ("delivered", opening.delivered)):
        if size is not None:
            sides = {"width_mm": size.width, "height_mm": size.height}
            kept[key] = {name: rounded_mm(length.mm) for name, length in sides.items() if length is not None}
            kept[key] |= {name: said for name, said in (("by", size.by), ("tape", size.tape)) if said}
    return {key: value for key, value in kept.items() if value}

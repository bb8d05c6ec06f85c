"""What was released of a job, read from the releases in its folder for the log: checked, never trusted."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from sizing.regularfile import regular_bytes
from sizing.runs.runfolder import FOLDER

# A release of 200 openings stays well under this.
_LARGEST = 10_000_000
_SCHEMA = "secondtape/release/"

Row = tuple[str, str, str, str, int, float, float, str, str, str]


class _Line(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)
    opening: str
    quantity: int = Field(ge=0, le=1_000_000)
    width_mm: FiniteFloat
    height_mm: FiniteFloat
    released_by: str
    decided_by: str
    inputs_sha256: str = ""


class _Release(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)
    release: str
    released_at: str
    released: list[_Line]


def release_rows(folder: Path) -> Iterator[Row]:
    """Yield each opening of each release in a job's folder as a row of the log's table.

    A file that is no release of this program is passed over: it can be made again, and nothing rests on the log.
    """
    for path in sorted((folder / FOLDER).glob("release-*/release.json")):
        try:
            document = json.loads(regular_bytes(path, _LARGEST))
            if not str(document.get("schema")).startswith(_SCHEMA):
                continue
            found = _Release.model_validate(document)
            json.dumps(document, ensure_ascii=False).encode()  # half a character fits into no database
        except (OSError, ValueError, RecursionError, AttributeError, ValidationError):
            continue
        at = f"{found.released_at[:19]}Z"
        seen = set[str]()
        for x in found.released:
            if x.opening not in seen:
                seen.add(x.opening)
                yield (
                    str(folder), found.release, at, x.opening, x.quantity, x.width_mm, x.height_mm, x.released_by,
                    x.decided_by, x.inputs_sha256,
                )  # fmt: skip


def releases_stamp(folder: Path) -> int:
    """Return the time of the folder that holds a job's releases, 0 where there is none."""
    try:
        return (folder / FOLDER).stat().st_mtime_ns
    except OSError:
        return 0

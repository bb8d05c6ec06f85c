"""Words on the files that a check and the printed sheets leave, and on those that could not be written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sizing.errors import InputError
from sizing.messages.one_line import one_line, place, sentence
from vision.errors import PhotoError


def cannot_write(reason: str) -> str:
    """Return the warning that pictures and result could not be written."""
    return f"{sentence(reason)} Pictures and result.json were not written; the verdict stands."


def picture_failed(name: str, error: Exception) -> str:
    """Return the warning that one picture could not be drawn."""
    return f"{one_line(name)} could not be drawn ({one_line(why_failed(error))}); the verdict stands."


def why_failed(error: Exception) -> str:
    """Return what an error says; a mistake of this program with its kind."""
    return str(error) if isinstance(error, InputError | PhotoError) else f"{type(error).__name__}: {error}"


def written_to(folder: Path, *, pictures: bool = True) -> str:
    """Return where pictures, if any were asked for, and result are."""
    return f"{'Pictures and result.json' if pictures else 'result.json'}: {place(folder)}"


def sheets_written(files: Sequence[Path]) -> str:
    """Return what to do with the sheets just written."""
    lines = [f"Written: {place(path)}" for path in files]
    lines.append("Print at 100 %, not 'fit to page'; then measure the printed 150 mm and 200 mm bars and note them.")
    return "\n".join(lines)

"""Files that a job names: what keeps each from being used, in one sentence."""

from __future__ import annotations

import stat
from pathlib import Path


def inside(folder: Path, name: str, *, allow_outside: bool) -> tuple[Path, str | None]:
    """Return the resolved path of a file named in a job, and why it cannot be used, or None.

    Parameters
    ----------
    folder : Path
        The job's folder, resolved; links are followed before the path is compared with it.
    name : str
        The path as written, relative to the folder.
    allow_outside : bool
        Absolute paths and paths that lead out of the folder are then used.
    """
    shown = repr(name if len(name) <= 80 else name[:77] + "...")
    try:
        path = (folder / name).resolve()
        outside = Path(name).is_absolute() or not path.is_relative_to(folder)
        if outside and not allow_outside:
            return path, f"{shown} lies outside the job's folder: copy it there, or add --allow-outside"
        mode = path.stat().st_mode
    except FileNotFoundError:
        return folder / name, f"{shown} does not exist: check the name, or copy the file beside the job"
    # A loop of links is a RuntimeError, a NUL in the name a ValueError.
    except (OSError, ValueError, RuntimeError) as error:
        return folder, f"{shown} cannot be used: {getattr(error, 'strerror', None) or error}"
    if stat.S_ISDIR(mode):
        return path, f"{shown} is a folder: name a file in it"
    if not stat.S_ISREG(mode):
        return path, f"{shown} is no regular file: copy the file itself there"
    return path, None

"""Which camera profiles lie in a job's reach, and one that was named on the command line."""

from __future__ import annotations

from pathlib import Path

FOLDER, ENDING = "lenses", ".lens.toml"
MOST = 50  # profiles a folder; a desk has as many phones as crews


def profiles_in_reach(folder: Path, *, top: Path | None = None) -> tuple[Path, ...]:
    """Return the profiles of a job's folder and of its parents up to the desk's, by folder and name.

    Parameters
    ----------
    folder : Path
        Where the job lies.
    top : Path, optional
        The desk's folder. When absent the folder that the command was given in, if the job lies below it; else only
        the job's own folder.

    Notes
    -----
    A profile is a file `*.lens.toml`, or any `*.toml` in a folder `lenses`. A link that leads out of the job's or the
    desk's folder does not count.
    """
    try:
        here = folder.resolve()
        last = (top or Path.cwd()).resolve()
    except (OSError, RuntimeError):
        return ()
    last = last if here.is_relative_to(last) else here
    chain = [here, *(p for p in here.parents if p.is_relative_to(last))]
    found: dict[Path, None] = {}
    for place in chain:
        for pattern in (f"*{ENDING}", f"{FOLDER}/*.toml"):
            found |= dict.fromkeys(_regular(place, pattern, last))
    return tuple(found)


def _regular(place: Path, pattern: str, last: Path) -> list[Path]:
    try:
        files = sorted(p for p in place.glob(pattern) if p.is_file() and p.resolve().is_relative_to(last))
    except (OSError, RuntimeError):
        return []
    return files[:MOST]


def named_profile(text: str) -> Path:
    """Return the profile that an option names, once it has been read and found sound.

    Raises
    ------
    ValueError
        No file is named, it is missing or no sound profile; all its faults in one line.
    """
    from vision.lens.profile import ProfileError, read_profile

    if not text.strip():
        raise ValueError("no file is named; give a camera profile, as `secondtape lens` makes it.")
    path = Path(text)
    try:
        read_profile(path)
    except ProfileError as error:
        raise ValueError("; ".join(error.faults) + ".") from None
    return path

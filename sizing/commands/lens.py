"""The command `lens`: a camera profile from photos of sheets."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Annotated

import typer

from sizing.commands.streams import QuietOption, complain, progress_shown, require_libraries, say
from sizing.exits import Exit


def lens(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...",
            readable=False,
            help="Photos of the printed sheets, at least 3, better 8, from all sides.",
        ),
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The profile to write; camera.lens.toml when not given.")
    ] = Path("camera.lens.toml"),
    quiet: QuietOption = False,
) -> int:
    """Work out a camera profile from photos of sheets: focal length, optical centre and distortion.

    Tape the sheets flat on a wall and photograph them from 8 sides or more, tilted, turned, and near every corner
    of the picture, at 1x and without zoom. Ends with 0 written, 3 no profile could be made (says why), 4 no photo
    could be read, 2 bad usage.

    Example: secondtape lens sheets/*.jpg --out phone.lens.toml
    """
    require_libraries()
    from sizing.messages.lens import profile_made, profile_refused
    from vision.lens.photos import LensNotFound, profile_from_photos
    from vision.lens.profile import written

    answer = profile_from_photos(photos, progress_shown(quiet))
    if isinstance(answer, LensNotFound):
        for line in profile_refused(answer):
            complain(line)
        return Exit.UNREADABLE if answer.unreadable else Exit.UNPROVEN
    beside = out.with_name(f".{out.name}.{os.getpid()}")
    try:
        beside.write_text(written(answer.profile), encoding="utf-8")
        beside.replace(out)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        complain(
            f"--out: {out.name} cannot be written ({error.strerror}); name a file in a folder that you may write to."
        )
        return Exit.USAGE
    say(profile_made(answer, str(out)))
    return Exit.DONE

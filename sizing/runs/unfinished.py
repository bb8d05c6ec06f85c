"""What a run that does not come to its end leaves of its folder: nothing when it is told to end, else swept later."""

from __future__ import annotations

import re
import shutil
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType

# Hidden folders as `runfolder.write_run` names them while it writes a run, a release and so on.
_UNFINISHED = re.compile(r"\.([0-9a-f]{12}|(release|dispute|footprint)-[0-9a-f]+|report)-[a-z0-9_]{8}")
# Guess: nothing is written for so long; a run that slept over it says that it could not write, its verdict stands.
_ABANDONED_S = 86_400.0


def sweep(fresh: Path) -> None:
    """Remove what killed runs left beside the folder `fresh`, just made, more than a day before it.

    Times are compared with that of `fresh`, which the same disk gave: clocks of machines that share one may differ.
    """
    with suppress(OSError):
        now = fresh.stat().st_mtime
        for folder in fresh.parent.iterdir():
            if _UNFINISHED.fullmatch(folder.name) and folder.is_dir() and not folder.is_symlink():
                newest = max(path.stat().st_mtime for path in (folder, *folder.iterdir()))
                if now - newest > _ABANDONED_S:
                    shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def ended_in_order() -> Iterator[None]:
    """Have SIGTERM, where nobody else minds it, end the process by way of `finally`; else it would end at once."""
    here = threading.current_thread() is threading.main_thread()
    if not here or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL:
        yield
        return
    signal.signal(signal.SIGTERM, _end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _end(number: int, _frame: FrameType | None) -> None:
    raise SystemExit(128 + number)  # as shells count it

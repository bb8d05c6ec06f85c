"""A photo as tiles of several scales, encoded by us, so that zooming is quick at any size of photo.

A photo is decoded once, in the desk's decoding child. Tiles lie in a folder of the desk's own that goes with it; they
hold pixels only: no Exif, no name. What has not been asked for the longest is thrown away first.
"""

from __future__ import annotations

import atexit
import json
import shutil
import tempfile
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sizing.desk.results import file_sha256
from sizing.desk.worker import Say, Worker
from sizing.errors import InputError, Problem

TILE_PX = 1024
# The coarsest scale fits into this: one picture shows the whole.
WHOLE_PX = 1600
QUALITY = 86
_SECONDS = 60.0
# Photos whose tiles are kept; one of 48 MP takes about 25 MB.
_KEPT = 40


@dataclass(frozen=True, slots=True)
class Pyramid:
    """Tiles of one photo: size as measured in px, how much smaller than the file, scales coarsest first."""

    size_px: tuple[int, int]
    reduced: int
    scales: tuple[int, ...]
    folder: Path


@dataclass(slots=True, eq=False)
class _Work:
    folder: Path
    done: threading.Event = field(default_factory=threading.Event)
    error: str = ""


class Tiles:
    """The tiles of photos that were looked at lately."""

    def __init__(self) -> None:
        self._home: Path | None = None
        self._lock = threading.Lock()
        self._works: OrderedDict[tuple[object, ...], _Work] = OrderedDict()

    def pyramid(self, photo: Path, turn: int, worker: Worker) -> Pyramid:
        """Return the tiles of a photo turned by `turn` degrees clockwise; they are made where they are not there yet.

        Returns as soon as the coarsest is there.

        Raises
        ------
        InputError
            The photo cannot be decoded; the text says why.
        """
        work = self._work(photo, turn, worker)
        facts = work.folder / "facts.json"
        ends = time.monotonic() + _SECONDS
        while not facts.exists() and not work.done.is_set() and time.monotonic() < ends:
            work.done.wait(0.02)
        if not facts.exists():
            says = work.error.replace(f"{photo.parent}/", "") or "it could not be decoded in time; try again"
            raise InputError("photo-unreadable", [Problem(photo.name, says)])
        found = json.loads(facts.read_text())
        return Pyramid(tuple(found["size_px"]), found["reduced"], tuple(found["scales"]), work.folder)

    def tile(self, photo: Path, turn: int, worker: Worker, place: tuple[int, int, int]) -> bytes:
        """Return one tile as JPEG; `place` is its scale, column and row. InputError where there is none."""
        work = self._work(photo, turn, worker)
        file = work.folder / tile_name(*place)
        ends = time.monotonic() + _SECONDS
        while not file.exists() and not work.done.is_set() and time.monotonic() < ends:
            work.done.wait(0.02)
        try:
            return file.read_bytes()
        except OSError:
            raise InputError("no-such-file", [Problem(photo.name, "there is no such part of this photo")]) from None

    def _work(self, photo: Path, turn: int, worker: Worker) -> _Work:
        key = (file_sha256(photo), turn % 360)
        with self._lock:
            work = self._works.get(key)
            if work is not None and not work.error:
                self._works.move_to_end(key)
                return work
            if self._home is None:
                self._home = Path(tempfile.mkdtemp(prefix="desk-tiles-"))
                atexit.register(shutil.rmtree, self._home, ignore_errors=True)
            work = self._works[key] = _Work(Path(tempfile.mkdtemp(dir=self._home)))
            old = [self._works.popitem(last=False)[1] for _ in range(len(self._works) - _KEPT)]
        for gone in old:
            for file in gone.folder.glob("*"):
                file.unlink(missing_ok=True)
        threading.Thread(target=_made, args=(work, photo, turn, worker), name="desk-tiles", daemon=True).start()
        return work


def tile_name(scale: int, column: int, row: int) -> str:
    """Return the file name of a tile."""
    return f"{scale:d}-{column:d}-{row:d}.jpg"


def _made(work: _Work, photo: Path, turn: int, worker: Worker) -> None:
    try:
        worker.run(tiles_task, photo, turn, work.folder, timeout_s=_SECONDS)
    except Exception as error:  # whoever waits for a tile must be told
        work.error = str(error) or type(error).__name__
    finally:
        work.done.set()


def tiles_task(photo: Path, turn: int, folder: Path, *, say: Say) -> None:
    """Decode a photo and write its tiles, the coarsest scale first; in the child."""
    import cv2
    import numpy as np

    from vision.photo.reading import read_photo

    cv2.setNumThreads(1)
    read = read_photo(photo, turn % 360)
    width, height = read.size_px
    scales = [1]
    while max(width, height) / scales[0] > WHOLE_PX:
        scales.insert(0, 2 * scales[0])
    for scale in scales:
        size = (max(1, -(-width // scale)), max(1, -(-height // scale)))
        rgb = read.rgb if scale == 1 else cv2.resize(read.rgb, size, interpolation=cv2.INTER_AREA)
        bgr = np.asarray(cv2.cvtColor(np.asarray(rgb), cv2.COLOR_RGB2BGR))
        step = WHOLE_PX if scale == scales[0] else TILE_PX
        for top in range(0, size[1], step):
            for left in range(0, size[0], step):
                part = bgr[top : top + step, left : left + step]
                _write(folder / tile_name(scale, left // step, top // step), part, cv2)
        if scale == scales[0]:
            facts = {"size_px": [width, height], "reduced": read.reduced, "scales": scales}
            beside = folder / "facts.part"
            beside.write_text(json.dumps(facts))
            beside.replace(folder / "facts.json")


def _write(file: Path, bgr: Any, cv2: Any) -> None:  # noqa: ANN401 -- OpenCV is imported in the child only
    good, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not good:
        raise OSError("a part of the photo could not be encoded")
    beside = file.with_suffix(".part")
    beside.write_bytes(data.tobytes())
    beside.replace(file)

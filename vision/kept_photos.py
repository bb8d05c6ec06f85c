"""A cache of photos: what earlier requests worked out, for requests on the same photos with other corners.

Reading a photo, finding its references and solving the camera by them do not depend on the opening's corners. After a
corner has moved, only what it touches is traced and solved again (`vision.last_trace`). The answers are those of
`vision.estimate`, to the last digit.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import replace
from functools import partial

from vision.estimate import Progress, estimate_opening
from vision.kept.value_key import value_key
from vision.last_trace import LastTrace
from vision.one_photo import PhotoTraced
from vision.prepared import Prepared, WrongLens, pointed_anew, prepare, without_lens
from vision.request import Estimate, NotMeasured, OpeningRequest, PhotoReport, PhotoRequest
from vision.solved_photo import PhotoSolved, solve_photo, wrong_lens
from vision.told_by_opening import trace_told

MOST_BYTES = 450_000_000  # guess: three photos of 48 MP; the oldest goes first
MOST_ANSWERS = 200  # openings of one job, by the contract


class KeptPhotos:
    """A cache of photos made ready and solved, and of answers to whole requests; several threads may use it.

    Notes
    -----
    A file counts as unchanged while its path, time of change and size are.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._ready: OrderedDict[Hashable, Prepared] = OrderedDict()
        self._solved: OrderedDict[Hashable, tuple[WrongLens | None, PhotoSolved | PhotoReport]] = OrderedDict()
        self._last: OrderedDict[Hashable, LastTrace] = OrderedDict()
        self._answers: OrderedDict[Hashable, Estimate | NotMeasured] = OrderedDict()

    def estimate(self, request: OpeningRequest, progress: Progress | None = None) -> Estimate | NotMeasured:
        """Return what `estimate_opening` returns, from what is kept where the request was asked before."""
        key = value_key(request)
        with self._lock:
            answer = self._answers.get(key)
        if answer is None:
            answer = estimate_opening(request, progress, tracer=partial(self._trace, progress))
            with self._lock:
                self._answers[key] = answer
                while len(self._answers) > MOST_ANSWERS:
                    self._answers.popitem(last=False)
        return answer

    def _trace(
        self, progress: Progress | None, request: OpeningRequest, photo: PhotoRequest
    ) -> PhotoTraced | PhotoReport:
        ready, scene = self._prepared(request, photo), replace(request, photos=())
        free = value_key((replace(photo, corners_px=None, click_px=0.0), _turned(ready), scene))
        # pages and cards are looked for outside the opening: their photo is solved anew when a corner moves
        key = free if ready.reference.kind == "sheet" else value_key((photo, _turned(ready), scene))
        with self._lock:
            known, last = self._solved.get(key), self._last.setdefault(free, LastTrace())
        last.heard_by(None if progress is None else partial(_said, progress, photo.path.name))
        if known is None:
            wrong = wrong_lens(request, ready, last)
            known = wrong, solve_photo(request, without_lens(ready, wrong), last)
            with self._lock:
                self._solved[key] = known
                for kept in (self._solved, self._last):
                    while len(kept) > len(self._ready):
                        kept.popitem(last=False)
        wrong, solved = known
        ready = without_lens(ready, wrong)
        return trace_told(request, ready, solved, last)

    def _prepared(self, request: OpeningRequest, photo: PhotoRequest) -> Prepared:
        alike = replace(photo, corners_px=None, reference_corners_px=(), click_px=0.0, trace=True)
        found_alone, pointed = (value_key((alike, alone, request.reference)) for alone in (True, False))
        key = found_alone if photo.corners_px is None else pointed
        with self._lock:
            ready = self._ready.get(key)
            alone = self._ready.get(found_alone)
            if ready is None and alone is not None and not _turned(alone):
                key, ready = found_alone, alone  # a photo without corners may be turned by its sheets: this was not
            if ready is not None:
                self._ready.move_to_end(key)
        if ready is not None:
            return pointed_anew(ready, photo)
        ready = prepare(request, photo)
        with self._lock:
            self._ready[key] = ready
            while len(self._ready) > 1 and sum(r.picture.rgb.nbytes for r in self._ready.values()) > MOST_BYTES:
                self._ready.popitem(last=False)
        return ready


def _turned(ready: Prepared) -> bool:
    return any(w.code == "turned" for w in ready.report.warnings)


def _said(progress: Progress, name: str, line: str) -> None:
    progress(f"{name}: {line}")

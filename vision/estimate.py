"""Photos of one opening -> `Estimate`: the one door of the package."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

from vision.depths import edge_depths, with_sill_out
from vision.errors import PhotoError, RequestError
from vision.faces.measures import faces_of_outlines, reanchored
from vision.faces.outlines import nested_outlines
from vision.joint.remedies import joint_remedies
from vision.joint.reports import said_together
from vision.joint.same_view import same_picture
from vision.joint.several_photos import Together, disagreement, measure_together, torn_off
from vision.measured_photo import PhotoMeasured, measure_traced
from vision.measures import Measured
from vision.one_photo import PhotoTraced
from vision.prepared import prepare
from vision.remedies import remedies
from vision.request import (
    SIDES,
    Candidate,
    Estimate,
    Face,
    NotMeasured,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Remedy,
    Warning_,
)
from vision.sides.traced import faces_of
from vision.told_by_opening import trace_photo

Progress = Callable[[str], None]
Tracer = Callable[[OpeningRequest, PhotoRequest], PhotoTraced | PhotoReport]
REMEDY_FROM_MM = 2.5  # a surer photo needs no remedy: no tolerance is that small
AT_ONCE = 2  # photos in work: each needs a few hundred MB


def estimate_opening(
    request: OpeningRequest, progress: Progress | None = None, *, tracer: Tracer | None = None
) -> Estimate | NotMeasured:
    """Return the measures of an opening from its photos, or why there are none.

    Parameters
    ----------
    request : photos of one opening and what is known of the scene.
    progress : called with one line as each photo is begun.
    tracer : in place of preparing and tracing each photo anew, as `vision.kept_photos` does.

    Notes
    -----
    Each photo is solved and traced by itself; those that show the opening are then adjusted together. Where they do
    not fit together the surest one counts, with an uncertainty as large as their answers lie apart. A photo that
    cannot be read, or on which this program fails, leaves the others alone.
    """
    seen = _traced(request, progress, tracer or _trace_anew)
    request = with_sill_out(request, [s.sill_out for s in seen if isinstance(s, PhotoTraced)])
    whole: dict[int, PhotoMeasured] = {}
    for i, s in enumerate(seen):
        if isinstance(s, PhotoTraced) and _whole(s):
            try:
                whole[i] = measure_traced(request, s)
            except Exception as e:
                seen[i] = replace(s.report, error=_failed(s.report.path, e))
    order = sorted(whole, key=lambda i: float(np.trace(whole[i].measured.cov_mm2[:8, :8])))
    parts = [i for i, s in enumerate(seen) if isinstance(s, PhotoTraced) and i not in whole]
    reports = [_report(s, whole.get(i)) for i, s in enumerate(seen)]
    traced = [s for s in (seen[i] for i in [*order, *parts]) if isinstance(s, PhotoTraced)]
    photos, warned = _once(traced), []
    if any(_sound(p) for p in photos if _whole(p)):  # what is torn would make sound photos worse
        warned += [torn_off(p) for p in photos if not _sound(p)]
        photos = [p for p in photos if _sound(p)]
        order = [i for i in order if any(whole[i].traced is p for p in photos)]
    if len(photos) > 1:
        together, fault = _together(request, photos)
        warned += fault
        if together is not None:
            at = {k: next(i for i, s in enumerate(seen) if s is photos[k]) for k in together.used}
            joined, more = said_together(request, photos, together, {k: reports[i] for k, i in at.items()})
            for k, report in joined.items():
                reports[at[k]] = report
            warned += more
            faces = _faces(request, whole[order[0]], photos, together) if order else ()
            answer = _estimate(together.measured, together.candidates, faces, photos[0], reports, warned)
            return replace(answer, remedies=joint_remedies(request, together)) if _unsure(answer) else answer
        if order and not fault:
            warned.append(disagreement(photos))
            return _surest(request, whole, order, photos, reports, warned)
    if not order:
        return _not_measured(reports, len(parts))
    best = whole[order[0]]
    found = _estimate(best.measured, best.candidates, best.faces, photos[0], reports, warned)
    return replace(found, remedies=_remedies(request, photos[0], best.measured)) if _unsure(found) else found


def _surest(
    request: OpeningRequest,
    whole: Mapping[int, PhotoMeasured],
    order: Sequence[int],
    photos: Sequence[PhotoTraced],
    reports: list[PhotoReport],
    warned: Sequence[Warning_],
) -> Estimate:
    """Return the measures of the surest of photos that contradict each other, as open as their answers lie apart.

    Nothing tells which of them errs, and what would make a sound photo surer is no remedy for that.
    """
    surest, *others = (i for i in order if any(whole[i].traced is p for p in photos))
    values = whole[surest].measured.values_mm
    best = measure_traced(request, whole[surest].traced, [whole[i].measured.values_mm - values for i in others])
    # what opens the uncertainty is the other photo, and no better view or clearer line of this one closes it
    own = tuple(w for w in best.report.warnings if w.code != "weak-geometry")
    reports[surest] = replace(best.report, warnings=own)
    return _estimate(best.measured, best.candidates, best.faces, best.traced, reports, warned)


def _unsure(found: Estimate) -> bool:
    return 2 * float(np.sqrt(np.diag(found.cov_mm2)[:8].max())) > REMEDY_FROM_MM


def _estimate(
    m: Measured,
    candidates: tuple[Candidate, ...],
    faces: tuple[Face, ...],
    first: PhotoTraced,
    reports: Sequence[PhotoReport],
    warned: Sequence[Warning_],
) -> Estimate:
    return Estimate(
        values_mm=m.values_mm,
        cov_mm2=m.cov_mm2,
        budget_mm=m.budget_mm,
        station_u_mm=m.station_u_mm,
        further=m.further,
        candidates=candidates,
        faces=faces,
        photos=tuple(reports),
        warnings=tuple(warned),
        found_by=first.found_by,
    )


def _together(request: OpeningRequest, photos: Sequence[PhotoTraced]) -> tuple[Together | None, list[Warning_]]:
    """Return the photos joined, None where they cannot be, and what is said where this program fails at it."""
    try:
        return measure_together(request, photos), []
    except Exception as e:
        says = (
            f"the photos could not be joined: this program made a mistake ({_kind(e)}), please report it; only the "
            "surest photo is used, so look whether the others show the same"
        )
        return None, [Warning_("photos-disagree", says)]


def _faces(
    request: OpeningRequest, best: PhotoMeasured, photos: Sequence[PhotoTraced], together: Together
) -> tuple[Face, ...]:
    """Return other outlines as the surest photo shows them, with the frame's depth found by all that were joined."""
    joined = [photos[i] for i in together.used]
    views = [p.beside for p in (best.traced, *(p for p in joined if p is not best.traced)) if p.beside]
    lines = faces_of(together.measured, together.candidates, edge_depths(request).z_mm)
    if not best.traced.beside:
        return lines
    camera, sides = best.traced.solved.adjusted.state.camera, best.traced.sides
    own = faces_of_outlines(nested_outlines(views, request.wall), camera, sides, best.measured)
    return lines + reanchored(own, best.measured.values_mm, together.measured.values_mm)


def _remedies(request: OpeningRequest, photo: PhotoTraced, measured: Measured) -> tuple[Remedy, ...]:
    try:
        return remedies(request, photo, measured)
    except (np.linalg.LinAlgError, FloatingPointError):  # advice is not worth the measures of this photo
        return ()


def _once(photos: Sequence[PhotoTraced]) -> list[PhotoTraced]:
    """Return the photos without those of a picture that is already there whole: one view is no second observation.

    A picture may have been saved anew, or at another size.
    """
    kept: list[PhotoTraced] = []
    for photo in photos:
        if not any(_whole(k) and _same(k.report, photo.report) for k in kept):
            kept.append(photo)
    return kept


def _same(a: PhotoReport, b: PhotoReport) -> bool:
    return (a.sha256 == b.sha256 and bool(a.sha256)) or same_picture(a, b)


def _whole(photo: PhotoTraced) -> bool:
    return set(photo.sides) == set(SIDES)


def _sound(photo: PhotoTraced) -> bool:
    """Return whether no lines of the wall contradict the only reference of a photo."""
    return photo.solved.torn is None


def _report(seen: PhotoTraced | PhotoReport, measured: PhotoMeasured | None) -> PhotoReport:
    if measured is not None:
        return measured.report
    return replace(seen.report, sides_px=seen.drawn) if isinstance(seen, PhotoTraced) else seen


def _traced(request: OpeningRequest, progress: Progress | None, tracer: Tracer) -> list[PhotoTraced | PhotoReport]:
    """Return each photo solved and traced, or its report; several at a time, in the order asked for."""

    def one(photo: PhotoRequest) -> PhotoTraced | PhotoReport:
        if progress is not None:
            progress(f"measuring {photo.path.name}")
        return _one(request, photo, tracer)

    workers = min(AT_ONCE, os.cpu_count() or 1, len(request.photos))
    if workers < 2:
        return [one(photo) for photo in request.photos]
    pool = ThreadPoolExecutor(workers)
    try:
        return list(pool.map(one, request.photos))
    finally:  # interrupted, nobody waits for photos in work
        pool.shutdown(wait=False, cancel_futures=True)


def _trace_anew(request: OpeningRequest, photo: PhotoRequest) -> PhotoTraced | PhotoReport:
    return trace_photo(request, prepare(request, photo))


def _one(request: OpeningRequest, photo: PhotoRequest, tracer: Tracer) -> PhotoTraced | PhotoReport:
    empty = PhotoReport(photo.path, "", (0, 0))
    try:
        return tracer(request, photo)
    except (PhotoError, RequestError) as e:
        return replace(empty, error=Warning_(e.code, e.message))
    except Exception as e:  # in a thread as without: one photo's, and no other's
        return replace(empty, error=_failed(photo.path, e))


def _failed(path: Path, error: Exception) -> Warning_:
    return Warning_(
        "fault",
        f"measuring {path.name} failed by a mistake of this program ({_kind(error)}), not yours; please report it, and "
        "take another photo from another place",
    )


def _kind(error: Exception) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())[:100]}"


def _not_measured(reports: Sequence[PhotoReport], parts: int) -> NotMeasured:
    """Return the reason of the first photo that gave one; every photo keeps its own."""
    errors = [r.error for r in reports if r.error is not None]
    if errors:
        return NotMeasured(errors[0].code, errors[0].message, tuple(reports))
    if parts:
        what = (
            "the photos show parts of the opening that nothing joins, or that do not fit together"
            if parts > 1
            else ("the photo shows a part of the opening only")
        )
        return NotMeasured(
            "parts-not-joined",
            f"{what}: take one that shows the whole opening, or parts that overlap with the same sheet, page or card "
            "in view in both; - stands for a corner outside of the photo, all others are to be given",
            tuple(reports),
        )
    return NotMeasured(
        "no-photo", "no photo was given; take one with a printed sheet beside the opening", tuple(reports)
    )

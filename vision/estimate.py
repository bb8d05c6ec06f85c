"""Photos of one opening -> `Estimate`: the one door of the package."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from vision.errors import PhotoError, RequestError
from vision.one_photo import PhotoMeasured, measure_photo
from vision.request import (
    NINE,
    Estimate,
    NotMeasured,
    OpeningRequest,
    PhotoReport,
    PhotoRequest,
    Warning_,
)

Progress = Callable[[str], None]


def estimate_opening(request: OpeningRequest, progress: Progress | None = None) -> Estimate | NotMeasured:
    """Return the measures of an opening from its photos, or why there are none.

    Parameters
    ----------
    request : photos of one opening and what is known of the scene.
    progress : called with one line as each photo is begun.

    Notes
    -----
    Each photo is adjusted by itself; the one with the least uncertainty gives the value and the others are held
    against it. A photo that cannot be read is reported and leaves the others alone.
    """
    reports: list[PhotoReport] = []
    good: list[PhotoMeasured] = []
    for photo in request.photos:
        if progress is not None:
            progress(f"measuring {photo.path.name}")
        result = _one(request, photo)
        reports.append(result.report if isinstance(result, PhotoMeasured) else result)
        if isinstance(result, PhotoMeasured):
            good.append(result)
    if not good:
        return _not_measured(reports)
    best = min(good, key=lambda m: float(np.trace(m.measured.cov_mm2[:8, :8])))
    m = best.measured
    return Estimate(
        values_mm=m.values_mm,
        cov_mm2=m.cov_mm2,
        budget_mm=m.budget_mm,
        station_u_mm=m.station_u_mm,
        further=m.further,
        candidates=best.candidates,
        faces=best.faces,
        photos=tuple(reports),
        warnings=tuple(_contradictions(best, good)),
        found_by=best.found_by,
    )


def _one(request: OpeningRequest, photo: PhotoRequest) -> PhotoMeasured | PhotoReport:
    empty = PhotoReport(photo.path, "", (0, 0))
    try:
        return measure_photo(request, photo)
    except PhotoError as e:
        return replace(empty, error=Warning_(e.code, e.message))
    except RequestError as e:
        return replace(empty, error=Warning_(e.code, e.message))


def _not_measured(reports: list[PhotoReport]) -> NotMeasured:
    """Return the reason of the first photo that gave one; every photo keeps its own."""
    errors = [r.error for r in reports if r.error is not None]
    if not errors:
        return NotMeasured(
            "no-photo", "no photo was given; take one with a printed sheet beside the opening", tuple(reports)
        )
    return NotMeasured(errors[0].code, errors[0].message, tuple(reports))


def _contradictions(best: PhotoMeasured, good: list[PhotoMeasured]) -> list[Warning_]:
    """Return a warning for each photo whose measures do not agree with the best one's."""
    warned = []
    for other in good:
        if other is best:
            continue
        d = other.measured.values_mm - best.measured.values_mm
        u = np.sqrt(np.diag(other.measured.cov_mm2) + np.diag(best.measured.cov_mm2))
        worst = int(np.argmax(np.abs(d / u)))
        if abs(d[worst] / u[worst]) > 3.5:  # largest of nine at 0.005
            warned.append(
                Warning_(
                    "photos-disagree",
                    f"{other.report.path.name} and {best.report.path.name} differ by {abs(d[worst]):.1f} mm in "
                    f"{NINE[worst].replace('_', ' ')}: check that both show this opening",
                )
            )
    return warned

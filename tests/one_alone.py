"""One photo measured by itself, from its file to its measures, as the door of `vision` does each photo."""

from vision.measured_photo import PhotoMeasured, measure_traced
from vision.prepared import prepare
from vision.request import OpeningRequest, PhotoReport, PhotoRequest
from vision.told_by_opening import trace_photo


def measured_alone(request: OpeningRequest, photo: PhotoRequest) -> PhotoMeasured | PhotoReport:
    """Return the measures of one photo, or its report with what stood in the way."""
    traced = trace_photo(request, prepare(request, photo))
    return traced if isinstance(traced, PhotoReport) else measure_traced(request, traced)

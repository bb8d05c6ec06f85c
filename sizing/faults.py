"""What stands in place of an opening on which this program failed: nothing of it may be relied on."""

from __future__ import annotations

from sizing.decision import OpeningVerdict
from sizing.messages import check_warnings
from sizing.outcome import OpeningResult
from vision.request import NotMeasured


def failed_opening(result: OpeningResult, error: Exception) -> OpeningResult:
    """Return an opening on which this program failed after its check."""
    return OpeningResult(
        result.opening,
        NotMeasured("fault", fault_text(error), result.answer.photos),
        result.photos,
        (),
        OpeningVerdict("unproven", "fault"),
        result.tolerance,
        fault=error,
        document_sha256=result.document_sha256,
        inputs_sha256=result.inputs_sha256,
        decision=result.decision,
    )


def fault_text(error: Exception) -> str:
    """Return what is said of an opening on which the program failed."""
    return check_warnings.fault(type(error).__name__)

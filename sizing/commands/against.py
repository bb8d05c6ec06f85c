"""The option `check --against`: an order typed elsewhere, read and compared at the command line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sizing.commands.streams import complain

if TYPE_CHECKING:
    from sizing.outcome import JobResult


def typed_order_readable(file: Path) -> bool:
    """Return whether a typed order can be read, with a complaint for each thing that keeps it from that."""
    from sizing.errors import InputError
    from sizing.release.against import read_typed

    try:
        read_typed(file, "mm")
    except InputError as error:
        for problem in error.problems:
            complain(str(problem))
        return False
    return True


def compared_with(
    result: JobResult, document: dict[str, Any], file: Path
) -> tuple[JobResult, dict[str, Any], list[str]]:
    """Return result and document of a job with the differences from the typed order, and these as lines."""
    from sizing.release.against import compared, comparison_lines, read_typed, with_differences
    from sizing.result.document import job_document

    comparison = compared(result, read_typed(file, result.job.units if result.job else "mm"))
    if result.job is None:
        return result, document, []
    return (
        comparison.result,
        with_differences(job_document(comparison.result), comparison),
        comparison_lines(comparison),
    )

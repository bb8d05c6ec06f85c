"""Checks that the desk runs in a child process, and what the last one said."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sizing.desk.desk import Desk
from sizing.desk.folder import JOB_FILE
from sizing.desk.results import LastResult, newest_result
from sizing.desk.runs import CHECK, VERDICT_READY, Run
from sizing.desk.worker import Say, WorkerError

if TYPE_CHECKING:
    from vision.kept_photos import KeptPhotos


def start_check(desk: Desk, job: str, *, pictures: bool = True) -> str:
    """Queue a check of a job and return the id of its run; its result is written into the job's folder.

    Without `pictures` the child is free for the next check as soon as the verdict is there.
    """
    return desk.runs.start(job, CHECK, check_task, desk.folder.job(job), desk.folder.root, pictures)


def progress(desk: Desk, run: str) -> Run:
    """Return where a run stands; InputError where the desk knows no such run."""
    return desk.runs.get(run)


def last_result(desk: Desk, job: str) -> LastResult | None:
    """Return what the last check of a job said, with whether its inputs have changed since; None before the first."""
    return newest_result(desk.folder.job(job), desk.folder.root)


def check_task(folder: Path, root: Path, pictures: bool = True, *, say: Say) -> str:
    """Check the job in `folder` and save the run, in the child; return the run's folder.

    The result is saved before the pictures are drawn, so that the verdict is on screen as early as it can be.
    """
    result, document = checked(folder, say)
    from sizing.saving import save_run

    if result.error is not None:
        raise result.error
    saved, warnings = save_run(result, document, out=None, pictures=False)
    if saved is None:
        raise WorkerError("; ".join(warnings))
    if pictures:
        say(VERDICT_READY)
        save_run(result, document, out=None, pictures=True)
    return saved.relative_to(root).as_posix()


@lru_cache(maxsize=1)
def kept_photos() -> KeptPhotos:
    """Return the photos that this child has solved already: after a change only what it touches is done anew."""
    from vision.kept_photos import KeptPhotos

    return KeptPhotos()


def checked_and_kept(folder: Path, say: Say) -> Any:  # noqa: ANN401 -- JobResult, heavy to import
    """Return the result of a check made for a paper or a release, saved so that it is in the log; in the child."""
    from sizing.saving import save_run

    result, document = checked(folder, say)
    if result.error is not None or result.job is None:
        raise result.error or WorkerError("the job could not be read")
    save_run(result, document, out=None, pictures=False)
    return result


def checked(folder: Path, say: Say) -> tuple[Any, Mapping[str, Any]]:
    """Return result and document of a check of the job in `folder`, with progress; for use in the child."""
    import cv2

    from sizing.check import check_job
    from sizing.result.document import job_document

    cv2.setNumThreads(1)
    result = check_job(folder / JOB_FILE, progress=say, estimator=kept_photos().estimate)
    return result, job_document(result)

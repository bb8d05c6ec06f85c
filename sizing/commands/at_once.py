"""Where the jobs of `check` are done: in this process, in several of this machine, or on a cluster."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sizing.batch import Batch, in_order
from sizing.commands.checking import Checked, CheckOptions, checked, failed, recorded
from sizing.commands.streams import complain
from sizing.errors import NotDoneError
from sizing.interrupts import interrupts_put_off
from sizing.machine import cores, memory_mb
from sizing.messages import at_once as words

if TYPE_CHECKING:
    from sizing.commands.progress_bar import Bar

# Measured at the peak: 0.34 GB for a photo of 12 MP, 0.48 GB for 48 MP, 0.44 GB for an opening of four photos of 12 MP.
PROCESS_MB = 600
# A process takes 0.8 s of its core to start, a photo of 12 MP 1.2 s: with fewer jobs each it would not pay.
JOBS_EACH = 2


@dataclass(frozen=True, slots=True)
class Place:
    """An executor, opened when it is needed, what it is to do with a job, and how many jobs it takes at a time.

    `news` is asked while jobs are in work: a line on why they do not go on, once, else None.
    """

    opened: Callable[[], AbstractContextManager[Executor]]
    task: Callable[[Path, CheckOptions], Checked]
    at_once: int
    news: Callable[[], str | None] = lambda: None


def here(jobs: int, at_once: int | None) -> Place | None:
    """Return where so many jobs are done on this machine; None for this very process.

    `at_once` is as typed; None for as many as pay, and as cores and memory allow.
    """
    number = usual(jobs) if at_once is None else min(at_once, jobs)
    return None if number < 2 else Place(partial(_processes, number), checked, number)


def usual(jobs: int) -> int:
    """Return how many processes so many jobs are shared among when nothing is typed."""
    memory = memory_mb()
    allowed = cores() if memory is None else min(cores(), memory // PROCESS_MB)
    return max(min(allowed, jobs // JOBS_EACH), 1)


def all_checked(
    jobs: Sequence[Path], options: CheckOptions, place: Place | None, bar: Bar
) -> Generator[Checked, None, None]:
    """Yield each job as checked, in the order typed, each as soon as it and all before it are done.

    A job that was typed twice is never in work twice. All that is done is in the log, also when this is interrupted.
    """
    if place is None:
        for number, job in enumerate(jobs):
            bar.in_work([str(job)], number)
            yield recorded(checked(job, options, bar.step))
        return

    def in_work(at_work: Sequence[Path], done: int) -> None:
        line = place.news()
        if line is not None:
            with bar.aside():
                complain(line)
        bar.in_work([str(job) for job in at_work], done)

    batch: Batch[Path, Checked] = Batch(
        partial(_task, place.task, options),
        lambda job, error: not_done(job, options, error),
        place_of,
        recorded,
        in_work,
    )
    with place.opened() as executor:
        yield from in_order(executor, batch, jobs, place.at_once)


def _task(task: Callable[[Path, CheckOptions], Checked], options: CheckOptions, job: Path) -> Checked:
    return task(job, options)


def place_of(job: Path) -> str:
    """Return the folder that a job's run is written into, however it is typed; its own place where there is none."""
    real = os.path.realpath(job)
    return os.path.dirname(real) if os.path.isfile(real) else real  # noqa: PTH113, PTH120 -- also for a loop of links


def not_done(job: Path, options: CheckOptions, error: Exception) -> Checked:
    """Return what is said of a job that came back with an error from where it was sent."""
    if isinstance(error, BrokenExecutor) or type(error).__name__ == "KilledWorker":  # of dask, which may not be there
        error = NotDoneError(words.process_died())
    elif isinstance(error, CancelledError):
        error = NotDoneError(words.cluster_lost())
    return failed(job, options, error)


@contextmanager
def _processes(number: int) -> Iterator[Executor]:
    """Give processes of this machine; whoever leaves early or is interrupted leaves none behind."""
    from sizing.processes import Processes

    executor = Processes(number)
    try:
        yield executor
        executor.shutdown()
    except BaseException:
        with interrupts_put_off():
            executor.end()
        raise

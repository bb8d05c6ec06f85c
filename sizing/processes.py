"""Tasks in processes of this machine, as an executor: one task a process at a time; who dies takes only its own along.

`ProcessPoolExecutor` cannot say whose task a process died of and gives up all others; so each process here is a pool
of its own, and a pool that broke is replaced by a fresh one.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing.context import SpawnContext
from multiprocessing.process import BaseProcess
from typing import Any, ParamSpec, TypeVar

from sizing.interrupts import interrupts_put_off
from sizing.machine import one_blas_thread

P = ParamSpec("P")
R = TypeVar("R")

# The processes fill the cores already: more threads only wait for each other. Read when OpenCV is imported.
_ONE_OPENCV_THREAD = ("OPENCV_FOR_THREADS_NUM", "1")
# Guess, as no growth was measured over 32 jobs: a process is replaced after so many tasks, whatever libraries keep.
_TASKS_EACH = 100
# Guess: one that is told to end needs no longer to take its unfinished files with it; then it is killed.
_LAST_WORDS_S = 5.0
_TOLD_TO_END = 128 + signal.SIGTERM  # as shells count it


class Processes(Executor):
    """So many processes of this machine, each started when it is first needed.

    Parameters
    ----------
    count : int
        Number of processes. Whoever submits more tasks than that has a task that waits die with the one before it.
    tasks_each : int
        Number of tasks after which a process is replaced.
    """

    def __init__(self, count: int, *, tasks_each: int = _TASKS_EACH) -> None:
        self._context = _Keeping()
        self._pools = [_Pool(self._context, tasks_each) for _ in range(count)]

    def submit(self, fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Have `fn(*args, **kwargs)` done by the process that has least to do, in this process's working folder."""
        pool = min(self._pools, key=_Pool.tasks)
        return pool.submit(partial(_done_or_ended, fn, *args, **kwargs))

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Let the processes come to their end when they have done what they were given."""
        for pool in self._pools:
            pool.executor.shutdown(wait, cancel_futures=cancel_futures)

    def end(self) -> None:
        """End the processes now; what they have in work is lost, and their unfinished files go."""
        deadline = time.monotonic() + _LAST_WORDS_S
        alive = [process for process in self._context.made if process.is_alive()]
        for process in alive:
            process.terminate()
        for process in alive:
            process.join(max(deadline - time.monotonic(), 0.0))
            if process.is_alive():
                process.kill()
        self.shutdown(cancel_futures=True)


class _Pool:
    """A pool of one process, replaced by a fresh one when it broke."""

    def __init__(self, context: _Keeping, tasks_each: int) -> None:
        self._context = context
        self._tasks_each = tasks_each
        self._running: set[Future[Any]] = set()
        with _started_whole():  # for what `multiprocessing` starts to keep count of its semaphores
            self.executor = self._fresh()

    def tasks(self) -> int:
        """Return how many tasks are not done."""
        self._running = {future for future in self._running if not future.done()}
        return len(self._running)

    def submit(self, task: Callable[[], R]) -> Future[R]:
        with _started_whole():
            try:
                future = self.executor.submit(task)
            except (BrokenExecutor, OSError):  # it died since, or while it was being started
                self.executor.shutdown(wait=False)
                self.executor = self._fresh()
                future = self.executor.submit(task)
        self._running.add(future)
        return future

    def _fresh(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            1,
            self._context,
            _begin,
            max_tasks_per_child=self._tasks_each,
        )


class _Keeping(SpawnContext):
    """A way to start processes that keeps hold of them, so that these and no others can be ended."""

    def __init__(self) -> None:
        super().__init__()
        self.made: list[BaseProcess] = []

    def Process(self, *args: Any, **kwargs: Any) -> BaseProcess:  # type: ignore[override]  # noqa: ANN401
        """Return a new process; named by `multiprocessing`."""
        process = multiprocessing.get_context("spawn").Process(*args, **kwargs)
        self.made = [*(p for p in self.made if p.exitcode is None), process]
        return process


@contextmanager
def _started_whole() -> Iterator[None]:
    """Put off interrupts, and have a process that is started meanwhile not hear them before `_begin` has run."""
    with interrupts_put_off():
        if sys.platform == "win32":
            yield
            return
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Make a new process ready: it hears its parent only, and ends with it."""
    os.environ.setdefault(*_ONE_OPENCV_THREAD)
    one_blas_thread()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # what a terminal says is for the parent, which ends this process
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # whoever has half-written files minds it (`runs.unfinished`)
    if sys.platform != "win32":
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT, signal.SIGHUP})
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process when its parent was killed, which could not tell it to."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        if sys.platform != "win32":
            signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)
        time.sleep(_LAST_WORDS_S)
        os._exit(_TOLD_TO_END)


def _done_or_ended(fn: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
    """Return what a task returns; where it was told to end meanwhile, end: the pool would take that for its answer."""
    try:
        return fn(*args, **kwargs)
    except SystemExit:
        os._exit(_TOLD_TO_END)

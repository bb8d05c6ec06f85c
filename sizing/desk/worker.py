"""One child process that does heavy work for the desk: one task at a time, with progress, ended when it fails.

A photo that makes its decoder grow or hang takes the child with it, never the desk: the child has limits of memory
and time and is started anew for the next task.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from sizing.errors import SizingError

Say = Callable[[str], None]
# A function of a module (it is found by its name), called with its arguments and `say`, told where to say progress.
Task = Callable[..., Any]


class WorkerError(SizingError):
    """The child could not do its task; the text says why."""


class Worker:
    """A child process, started at the first task and kept; tasks wait for each other.

    Parameters
    ----------
    memory_mb : int, optional
        Most address space of the child in MB, where the system knows such a limit.
    folder : Path, optional
        Where the child works: sizing rules are looked for from a job up to there.
    """

    def __init__(self, memory_mb: int | None = None, folder: Path | None = None) -> None:
        self._memory_mb = memory_mb
        self._folder = folder
        self._turn = threading.Lock()
        self._swap = threading.Lock()  # of the child itself, which another thread may end
        self._closed = False
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None

    def run(self, task: Task, *arguments: object, timeout_s: float | None = None, say: Say | None = None) -> Any:  # noqa: ANN401 -- as the task
        """Return what `task(*arguments, say=...)` returns in the child.

        Parameters
        ----------
        timeout_s : float, optional
            Longest silence of the child; after it the child is ended.
        say : callable, optional
            Called with each line that the task says on its way.

        Raises
        ------
        WorkerError
            The task failed, took too long, or the child came to its end.
        """
        with self._turn:
            pipe = self._started()
            try:
                pipe.send((task, arguments))
                while True:
                    if not pipe.poll(timeout_s):
                        self._end()
                        raise WorkerError(f"it took more than {timeout_s:.0f} s and was stopped")
                    kind, value = pipe.recv()
                    if kind == "say" and say is not None:
                        say(value)
                    elif kind == "failed":
                        raise WorkerError(value)
                    elif kind == "done":
                        return value
            except (EOFError, OSError) as error:
                self._end()
                raise WorkerError("the program that does this came to its end; try again") from error

    def close(self) -> None:
        """End the child for good, also one that is being started; a task that runs is lost."""
        self._closed = True
        self._end()

    def _started(self) -> Connection:
        if self._process is not None and self._process.is_alive() and self._pipe is not None:
            return self._pipe
        self._end()
        if self._closed:
            raise WorkerError("the desk was ended")
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self._memory_mb, self._folder), daemon=True)
        process.start()
        theirs.close()
        # only now: whoever closes the worker meanwhile must not find a process that has not started
        self._pipe, self._process = ours, process
        if self._closed:
            self._end()
            raise WorkerError("the desk was ended")
        return ours

    def _end(self) -> None:
        with self._swap:
            process, pipe, self._process, self._pipe = self._process, self._pipe, None, None
        if process is not None:
            process.kill()
            process.join(10)
            process.close()
        if pipe is not None:
            pipe.close()


def _serve(pipe: Connection, memory_mb: int | None, folder: Path | None) -> None:
    """Run tasks as they come, in the child, until the desk is gone."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C in the terminal is for the desk, which ends this child
    if folder is not None:
        os.chdir(folder)
    if memory_mb is not None:
        _limit_memory(memory_mb)
    with contextlib.suppress(EOFError, OSError):
        while True:
            task, arguments = pipe.recv()
            pipe.send(_answer(task, arguments, lambda line: pipe.send(("say", line))))


def _answer(task: Task, arguments: tuple[object, ...], say: Say) -> tuple[str, object]:
    try:
        return "done", task(*arguments, say=say)
    except MemoryError:
        return "failed", "it needs more memory than it may use"
    except Exception as error:  # a fault in one task must not end the desk; its text is shown with it
        return "failed", str(error) or type(error).__name__


def _limit_memory(memory_mb: int) -> None:
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_AS, (memory_mb << 20, memory_mb << 20))

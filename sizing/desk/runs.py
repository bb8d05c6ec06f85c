"""Tasks of the desk run in a child process, one after the other, with progress."""

from __future__ import annotations

import queue
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from sizing.desk.worker import Say, Task, Worker, WorkerError
from sizing.errors import InputError, Problem

State = Literal["waiting", "running", "done", "failed"]
# A child that says nothing for so long hangs; the longest silent step is one photo's trace.
_SILENCE_S = 600.0
CHECK = "check"
VERDICT_READY = "verdict ready, drawing pictures"
_KEPT = 200


@dataclass(frozen=True, slots=True)
class Run:
    """One task of the desk: what it is for, where it stands, and what it returned.

    `says` is the last line of progress, `steps` how many there were; `answer` is what the task returned (of a check:
    the folder of the run, as text). `ready` comes before the end of a check: the verdict is saved, pictures follow.
    """

    id: str
    job: str
    kind: str
    state: State = "waiting"
    says: str = ""
    steps: int = 0
    seconds: float = 0.0
    error: str = ""
    answer: Any = None

    @property
    def ready(self) -> bool:
        """Whether what was asked for can be shown."""
        return self.state == "done" or (self.state == "running" and self.says == VERDICT_READY)

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return self.state in ("done", "failed")


class Runs:
    """The desk's runs: one child, one queue; what is over is kept for a while so that its page can be shown.

    Parameters
    ----------
    folder : Path, optional
        The desk's, in which the child works.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._worker = Worker(folder=folder)
        self._lock = threading.Lock()
        self._runs: OrderedDict[str, Run] = OrderedDict()
        self._tasks: queue.SimpleQueue[tuple[str, Task, tuple[object, ...]] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def start(self, job: str, kind: str, task: Task, *arguments: object) -> str:
        """Queue a task for a job; return the id of its run, which is an older one's where the same still waits."""
        with self._lock:
            for run in self._runs.values():
                if (run.job, run.kind, run.state) == (job, kind, "waiting") and kind == CHECK:
                    return run.id
            run = Run(secrets.token_hex(8), job, kind)
            self._runs[run.id] = run
            while len(self._runs) > _KEPT and next(iter(self._runs.values())).over:
                self._runs.popitem(last=False)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="desk-runs", daemon=True)
                self._thread.start()
        self._tasks.put((run.id, task, arguments))
        return run.id

    def get(self, run: str) -> Run:
        """Return a run by its id; InputError where there is none."""
        with self._lock:
            found = self._runs.get(run)
        if found is None:
            raise InputError("no-such-file", [Problem(run[:40], "the desk knows no such run; start the check again")])
        return found

    def of(self, job: str) -> tuple[Run, ...]:
        """Return the runs of a job that wait or go on, oldest first."""
        with self._lock:
            return tuple(r for r in self._runs.values() if r.job == job and not r.over)

    def failed(self, job: str, kinds: Sequence[str]) -> Run | None:
        """Return the last run of a job and of these kinds if it failed, else None."""
        with self._lock:
            mine = [r for r in self._runs.values() if r.job == job and r.kind in kinds]
        return mine[-1] if mine and mine[-1].state == "failed" else None

    def warm(self) -> None:
        """Have the child started and its libraries loaded, so that the first check does not wait for them."""
        with self._lock:
            cold = self._thread is None
        if cold:
            self.start("", "warm", warm_task)

    def ended(self, job: str, kind: str) -> tuple[Run, ...]:
        """Return the runs of a job and kind that were done, oldest first."""
        with self._lock:
            return tuple(r for r in self._runs.values() if (r.job, r.kind, r.state) == (job, kind, "done"))

    def result(self, run: str) -> Any:  # noqa: ANN401 -- as the task
        """Wait for a run to be over and return its answer; WorkerError with the reason where it failed."""
        while not self.get(run).over:
            time.sleep(0.05)
        if self.get(run).state == "failed":
            raise WorkerError(self.get(run).error)
        return self.get(run).answer

    def close(self) -> None:
        """End the child and take no more tasks."""
        self._tasks.put(None)
        self._worker.close()
        if self._thread is not None:
            self._thread.join(10)

    def _change(self, run: str, **facts: Any) -> None:  # noqa: ANN401 -- fields of Run
        with self._lock:
            self._runs[run] = replace(self._runs[run], **facts)

    def _work(self) -> None:
        while (given := self._tasks.get()) is not None:
            run, task, arguments = given
            began = time.monotonic()
            self._change(run, state="running")
            try:
                answer = self._worker.run(task, *arguments, timeout_s=_SILENCE_S, say=self._sayer(run, began))
                self._change(run, state="done", answer=answer, seconds=time.monotonic() - began)
            except Exception as error:  # the thread must live on; the run's page shows the text
                says = str(error) if isinstance(error, WorkerError) else f"{type(error).__name__}: {error}"
                self._change(run, state="failed", error=says, seconds=time.monotonic() - began)

    def _sayer(self, run: str, began: float) -> Say:
        def say(line: str) -> None:
            steps = self.get(run).steps + 1
            self._change(run, says=line, steps=steps, seconds=time.monotonic() - began)

        return say


def warm_task(*, say: Say) -> None:
    """Load what a check needs; in the child."""
    from importlib import import_module

    for module in ("sizing.check", "sizing.result.document", "vision.estimate", "vision.joint.several_photos"):
        import_module(module)

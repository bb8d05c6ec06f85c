"""Progress of many jobs on stderr: a bar on a terminal, lines where that wants no escape codes, else nothing."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Protocol, cast

from sizing.commands.streams import explain, looked_at, to_stderr
from sizing.messages import at_once as words

if TYPE_CHECKING:
    from contextlib import AbstractContextManager


class Bar(Protocol):
    """What shows progress."""

    step: Callable[[str], None] | None
    """Told what one job has come to; None where nobody looks."""

    def in_work(self, names: Sequence[str], done: int) -> None:
        """Show which jobs are in work and how many are done."""

    def aside(self) -> AbstractContextManager[None]:
        """Keep out of the way of what is printed meanwhile."""


@contextmanager
def progress_of(total: int, quiet: bool) -> Iterator[Bar]:
    """Give what shows the progress of so many jobs, only where somebody looks and only on stderr."""
    if not looked_at(quiet):
        yield _Nothing()
    elif total == 1 or os.environ.get("NO_COLOR") or os.environ.get("TERM") in (None, "", "dumb", "unknown"):
        yield _Lines(total)
    else:
        bar = _Drawn(total)
        with bar.drawn():
            yield bar


class _Nothing:
    step: Callable[[str], None] | None = None

    def in_work(self, names: Sequence[str], done: int) -> None:
        """Show nothing."""

    @contextmanager
    def aside(self) -> Iterator[None]:
        yield


class _Lines(_Nothing):
    def __init__(self, total: int) -> None:
        self._total = total
        self._last = ""
        self.step = explain

    def in_work(self, names: Sequence[str], done: int) -> None:
        line = words.in_work(done, self._total, names)
        if self._total > 1 and line != self._last:
            explain(line)
        self._last = line


class _Drawn(_Nothing):
    def __init__(self, total: int) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn
        from rich.table import Column

        # What is printed on stdout never goes through it: where both are one terminal the bar is taken away meanwhile.
        console = Console(file=cast(IO[str], _Stderr()), force_terminal=True, markup=False, highlight=False)
        self._progress = Progress(
            BarColumn(24),
            TextColumn("{task.completed} of {task.total} jobs", markup=False),
            TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, overflow="ellipsis")),
            console=console,
            refresh_per_second=2,
            transient=True,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._task = self._progress.add_task("", total=total)
        self.step = self._step

    def in_work(self, names: Sequence[str], done: int) -> None:
        self._progress.update(self._task, completed=done, description=words.now(names))

    @contextmanager
    def drawn(self) -> Iterator[None]:
        with self._progress:
            yield

    @contextmanager
    def aside(self) -> Iterator[None]:
        self._progress.stop()
        try:
            yield
        finally:
            self._progress.start()

    def _step(self, text: str) -> None:
        self._progress.update(self._task, description=words.now([text]))


class _Stderr:
    """Stderr as a file that a terminal which has gone away does not stop."""

    def __init__(self) -> None:
        self.encoding = sys.stderr.encoding

    def write(self, text: str) -> int:
        to_stderr(text, end="")
        return len(text)

    def flush(self) -> None:
        """Nothing is held back."""

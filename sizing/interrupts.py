"""Ctrl+C, SIGTERM and a closed terminal: all end the program in the same way, and none in the middle of a line."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ENDING = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))


def end_as_interrupted() -> None:
    """Have this process end on SIGTERM and SIGHUP as on Ctrl+C: what is half written goes, whole lines stay.

    Where somebody chose to ignore one, as `nohup` does, that stays.
    """
    for number in _ENDING:
        if signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)


@contextmanager
def interrupts_put_off() -> Iterator[None]:
    """Put off an interrupt until what is in hand is whole: a line, all that is said of a job, a process that starts."""
    interrupts: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard = [n for n in (signal.SIGINT, *_ENDING) if signal.getsignal(n) is signal.default_int_handler]
    for number in heard:
        signal.signal(number, lambda number, _frame: interrupts.append(number))
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, signal.default_int_handler)
    if interrupts:
        raise KeyboardInterrupt

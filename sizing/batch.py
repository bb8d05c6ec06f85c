"""Many tasks through an executor: results in the order of the tasks, each as soon as it and all before it are done.

It knows nothing of where the tasks run: in other processes of this machine or on others.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
R = TypeVar("R")

# Where waiting for a lock cannot be interrupted (Windows) it is looked up so often.
_LOOK_S = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Batch(Generic[T, R]):
    """What is to be done with each item.

    `task` is found by its name where it runs. `failed` makes the result of an item whose task could not be done.
    Items of one `place` are never in work together; they go in their order. `landed` makes the result of what came
    back, in the order in which it comes, and `in_work` is told which items are handed out and how many are back.
    """

    task: Callable[[T], R]
    failed: Callable[[T, Exception], R]
    place: Callable[[T], Hashable]
    landed: Callable[[R], R]
    in_work: Callable[[Sequence[T], int], None]


def in_order(executor: Executor, batch: Batch[T, R], items: Sequence[T], at_once: int) -> Iterator[R]:
    """Yield the result of each item in their order; at most `at_once` are handed out at a time.

    Whoever stops early, or is interrupted, leaves nothing waiting; what is in work is for the executor to end.
    """
    waiting = dict.fromkeys(range(len(items)))
    places = [batch.place(item) for item in items]
    running: dict[Future[R], int] = {}
    done: dict[int, R] = {}
    back = 0

    def land(number: int, result: R) -> None:
        nonlocal back
        done[number] = batch.landed(result)
        back += 1

    def hand_out() -> None:
        busy = {places[number] for number in running.values()}
        for number in list(waiting):
            if len(running) >= at_once:
                break
            if places[number] in busy:
                continue
            del waiting[number]
            busy.add(places[number])
            try:
                running[executor.submit(batch.task, items[number])] = number
            except Exception as error:  # the executor is broken or gone: said of this item, and the next is tried
                land(number, batch.failed(items[number], error))
        batch.in_work([items[number] for number in sorted(running.values())], back)

    try:
        for number in range(len(items)):
            while number not in done:
                hand_out()
                for future in wait(running, _LOOK_S, FIRST_COMPLETED).done:
                    one = running.pop(future)
                    land(one, _result(future, batch, items[one]))
            hand_out()
            yield done.pop(number)
    finally:
        for future in running:
            future.cancel()


def _result(future: Future[R], batch: Batch[T, R], item: T) -> R:
    try:
        return future.result()
    except Exception as error:
        return batch.failed(item, error)

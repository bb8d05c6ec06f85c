"""Facts about results in order. Oracle: the order itself, events that a task waits for; executors of the library."""

import threading
import time
from concurrent.futures import Executor, ThreadPoolExecutor

import pytest

from sizing.batch import Batch, in_order

WAIT_S = 20


@pytest.fixture
def executor():
    with ThreadPoolExecutor(8) as threads:
        yield threads


def batch(task, *, place=lambda item: item, landed=lambda result: result, in_work=lambda items, back: None):
    return Batch(task, lambda item, error: (item, type(error).__name__), place, landed, in_work)


def test_results_come_in_the_order_of_the_items_though_the_last_is_done_first(executor):
    turns = [threading.Event() for _ in range(5)]
    turns[4].set()
    landed = []

    def task(item):
        assert turns[item].wait(WAIT_S)
        turns[item - 1].set()
        return item

    def note(item):
        landed.append(item)
        return item * 10

    assert list(in_order(executor, batch(task, landed=note), range(5), 5)) == [0, 10, 20, 30, 40]
    assert sorted(landed) == [0, 1, 2, 3, 4]


def test_a_result_is_there_as_soon_as_it_and_all_before_it_are_done(executor):
    goes_on = threading.Event()

    def task(item):
        assert item < 2 or goes_on.wait(WAIT_S)
        return item

    found = in_order(executor, batch(task), range(3), 3)
    assert [next(found), next(found)] == [0, 1]
    goes_on.set()
    assert list(found) == [2]


@pytest.mark.parametrize("at_once", [1, 2, 3])
def test_no_more_are_in_work_than_allowed_and_all_that_may_be(executor, at_once):
    together = threading.Barrier(at_once)  # broken, were there fewer
    shown = []

    def task(item):
        together.wait(WAIT_S)
        return item

    watched = batch(task, in_work=lambda items, back: shown.append((len(items), back)))
    assert list(in_order(executor, watched, range(6), at_once)) == [0, 1, 2, 3, 4, 5]
    assert max(number for number, _ in shown) == at_once
    assert shown[-1] == (0, 6)


def test_items_of_one_place_are_in_work_one_after_another_in_their_order(executor):
    lock, seen, at_work, together = threading.Lock(), [], set(), []

    def task(item):
        with lock:
            seen.append(item)
            together.append({other[0] for other in at_work} & {item[0]})
            at_work.add(item)
        time.sleep(0.01)
        with lock:
            at_work.remove(item)
        return item

    items = ["a1", "b", "a2", "c", "a3"]
    assert list(in_order(executor, batch(task, place=lambda item: item[0]), items, 5)) == items
    assert together == [set()] * 5
    assert [item for item in seen if item[0] == "a"] == ["a1", "a2", "a3"]


def test_what_a_task_fails_on_is_said_of_its_item_alone(executor):
    found = in_order(executor, batch(lambda item: 6 // item), [3, 0, 2], 2)
    assert list(found) == [2, (0, "ZeroDivisionError"), 3]


class TakesTwo(Executor):
    """An executor whose workers are gone after two tasks."""

    def __init__(self, threads):
        self._threads, self._taken = threads, 0

    def submit(self, fn, /, *args, **kwargs):
        self._taken += 1
        if self._taken > 2:
            raise ConnectionResetError
        return self._threads.submit(fn, *args, **kwargs)


def test_an_executor_that_takes_no_more_fails_each_item_that_is_left(executor):
    found = list(in_order(TakesTwo(executor), batch(lambda item: item), range(4), 2))
    assert found == [0, 1, (2, "ConnectionResetError"), (3, "ConnectionResetError")]


def test_who_stops_early_leaves_nothing_waiting():
    goes_on, begun = threading.Event(), []

    def task(item):
        begun.append(item)
        assert item == 0 or goes_on.wait(WAIT_S)
        return item

    with ThreadPoolExecutor(1) as one:
        found = in_order(one, batch(task), range(9), 4)
        assert next(found) == 0
        found.close()
        goes_on.set()
    assert len(begun) <= 2

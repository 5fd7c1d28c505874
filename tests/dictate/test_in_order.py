"""Work shared out among threads: in order, never more at once than is allowed at that moment, nothing waited for."""

from __future__ import annotations

import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dictate.hear import in_order


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 3), max_size=25), st.lists(st.integers(0, 4), min_size=1, max_size=8))
def test_in_order_and_never_more_than_allowed(tasks: list[int], allowed: list[int]) -> None:
    limits = iter(allowed)
    limit, running, most_over = allowed[0], 0, 0
    lock = threading.Lock()

    def at_once() -> int:
        nonlocal limit
        limit = next(limits, limit)
        return limit

    def work(task: int) -> int:
        nonlocal running, most_over
        with lock:
            running += 1
            most_over = max(most_over, running - max(*allowed, 1))
        time.sleep(task / 1000)
        with lock:
            running -= 1
        return task * 2

    assert list(in_order(work, tasks, at_once)) == [task * 2 for task in tasks]
    assert most_over <= 0


def test_a_limit_that_rises_and_falls() -> None:
    """The others get free in the middle, then busy again."""
    running: list[int] = []
    now, lock, limit = 0, threading.Lock(), 1

    def work(task: int) -> int:
        nonlocal now, limit
        with lock:
            now += 1
            running.append(now)
        limit = 3 if 5 <= task < 15 else 1
        time.sleep(0.01)
        with lock:
            now -= 1
        return task

    assert list(in_order(work, range(30), lambda: limit)) == list(range(30))
    assert max(running[:5]) == 1
    assert max(running[5:15]) > 1
    assert running[-5:] == [1] * 5


def test_closing_does_not_wait() -> None:
    hold = threading.Event()

    def work(task: int) -> int:
        if task:
            hold.wait(20)
        return task

    made = in_order(work, range(10), lambda: 2)
    assert next(made) == 0
    began = time.monotonic()
    made.close()
    assert time.monotonic() - began < 5
    hold.set()


def test_a_fault_comes_in_its_turn() -> None:
    def work(task: int) -> int:
        return 6 // task

    made = in_order(work, [1, 2, 0, 3], lambda: 2)
    assert (next(made), next(made)) == (6, 3)
    with pytest.raises(ZeroDivisionError):
        next(made)

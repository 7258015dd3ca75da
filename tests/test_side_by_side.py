"""Our own threads and those of linear algebra do not stand in each other's way."""

from __future__ import annotations

import os
import subprocess
import sys

from firedeck.kernel.threads import for_each

#: Told apart from the tests' own process, whose linear algebra may be held to one thread from the start.
_WATCHED = """
import threading
import scipy.linalg
from threadpoolctl import threadpool_info
from firedeck.kernel.threads import for_each, side_by_side

def most():
    return max(found["num_threads"] for found in threadpool_info() if found["user_api"] == "blas")

{}
"""


def _told(steps: str) -> list[str]:
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "2"}
    run = [sys.executable, "-c", _WATCHED.format(steps)]
    return subprocess.run(run, env=environment, capture_output=True, text=True, check=True).stdout.split()


def test_linear_algebra_keeps_to_one_thread_in_each_of_ours_and_has_its_own_back():
    steps = "print(most(), max(for_each(lambda _: most(), range(6))), most())"
    before, inside, after = _told(steps)
    assert (inside, after) == ("1", before)


def test_whoever_leaves_first_does_not_free_the_threads_of_who_is_still_at_work():
    steps = """
inside, leave = threading.Event(), threading.Event()
print(most())

def first():
    with side_by_side(1):
        inside.set()
        leave.wait(10.0)

other = threading.Thread(target=first)
other.start()
inside.wait(10.0)
with side_by_side(1):
    leave.set()
    other.join()
    print(most())
print(most())
"""
    before, inside, after = _told(steps)
    assert (inside, after) == ("1", before)


def test_a_fault_in_a_thread_gives_the_limit_back():
    steps = """
print(most())
try:
    for_each(lambda over: 1 / over, range(2))
except ZeroDivisionError:
    print("fault", most())
"""
    before, fault, after = _told(steps)
    assert (fault, after) == ("fault", before)


def test_the_largest_is_begun_with_and_answers_keep_their_order(monkeypatch):
    # One thread takes up what it is handed in the order in which that comes.
    monkeypatch.setattr("firedeck.kernel.threads._MOST_THREADS", 1)
    begun = []

    def work(size):
        begun.append(size)
        return -size

    assert for_each(work, [3, 9, 1, 7], size=lambda item: item) == [-3, -9, -1, -7]
    assert begun == [9, 7, 3, 1]
    assert for_each(work, [], size=abs) == []

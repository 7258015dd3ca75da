"""Work on many parts of a map, on all processors at once."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event, Lock, Thread
from typing import TypeVar

from threadpoolctl import ThreadpoolController

__all__ = ["for_each", "row_bands", "side_by_side"]

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")

#: More threads than this find nothing to do: a deck has a few long seals and many short ones.
_MOST_THREADS = 4


def for_each(
    work: Callable[[_Item], _Result], items: Iterable[_Item], size: Callable[[_Item], int] | None = None
) -> list[_Result]:
    """Apply `work` to every item in threads and return the results in the items' order.

    The work is array code that lets other threads run; it must not change what it shares. Where items
    differ much, `size` tells how large one is [1]: the largest are begun with, so that no thread is left
    alone with one at the end.
    """
    every = list(items)
    order = sorted(range(len(every)), key=lambda k: -size(every[k])) if size else range(len(every))
    with side_by_side(min(_MOST_THREADS, os.cpu_count() or 1)) as pool:
        found = dict(zip(order, pool.map(work, [every[k] for k in order]), strict=True))
    return [found[k] for k in range(len(every))]


@contextmanager
def side_by_side(workers: int) -> Iterator[ThreadPoolExecutor]:
    """Lend threads; until they are given back, linear algebra does not start any of its own.

    Its threads spin while they wait: with some to each of ours the processors are busy with waiting. It
    also makes what is computed here independent of how many threads linear algebra may use elsewhere.

    Parameters
    ----------
    workers : int
        How many threads [1].
    """
    with _ONE_EACH, ThreadPoolExecutor(workers) as pool:
        yield pool


class _OneEach:
    """Holds linear algebra to one thread from the first that enters to the last that leaves.

    The limit is the process's, and only the thread that set it can take it off again: a thread of its own
    does both, whoever comes first and goes last.
    """

    def __init__(self) -> None:
        self._lock, self._inside = Lock(), 0

    def __enter__(self) -> None:
        with self._lock:
            if not self._inside:
                self._set, self._over = Event(), Event()
                self._keeper = Thread(target=self._keep, daemon=True)
                self._keeper.start()
                self._set.wait()
            self._inside += 1

    def __exit__(self, *_fault: object) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside:
                self._over.set()
                self._keeper.join()

    def _keep(self) -> None:
        try:
            with _libraries().limit(limits=1, user_api="blas"):
                self._set.set()
                self._over.wait()
        finally:
            self._set.set()


_ONE_EACH = _OneEach()


@functools.cache
def _libraries() -> ThreadpoolController:
    import scipy.linalg  # noqa: F401  Only libraries that are loaded are found, and SciPy brings its own.

    return ThreadpoolController()


def row_bands(rows: int, deep: int) -> list[slice]:
    """Divide rows into bands of `deep` rows, the last one shorter."""
    return [slice(low, min(low + deep, rows)) for low in range(0, rows, deep)]

"""Work on many parts of a map, on all processors at once."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["for_each", "row_bands"]

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")

#: More threads than this find nothing to do: a deck has a few long seals and many short ones.
_MOST_THREADS = 4


def for_each(work: Callable[[_Item], _Result], items: Iterable[_Item]) -> list[_Result]:
    """Apply `work` to every item in threads and return the results in the items' order.

    The work is array code that lets other threads run; it must not change what it shares.
    """
    with ThreadPoolExecutor(min(_MOST_THREADS, os.cpu_count() or 1)) as pool:
        return list(pool.map(work, items))


def row_bands(rows: int, deep: int) -> list[slice]:
    """Divide rows into bands of `deep` rows, the last one shorter."""
    return [slice(low, min(low + deep, rows)) for low in range(0, rows, deep)]

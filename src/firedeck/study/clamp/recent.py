"""What was worked out last, by what it was worked out from."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["Recent"]

_V = TypeVar("_V")


class Recent(Generic[_V]):
    """What was worked out last, by what it was worked out from.

    Parameters
    ----------
    most : int
        How many are held [1].
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._held: OrderedDict[Hashable, _V] = OrderedDict()

    def get(self, key: Hashable) -> _V | None:
        """Return what is held, or None."""
        return self._held.get(key)

    def of(self, key: Hashable, make: Callable[[], _V]) -> _V:
        """Return what is held, made now where it is not."""
        if key not in self._held:
            self._held[key] = make()
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        self._held.move_to_end(key)
        return self._held[key]

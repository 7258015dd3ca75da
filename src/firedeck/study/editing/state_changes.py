"""What has changed from one state of a page to the next, so that little has to be sent for a small edit."""

from __future__ import annotations

import itertools
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["States", "change_between"]

#: States remembered, for pages that show them [1].
_MOST_STATES = 12

State = Mapping[str, Any]


class States:
    """The states that pages show, each with a mark by which a page tells which one it has."""

    def __init__(self) -> None:
        self._marks = itertools.count(1)
        self._known: OrderedDict[str, State] = OrderedDict()
        self._lock = threading.Lock()

    def answer(self, name: str, state: State, had: str) -> dict[str, object]:
        """Return a state as it is sent to a page.

        Parameters
        ----------
        name : str
            What it is the state of.
        state : mapping
            The state.
        had : str
            Mark of the state that the page shows; empty where it shows none.

        Returns
        -------
        dict
            ``mark`` and ``state``; or ``mark`` and ``change``, where the page's own state is remembered.
        """
        with self._lock:
            old = self._known.get(f"{name} {had}")
            mark = str(next(self._marks))
            self._known[f"{name} {mark}"] = state
            while len(self._known) > _MOST_STATES:
                self._known.popitem(last=False)
        if old is None:
            return {"mark": mark, "state": state}
        return {"mark": mark, "change": change_between(old, state)}


def change_between(old: State, new: State) -> dict[str, object]:
    """Return what makes one state from another.

    Parameters
    ----------
    old, new : mapping
        Two states with the same keys.

    Returns
    -------
    dict
        Of every key that differs: ``is``, the new value; ``in``, the change within it; or ``of``, a list's
        new items, with a pair of first place and count for items taken over from the old list. A text of
        several lines is changed as the list of its lines, and has ``lines`` for ``of``.
    """
    return {key: _change(old.get(key), value) for key, value in new.items() if old.get(key) != value}


def _change(old: object, new: object) -> dict[str, object]:
    if isinstance(old, Mapping) and isinstance(new, Mapping) and old.keys() == new.keys():
        return {"in": change_between(old, new)}
    if isinstance(old, list) and isinstance(new, list):
        return {"of": _items(old, new)}
    if isinstance(old, str) and isinstance(new, str) and "\n" in old:
        return {"lines": _items(old.split("\n"), new.split("\n"))}
    return {"is": new}


def _items(old: Sequence[object], new: Sequence[object]) -> list[object]:
    """Return a list's new items; what stands at its old place, from front or back, as runs."""
    shorter, shift = min(len(old), len(new)), len(new) - len(old)
    front = next((k for k in range(shorter) if old[k] != new[k]), shorter)
    items: list[object] = []
    for place, item in enumerate(new):
        known = place if place < front or not shift else place - shift
        if 0 <= known < len(old) and old[known] == item:
            last = items[-1] if items else None
            if isinstance(last, list) and last[0] + last[1] == known:
                last[1] += 1
            else:
                items.append([known, 1])
        else:
            items.append({"is": item})
    return items

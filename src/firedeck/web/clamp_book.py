"""Predicted joints that are open: brought up beside the server's work, a few of them kept."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firedeck.errors import FiredeckError
from firedeck.files.condensed_store import CondensedStore
from firedeck.study.bench import Bench
from firedeck.study.cache import cache_store
from firedeck.study.clamp.doubted import ClampDoubts
from firedeck.study.clamp.opened import OpenJoint, open_joint

__all__ = ["ClampBook", "ClampEntry"]

#: Joints kept open at once; each holds its condensed bodies, some tens of megabytes.
_MOST_OPEN = 4


class _NotCondensedError(FiredeckError):
    """The bodies of a joint are not in the cache."""


class _KeptOnly:
    """A store that has what was condensed before, and says so where something was not."""

    def __init__(self, store: CondensedStore) -> None:
        self._store = store

    def get(self, key: str) -> Mapping[str, npt.NDArray[np.float64]]:
        """Return what is kept."""
        found = self._store.get(key)
        if found is None:
            raise _NotCondensedError("head and block are not condensed yet")
        return found

    def put(self, key: str, arrays: Mapping[str, npt.NDArray[np.float64]]) -> None:
        """Nothing is condensed here."""


@dataclass
class ClampEntry:
    """A joint, and how far it is from being open.

    Attributes
    ----------
    state : str
        ``opening``, ``open``, ``uncondensed`` or ``failed``.
    opened : OpenJoint or None
        The joint once it is open.
    doubts : ClampDoubts or None
        How far its answers may be off, once it is open.
    fault : FiredeckError or None
        Why it cannot be opened.
    """

    state: Literal["opening", "open", "uncondensed", "failed"] = "opening"
    opened: OpenJoint | None = None
    doubts: ClampDoubts | None = None
    fault: FiredeckError | None = None


class ClampBook:
    """All joints that a server has open.

    Parameters
    ----------
    bench : Bench
        The folder.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._entries: OrderedDict[tuple[object, ...], ClampEntry] = OrderedDict()
        self._lock = threading.Lock()

    def entry(self, prediction: str, gasket: str = "", *, again: bool = False) -> ClampEntry:
        """Return a joint's entry; opening it begins where it has not.

        Parameters
        ----------
        prediction, gasket : str
            Files of the folder; no gasket stands for the prediction's own [text].
        again : bool
            Whether to try again what was not to be opened before.

        Raises
        ------
        FiredeckError
            If the folder holds no such files.
        """
        names = [name for name in (prediction, gasket) if name]
        for name in names:
            self._bench.existing(name)
        key = (*names, self._bench.definitions_stamp())
        with self._lock:
            entry = self._entries.get(key)
            if entry is None or (again and entry.state in ("uncondensed", "failed")):
                entry = self._entries[key] = ClampEntry()
                work = threading.Thread(target=self._open, args=(entry, prediction, gasket), daemon=True)
                work.start()
            self._entries.move_to_end(key)
            while len(self._entries) > _MOST_OPEN:
                self._entries.popitem(last=False)
            return entry

    def opened(self, prediction: str, gasket: str = "") -> tuple[OpenJoint, ClampDoubts]:
        """Return a joint that is open, and how far its answers may be off.

        Raises
        ------
        FiredeckError
            If it is not.
        """
        entry = self.entry(prediction, gasket)
        if entry.fault is not None:
            raise entry.fault
        if entry.opened is None or entry.doubts is None:
            raise FiredeckError("the joint is not open yet", where=prediction, remedy="load the page again")
        return entry.opened, entry.doubts

    def _open(self, entry: ClampEntry, prediction: str, gasket: str) -> None:
        try:
            self._bench.check_prediction_inside(prediction)
            opened = open_joint(self._bench.existing(prediction), gasket, _KeptOnly(cache_store()))
            entry.opened, entry.doubts = opened, ClampDoubts(opened)
            entry.state = "open"
        except _NotCondensedError:
            entry.state = "uncondensed"
        except FiredeckError as fault:
            entry.fault, entry.state = fault, "failed"
        except Exception as fault:  # a thread that ends without a word would leave the page waiting
            entry.fault = FiredeckError(f"firedeck has a fault of its own ({type(fault).__name__})")
            entry.state = "failed"
            raise

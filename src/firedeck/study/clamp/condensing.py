"""Condensed bodies put into the cache, with word of each."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from firedeck.contact import Store
from firedeck.errors import FiredeckError
from firedeck.study.progress import Progress

__all__ = ["TellingStore"]

#: What begins when a body is asked for: words, and share of the whole work done by then [1].
_BEGUN = (("condensing the head", 0.15), ("condensing the block", 0.55))


class TellingStore:
    """A store that tells how far the condensing of a joint is.

    Parameters
    ----------
    store : Store
        Where the bodies are kept.
    progress : callable
        Told when a body is begun.
    """

    def __init__(self, store: Store, progress: Progress) -> None:
        self._store, self._progress = store, progress
        self._keys: list[str] = []

    def get(self, key: str) -> Mapping[str, npt.NDArray[np.float64]] | None:
        """Return what the store holds."""
        words, share = _BEGUN[min(len(self._keys), len(_BEGUN) - 1)]
        self._keys.append(key)
        self._progress(words, share)
        return self._store.get(key)

    def put(self, key: str, arrays: Mapping[str, npt.NDArray[np.float64]]) -> None:
        """Keep a body."""
        self._store.put(key, arrays)

    def check_kept(self, where: str) -> None:
        """Make sure that all bodies are there for whoever opens the joint next.

        Parameters
        ----------
        where : str
            Folder of the cache, to be named in the fault [text].

        Raises
        ------
        FiredeckError
            If the cache did not keep one of them.
        """
        if any(self._store.get(key) is None for key in self._keys):
            raise FiredeckError(
                "head and block were condensed, but the cache could not keep them",
                where=where,
                remedy="make room on its disk and see that the folder can be written to, or let"
                " FIREDECK_CACHE name another folder and FIREDECK_CACHE_LIMIT a larger size, and start the"
                " pages again",
            )

"""Condensed bodies put into the cache, with word of each."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from firedeck.contact import Store
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
        self._asked = 0

    def get(self, key: str) -> Mapping[str, npt.NDArray[np.float64]] | None:
        """Return what the store holds."""
        words, share = _BEGUN[min(self._asked, len(_BEGUN) - 1)]
        self._asked += 1
        self._progress(words, share)
        return self._store.get(key)

    def put(self, key: str, arrays: Mapping[str, npt.NDArray[np.float64]]) -> None:
        """Keep a body."""
        self._store.put(key, arrays)

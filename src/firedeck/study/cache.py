"""The user's cache of condensed bodies: where it is, how large it may grow, what is in it."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firedeck.errors import FiredeckError
from firedeck.files.condensed_store import CondensedStore

__all__ = [
    "CacheState",
    "cache_folder",
    "cache_limit",
    "cache_state",
    "cache_store",
    "clear_cache",
    "trim_cache",
]

#: Size that the cache may grow to where nothing else is said [byte].
_LIMIT = 2_000_000_000

#: Variables of the environment that say otherwise.
FOLDER_VARIABLE, LIMIT_VARIABLE = "FIREDECK_CACHE", "FIREDECK_CACHE_LIMIT"


@dataclass(frozen=True)
class CacheState:
    """What the cache holds.

    Attributes
    ----------
    folder : str
        Where it is [text].
    limit : int
        Size that it may grow to [byte].
    files : int
        Condensed bodies in it [1].
    size : int
        Size of all of them [byte].
    damaged : int
        Files in it that cannot be read [1].
    removed : int
        Files that were just removed [1].
    """

    folder: str
    limit: int
    files: int
    size: int
    damaged: int
    removed: int = 0


class KeptBodies:
    """Condensed bodies kept in memory, for one run that predicts several joints."""

    def __init__(self) -> None:
        self._held: dict[str, Mapping[str, npt.NDArray[np.float64]]] = {}

    def get(self, key: str) -> Mapping[str, npt.NDArray[np.float64]] | None:
        """Return the arrays kept under a key, or None."""
        return self._held.get(key)

    def put(self, key: str, arrays: Mapping[str, npt.NDArray[np.float64]]) -> None:
        """Keep arrays under a key."""
        self._held[key] = arrays


def cache_folder() -> Path:
    """Return the folder of condensed bodies: ``FIREDECK_CACHE``, or where the system keeps caches."""
    stated = os.environ.get(FOLDER_VARIABLE)
    if stated:
        return Path(stated)
    home = Path.home()
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "firedeck" / "bodies"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "firedeck" / "bodies"
    return Path(os.environ.get("XDG_CACHE_HOME", home / ".cache")) / "firedeck" / "bodies"


def cache_limit() -> int:
    """Return the size that the cache may grow to [byte]: ``FIREDECK_CACHE_LIMIT`` in GB, or 2 GB.

    Raises
    ------
    FiredeckError
        If the variable is no number above zero.
    """
    stated = os.environ.get(LIMIT_VARIABLE)
    if stated is None:
        return _LIMIT
    try:
        return _bytes(float(stated))
    except ValueError as fault:
        raise FiredeckError(
            f"{stated!r} is no size for the cache",
            where=f"environment variable {LIMIT_VARIABLE}",
            remedy="write the size in GB as a number, for example 2",
        ) from fault


def _bytes(gigabytes: float) -> int:
    if not 0.0 < gigabytes < 1e5:
        raise ValueError(gigabytes)
    return round(1e9 * gigabytes)


def cache_store() -> CondensedStore:
    """Return the store that commands use."""
    return CondensedStore(cache_folder(), limit=cache_limit())


def cache_state(*, removed: int = 0) -> CacheState:
    """Look into the cache."""
    store = cache_store()
    held = store.held()
    damaged = sum(not store.is_sound(path) for path, _ in held)
    size = sum(size for _, size in held)
    return CacheState(str(store.folder), store.limit, len(held), size, damaged, removed)


def trim_cache(limit: float | None = None) -> CacheState:
    """Remove what is damaged and what was used longest ago until the rest fits the limit.

    Parameters
    ----------
    limit : float, optional
        Size to trim to [GB]; the cache's own unless given.

    Raises
    ------
    FiredeckError
        If the limit is not above zero.
    """
    store = cache_store()
    if limit is not None:
        try:
            store = CondensedStore(store.folder, limit=_bytes(limit))
        except ValueError as fault:
            raise FiredeckError(
                f"{limit:g} GB is no size for the cache", remedy="give a number above 0, or use clear"
            ) from fault
    return cache_state(removed=store.trim())


def clear_cache() -> CacheState:
    """Remove everything that firedeck put into the cache."""
    return cache_state(removed=cache_store().clear())

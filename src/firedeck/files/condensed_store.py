"""Condensed bodies kept between runs: one file to a key, safe beside other processes, of limited size."""

from __future__ import annotations

import contextlib
import os
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

__all__ = ["CondensedStore"]

Floats = npt.NDArray[np.float64]

#: How a damaged file shows itself, a flipped bit of its headers included: as one of another compression, of
#: a later version, encrypted, or of an array beyond all memory.
_DAMAGE = (OSError, EOFError, ValueError, RuntimeError, MemoryError, zipfile.BadZipFile, zlib.error)


class CondensedStore:
    """A folder of arrays under their hash.

    A file appears whole or not at all: it is written under another name and renamed. What was
    used longest ago goes first when the folder grows beyond its limit. A file that cannot be
    read counts as absent and is written again; a folder that cannot be written to keeps nothing.

    Parameters
    ----------
    folder : Path
        Where the files lie; made when the first is written.
    limit : int
        Size of all files together [byte].
    """

    def __init__(self, folder: Path, *, limit: int = 2_000_000_000) -> None:
        self.folder = folder
        self.limit = limit

    def get(self, key: str) -> Mapping[str, Floats] | None:
        """Return the arrays kept under `key`, or None."""
        path = self._path(key)
        try:
            with path.open("rb") as file:
                # Asked first: on half a file the reader of arrays leaves a handle open.
                if not zipfile.is_zipfile(file):
                    return None
                file.seek(0)
                with np.load(file, allow_pickle=False) as held:
                    arrays = {name: np.asarray(held[name], dtype=np.float64) for name in held.files}
            os.utime(path)
        except _DAMAGE:
            return None
        return arrays

    def put(self, key: str, arrays: Mapping[str, Floats]) -> None:
        """Keep `arrays` under `key`, and make room for them; where nothing can be written, keep nothing."""
        with contextlib.suppress(OSError):
            self._write(key, arrays)

    def _write(self, key: str, arrays: Mapping[str, Floats]) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(suffix=".part", dir=self.folder)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, allow_pickle=False, **dict(arrays))
            part.replace(self._path(key))
        finally:
            part.unlink(missing_ok=True)
        self._make_room(self._path(key))

    def held(self) -> list[tuple[Path, int]]:
        """Return the files that are kept with their sizes [byte], the longest unused first."""
        return [(path, size) for _, size, path in sorted(self._stats())]

    def is_sound(self, path: Path) -> bool:
        """Tell whether a kept file can be read from end to end."""
        try:
            with zipfile.ZipFile(path) as archive:
                return archive.testzip() is None
        except _DAMAGE:
            return False

    def trim(self) -> int:
        """Remove damaged files, drafts left behind, and what is beyond the limit; return how many."""
        before = self.held()
        for path, _ in before:
            if not self.is_sound(path):
                path.unlink(missing_ok=True)
        self._drop_drafts()
        self._make_room(None)
        return len(before) - len(self.held())

    def clear(self) -> int:
        """Remove every file that is kept; return how many."""
        before = self.held()
        for path, _ in before:
            path.unlink(missing_ok=True)
        self._drop_drafts()
        return len(before)

    def _drop_drafts(self) -> None:
        for path in self.folder.glob("*.part"):
            path.unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.npz"

    def _stats(self) -> list[tuple[int, int, Path]]:
        """Return when each file was used, its size and itself; another process may drop the same ones."""
        found = []
        for path in self.folder.glob("*.npz"):
            try:
                stat = path.stat()
            except FileNotFoundError:
                continue
            found.append((stat.st_mtime_ns, stat.st_size, path))
        return found

    def _make_room(self, newest: Path | None) -> None:
        """Drop the files used longest ago, never the newest."""
        held = self._stats()
        total = sum(size for _, size, _ in held)
        for _, size, path in sorted(held):
            if total <= self.limit:
                break
            if path != newest:
                path.unlink(missing_ok=True)
                total -= size

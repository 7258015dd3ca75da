"""Condensed bodies kept between runs: one file to a key, safe beside other processes, of limited size."""

from __future__ import annotations

import contextlib
import os
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

__all__ = ["CondensedStore"]

Floats = npt.NDArray[np.float64]


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
        except (OSError, EOFError, ValueError, zipfile.BadZipFile):
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

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.npz"

    def _make_room(self, newest: Path) -> None:
        """Drop the files used longest ago; another process may drop the same ones."""
        held = []
        for path in self.folder.glob("*.npz"):
            try:
                stat = path.stat()
            except FileNotFoundError:
                continue
            held.append((stat.st_mtime_ns, stat.st_size, path))
        total = sum(size for _, size, _ in held)
        for _, size, path in sorted(held):
            if total <= self.limit:
                break
            if path != newest:
                path.unlink(missing_ok=True)
                total -= size

"""What is dear to make and only looked at afterwards: made once for all workers of a test run."""

from __future__ import annotations

import functools
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from filelock import FileLock

#: Folder of this run that all its workers see; set as the run begins.
_run: list[Path] = []


def share_in(folder: Path) -> None:
    """Keep what is made once in a folder that all workers of the run see."""
    folder.mkdir(exist_ok=True)
    _run[:] = [folder]


@functools.cache
def _own() -> Path:
    """Return a folder for a process that is no test run."""
    return Path(tempfile.mkdtemp(prefix="made-once-"))


def made_once(name: str, make: Callable[[Path], object]) -> Path:
    """Return the folder of a name, filled by the first who asks; nobody writes into it afterwards."""
    folder = (_run[0] if _run else _own()) / name
    with FileLock(f"{folder}.lock"):
        if not folder.exists():
            draft = folder.with_name(f"{name}-draft")
            shutil.rmtree(draft, ignore_errors=True)
            draft.mkdir()
            make(draft)
            # Renamed when whole, so that what a fault left half done is made again.
            draft.rename(folder)
    return folder

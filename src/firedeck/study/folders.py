"""Folders written as a whole or not at all, and replaced only where nobody else's work is in them."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from firedeck import __version__
from firedeck.errors import FiredeckError

__all__ = ["check_folder", "write_folder"]

#: Lists what firedeck wrote into a folder, so that it may be replaced later; written last.
_MARKER = ".firedeck-output.json"

#: A file this much newer than the list was changed by someone else [s].
_LATER = 2.0


def check_folder(folder: Path, *, overwrite: bool = False) -> None:
    """Make sure that a folder may be written, before any long work.

    Parameters
    ----------
    folder : Path
        Where a report is to go.
    overwrite : bool
        Whether it may be replaced whatever it holds.

    Raises
    ------
    FiredeckError
        If the folder holds anything that firedeck did not write or that was changed since,
        or is no folder.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        raise FiredeckError(
            "this is a file, not a folder", where=str(folder), remedy="name a folder to write to"
        )
    foreign = [] if overwrite else _foreign(folder)
    if foreign:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        raise FiredeckError(
            f"the folder holds {foreign[0]!r}{more}, which firedeck did not write or which was changed since",
            where=str(folder),
            remedy="name another folder, or give --overwrite to replace all that is in it",
        )


def _foreign(folder: Path) -> list[str]:
    """Return the names in a folder that are not as firedeck wrote them."""
    marker = folder / _MARKER
    try:
        listed = set(json.loads(marker.read_text(encoding="utf-8"))["files"])
        written = marker.stat().st_mtime
    except (OSError, ValueError, KeyError, TypeError):
        return sorted(path.name for path in folder.iterdir())
    return sorted(
        path.name
        for path in folder.iterdir()
        if path != marker and (path.name not in listed or path.stat().st_mtime > written + _LATER)
    )


def write_folder(folder: Path, fill: Callable[[Path], None], *, overwrite: bool = False) -> None:
    """Let `fill` write into a draft beside the folder, then put the draft in the folder's place.

    Parameters
    ----------
    folder : Path
        The folder; one that firedeck wrote earlier is replaced.
    fill : callable
        Called with the draft's path; whatever it raises, nothing is left behind.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written.
    """
    check_folder(folder, overwrite=overwrite)
    target = folder.resolve()
    draft, old = (target.with_name(f".{target.name}.{os.getpid()}.{end}") for end in ("draft", "old"))
    try:
        draft.mkdir(parents=True)
        fill(draft)
        listed = {"firedeck": __version__, "files": sorted(path.name for path in draft.iterdir())}
        (draft / _MARKER).write_text(json.dumps(listed, indent=1), encoding="utf-8")
        if target.exists():
            target.rename(old)
        draft.rename(target)
    except OSError as fault:
        if old.exists() and not target.exists():
            old.rename(target)
        reason = (fault.strerror or type(fault).__name__).lower()
        raise FiredeckError(
            f"the folder cannot be written ({reason})",
            where=str(folder),
            remedy="check that you may write there and that there is space",
        ) from fault
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        shutil.rmtree(old, ignore_errors=True)

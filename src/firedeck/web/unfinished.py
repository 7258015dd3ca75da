"""What a server that was killed had begun: found at the next start, cleared away, and told."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

__all__ = ["clear_unfinished"]

#: Folders and files being written carry the number of the process that writes them.
_DRAFT = re.compile(r"\.(?P<name>.+)\.(?P<process>\d+)\.(?P<end>draft|old)")


def clear_unfinished(folder: Path) -> tuple[str, ...]:
    """Remove what was begun and never finished; a result that was being replaced is put back.

    Parameters
    ----------
    folder : Path
        The bench. What a process that still runs is writing there is left alone.

    Returns
    -------
    tuple of str
        What was cut short, in words.
    """
    cut = set()
    for path in sorted(folder.iterdir()):
        draft = _DRAFT.fullmatch(path.name)
        if path.name.startswith((".import-", ".example-")):
            cut.add("a file that was being brought in" if path.is_file() else "the example")
        elif draft and not _runs(int(draft["process"])):
            cut.add(draft["name"])
            if draft["end"] == "old" and not (folder / draft["name"]).exists():
                path.rename(folder / draft["name"])
                continue
        else:
            continue
        _remove(path)
    return tuple(sorted(cut))


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except PermissionError:
        return True
    except (OSError, OverflowError):
        return False
    return True


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)

"""What a server that was killed had begun: found at the next start, cleared away, and told."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path

__all__ = ["DRAFT_START", "clear_unfinished", "note_under_way"]

#: Folders and files being written carry the number of the process that writes them.
_DRAFT = re.compile(r"\.(?P<name>.+)\.(?P<process>\d+)\.(?P<end>draft|old)")


#: A file that is being brought in: a number of its own and the file's name follow.
DRAFT_START = ".import-"
_BROUGHT = re.compile(re.escape(DRAFT_START) + r"[0-9a-f]+-(?P<name>.+)")

#: File with the titles of the jobs under way, with the number of the server that runs them.
_UNDER_WAY = re.compile(r"\.under-way\.(?P<process>\d+)\.json")


def note_under_way(folder: Path, titles: list[str]) -> None:
    """Keep the titles of the jobs that this process has under way; with none, nothing is kept.

    Parameters
    ----------
    folder : Path
        The bench.
    titles : list of str
        What is being done or waits, in words.
    """
    path = folder / f".under-way.{os.getpid()}.json"
    try:
        if titles:
            draft = path.with_suffix(".new")
            draft.write_text(json.dumps(titles, ensure_ascii=False), encoding="utf-8")
            draft.replace(path)
        else:
            path.unlink(missing_ok=True)
    except OSError:
        return  # a note for bad days: a folder that takes none must not keep the work from being done


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
        draft, under_way = _DRAFT.fullmatch(path.name), _UNDER_WAY.fullmatch(path.name)
        brought = _BROUGHT.fullmatch(path.name)
        if brought:
            cut.add(brought["name"])
        elif path.name.startswith(".example-"):
            cut.add("the example")
        elif draft and not _runs(int(draft["process"])):
            cut.add(draft["name"])
            if draft["end"] == "old" and not (folder / draft["name"]).exists():
                path.rename(folder / draft["name"])
                continue
        elif under_way and not _runs(int(under_way["process"])):
            cut.update(_titles(path))
        else:
            continue
        _remove(path)
    return tuple(sorted(cut))


def _titles(path: Path) -> list[str]:
    try:
        titles = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return [str(title) for title in titles] if isinstance(titles, list) else []


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

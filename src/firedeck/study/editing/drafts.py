"""Drafts of definition files: edits are kept beside the file until they are written into it.

A draft knows which state of the file it builds on. Where the file has changed meanwhile, an untouched
draft follows it; one with edits stands in conflict with it until somebody chooses.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import threading
from dataclasses import dataclass
from pathlib import Path

from firedeck.errors import FiredeckError
from firedeck.files.definition_file import LARGEST_FILE, replace_file
from firedeck.study.bench import Bench
from firedeck.study.editing.history import History

__all__ = ["GONE", "Draft", "Drafts", "revision"]

#: Hidden folder of the bench that drafts are kept in, and how their files are written.
_FOLDER = ".firedeck-drafts"
_FORMAT = 1

#: Revision of a file that is not there.
GONE = "gone"

_MARK = "\ufeff"


def revision(text: str | None) -> str:
    """Return what tells one text from any other, as 16 digits."""
    return GONE if text is None else hashlib.sha256(text.encode()).hexdigest()[:16]


@dataclass
class Draft:
    """A definition file being edited.

    Attributes
    ----------
    name : str
        Name of the file.
    history : History
        The text and its steps.
    base : str
        Revision of the file that the draft builds on.
    disk : str or None
        Text of the file as it is now; None where it is gone.
    """

    name: str
    history: History
    base: str
    disk: str | None

    @property
    def text(self) -> str:
        """The text as edited."""
        return self.history.text

    @property
    def revision(self) -> str:
        """Revision of the text as edited."""
        return revision(self.text)

    @property
    def written(self) -> bool:
        """Whether the file says the same."""
        return self.text == self.disk

    @property
    def in_conflict(self) -> bool:
        """Whether the file has changed beneath the edits."""
        return not self.written and revision(self.disk) != self.base


class Drafts:
    """All drafts of a bench.

    Parameters
    ----------
    bench : Bench
        The bench.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.lock = threading.RLock()
        self._open: dict[str, Draft] = {}

    def look(self, name: str) -> Draft:
        """Return the draft of a file, brought up to date with the file.

        Parameters
        ----------
        name : str
            Name of the file.

        Returns
        -------
        Draft
            The draft.

        Raises
        ------
        FiredeckError
            If there is neither file nor draft, or the file is no text.
        """
        path = self.bench.place(name)
        with self.lock:
            disk = _disk_text(path)
            draft = self._open.get(name) or self._kept(name, disk)
            draft.disk = disk
            if disk is not None and revision(disk) != draft.base and self._is_untouched(draft):
                draft.history.change(disk, "changed outside these pages")
                self._keep(draft)
            if draft.written:
                draft.base = revision(disk)
            self._open[name] = draft
            return draft

    def unwritten(self) -> list[str]:
        """Return the names of all files that have a draft which says something else, by name."""
        found = []
        for path in sorted((self.bench.folder / _FOLDER).glob("*.json")):
            name = path.name.removesuffix(".json")
            # What cannot be opened has no draft that could be written.
            with contextlib.suppress(FiredeckError):
                if not self.look(name).written:
                    found.append(name)
        return found

    @staticmethod
    def _is_untouched(draft: Draft) -> bool:
        return draft.revision == draft.base

    def change(self, name: str, seen: str, text: str, label: str, *, burst: str = "") -> Draft:
        """Take over a changed text as one step of the draft.

        Parameters
        ----------
        name : str
            Name of the file.
        seen : str
            Revision of the draft that the change was made on.
        text : str
            The changed text.
        label : str
            What was done.
        burst : str
            Joins the step before, where that is of the same burst.

        Raises
        ------
        FiredeckError
            If the draft has changed meanwhile, or the text is too long.
        """
        with self.lock:
            draft = self._seen(name, seen)
            if len(text.encode()) > LARGEST_FILE:
                raise FiredeckError("the text is too long for a definition", where=name)
            draft.history.change(text, label, burst=burst)
            self._keep(draft)
            return draft

    def undo(self, name: str, seen: str) -> Draft:
        """Take back the latest step; as `change`."""
        with self.lock:
            draft = self._seen(name, seen)
            draft.history.undo()
            self._keep(draft)
            return draft

    def redo(self, name: str, seen: str) -> Draft:
        """Do the step again that was undone last; as `change`."""
        with self.lock:
            draft = self._seen(name, seen)
            draft.history.redo()
            self._keep(draft)
            return draft

    def write(self, name: str, seen: str, disk: str) -> Draft:
        """Write the draft over the file, in one step.

        Parameters
        ----------
        name : str
            Name of the file.
        seen : str
            Revision of the draft that is meant.
        disk : str
            Revision of the file that may be replaced.

        Raises
        ------
        FiredeckError
            If draft or file have changed meanwhile, or the file cannot be written.
        """
        with self.lock:
            draft = self._seen(name, seen)
            if draft.in_conflict or revision(draft.disk) != disk:
                raise FiredeckError(
                    "the file has changed since this draft was begun; nothing was written",
                    where=name,
                    remedy="compare both and choose",
                )
            path = self.bench.place(name)
            mark = _MARK if path.exists() and path.read_bytes().startswith(_MARK.encode()) else ""
            replace_file(path, name, mark + draft.text)
            draft.disk = draft.text
            draft.base = draft.revision
            self._keep(draft)
            return draft

    def settle(self, name: str, seen: str, disk: str, *, take_file: bool) -> Draft:
        """End a conflict: go on with the draft, or with the file; either can be undone to the other.

        Parameters
        ----------
        name : str
            Name of the file.
        seen, disk : str
            Revisions of draft and file that were compared.
        take_file : bool
            Whether the file's text becomes the draft.

        Raises
        ------
        FiredeckError
            If either has changed meanwhile.
        """
        with self.lock:
            draft = self._seen(name, seen)
            if revision(draft.disk) != disk:
                raise FiredeckError("the file has changed again", where=name, remedy="compare once more")
            mine = draft.text
            if draft.disk is not None:
                draft.history.change(draft.disk, "the version of the file")
            if not take_file:
                draft.history.change(mine, "the version of this page")
            draft.base = disk
            self._keep(draft)
            return draft

    def _seen(self, name: str, seen: str) -> Draft:
        draft = self.look(name)
        if draft.revision != seen:
            raise FiredeckError(
                "the file was changed meanwhile, on another page or on disk; this change was not made",
                where=name,
                remedy="look at it as it is now and make the change again",
            )
        return draft

    def _file(self, name: str) -> Path:
        return self.bench.folder / _FOLDER / f"{name}.json"

    def _kept(self, name: str, disk: str | None) -> Draft:
        """Return the draft that was kept for a file, or a new one where none can be used."""
        try:
            kept = json.loads(self._file(name).read_text(encoding="utf-8"))
            if kept["format"] == _FORMAT:
                return Draft(name, History.from_plain(kept), str(kept["base"]), disk)
        except (OSError, ValueError, KeyError, TypeError):
            pass  # nothing was kept, or nothing that can be used: the file itself is always there
        if disk is None:
            raise FiredeckError("the folder holds nothing of that name", where=name)
        return Draft(name, History(disk), revision(disk), disk)

    def _keep(self, draft: Draft) -> None:
        path = self._file(draft.name)
        if path.parent.is_symlink():
            raise FiredeckError(
                "the folder for drafts leads elsewhere", where=_FOLDER, remedy="move that link away"
            )
        path.parent.mkdir(exist_ok=True)
        kept = {"format": _FORMAT, "base": draft.base, **draft.history.plain()}
        replace_file(path, draft.name, json.dumps(kept))


def _disk_text(path: Path) -> str | None:
    """Return the text of a file, None where it is gone."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise FiredeckError("the file is larger than any definition", where=path.name)
        return path.read_bytes().decode("utf-8").removeprefix(_MARK)
    except FileNotFoundError:
        return None
    except UnicodeDecodeError as fault:
        raise FiredeckError("the file is not text in UTF-8", where=path.name) from fault
    except OSError as fault:
        reason = (fault.strerror or type(fault).__name__).lower()
        raise FiredeckError(f"the file cannot be read ({reason})", where=path.name) from fault

"""A definition file being edited as its page shows it, whatever it defines."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any, Protocol

from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import parse_text
from firedeck.files.definition_places import Places, find_places, line_of
from firedeck.study.editing.drafts import Draft, Drafts, revision
from firedeck.study.editing.entry import Edited, Entry, Field
from firedeck.study.editing.found import Found

__all__ = ["Data", "Paper", "draft_state", "write_draft"]

#: Lines shown round each difference of two versions [1].
_CONTEXT = 2

_LONGEST_LINE = 160

#: What a text says.
Data = Mapping[str, Any]


class Paper(Protocol):
    """A kind of definition file: what its entries are, how they are changed, and what is wrong with them.

    Attributes
    ----------
    word : str
        What such a file defines, such as ``deck plan``.
    owner : str
        Key by which other files say that they belong to such a file; empty where none does.
    kinds : mapping
        What can be added: ``GROUP|KIND`` to words.
    """

    @property
    def word(self) -> str:
        """What such a file defines."""

    @property
    def owner(self) -> str:
        """Key by which other files say that they belong to it."""

    @property
    def kinds(self) -> Mapping[str, str]:
        """What can be added."""

    def entries(self, data: Data) -> Iterable[Entry]:
        """Return every entry that the text has, whether sound or not."""

    def fields(self, entry: Entry, data: Data) -> tuple[Field, ...]:
        """Return what of an entry can be edited."""

    def is_movable(self, entry: Entry) -> bool:
        """Tell whether an entry has a place of its own on the plan."""

    def can_go(self, entry: Entry) -> bool:
        """Tell whether an entry can be deleted."""

    def findings(self, name: str, text: str) -> tuple[Found, ...]:
        """Return everything wrong or doubtful with a text."""

    def facts(self, name: str, text: str) -> list[tuple[str, str]]:
        """Return what follows from a sound text, in words and numbers with their unit."""

    def shapes(self, data: Data) -> dict[str, object] | None:
        """Return what is drawn [mm]; None where nothing is or can be."""

    def enter(self, text: str, key: str, field: str, typed: str) -> Edited:
        """Take over what was typed into one field of an entry."""

    def move(self, text: str, key: str, shift: tuple[float, float]) -> Edited:
        """Move an entry [mm]."""

    def add(self, text: str, group: str, kind: str, at: tuple[float, float], around: str) -> Edited:
        """Add an entry, like the last one of its kind."""

    def delete(self, text: str, key: str) -> Edited:
        """Delete an entry."""


def write_draft(
    drafts: Drafts, paper: Paper, name: str, seen: str, disk: str, *, faulty: bool = False
) -> Draft:
    """Write a draft into its file.

    Parameters
    ----------
    drafts : Drafts
        The drafts.
    paper : Paper
        What the file is.
    name : str
        Name of the file.
    seen, disk : str
        Revisions of the draft that is meant and of the file that it replaces.
    faulty : bool
        Whether somebody said that what has faults shall be written.

    Returns
    -------
    Draft
        The draft, written.

    Raises
    ------
    FiredeckError
        If the text defines nothing, has faults that nobody accepted, or `Drafts.write` refuses.
    """
    with drafts.lock:
        found = {one.severity for one in paper.findings(name, drafts.look(name).text)}
        if "unreadable" in found:
            raise FiredeckError(
                f"the text defines no {paper.word}; the file was left as it is",
                where=name,
                remedy="mend what is marked, or undo",
            )
        if "fault" in found and not faulty:
            raise FiredeckError(
                f"the {paper.word} has faults; the file was left as it is",
                where=name,
                remedy="mend them, or say that it shall be written with its faults",
            )
        return drafts.write(name, seen, disk)


def draft_state(draft: Draft, paper: Paper) -> dict[str, object]:
    """Return all that a page shows of a definition being edited.

    Parameters
    ----------
    draft : Draft
        The draft.
    paper : Paper
        What the file is.

    Returns
    -------
    dict
        Revisions, history, text, entries with their fields and lines, shapes [mm], facts and findings.
    """
    history = draft.history
    try:
        data = parse_text(draft.name, draft.text)
    except DefinitionError:
        data = {}
    places = find_places(draft.text) if data else Places()
    return {
        "name": draft.name,
        "revision": draft.revision,
        "disk": revision(draft.disk),
        "written": draft.written,
        "conflict": _conflict(draft) if draft.in_conflict else None,
        "undo": history.done[-1].label if history.done else "",
        "redo": history.undone[-1].label if history.undone else "",
        "text": draft.text.replace("\r\n", "\n"),
        "entries": _entries(paper, draft.text, data, places),
        "plan": paper.shapes(data) if data else None,
        "facts": [list(one) for one in paper.facts(draft.name, draft.text)],
        "findings": [one.plain() for one in paper.findings(draft.name, draft.text)],
    }


def _entries(paper: Paper, text: str, data: Data, places: Places) -> list[dict[str, object]]:
    return [
        {
            "key": entry.key,
            "group": entry.group,
            "name": entry.name,
            "what": entry.what,
            "lines": _lines(text, places, entry.path or ("name",), whole=bool(entry.path)),
            "fields": [vars(field) for field in paper.fields(entry, data)],
            "movable": paper.is_movable(entry),
            "can_go": paper.can_go(entry),
        }
        for entry in (paper.entries(data) if data else ())
    ]


def _lines(text: str, places: Places, path: tuple[str | int, ...], *, whole: bool) -> list[int]:
    span = (places.entry(path) if whole else None) or places.nearest(path)
    return [line_of(text, span.start), line_of(text, span.end)] if span else [1, 1]


def _conflict(draft: Draft) -> list[dict[str, object]]:
    """Return both versions side by side where they differ: line numbers and lines of page and file."""
    mine, other = draft.text.splitlines(), (draft.disk or "").splitlines()
    groups = difflib.SequenceMatcher(None, mine, other, autojunk=False).get_grouped_opcodes(_CONTEXT)
    return [
        {
            "differs": what != "equal",
            "mine": _shown_line(mine, a0 + k) if a0 + k < a1 else None,
            "file": _shown_line(other, b0 + k) if b0 + k < b1 else None,
        }
        for group in groups
        for what, a0, a1, b0, b1 in group
        for k in range(max(a1 - a0, b1 - b0))
    ]


def _shown_line(lines: list[str], place: int) -> list[object]:
    line = lines[place]
    return [place + 1, line if len(line) <= _LONGEST_LINE else f"{line[:_LONGEST_LINE]} …"]

"""A deck plan being edited as a page shows it: text, entries, shapes, and what is wrong where."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from firedeck.definition.deck import DeckPlan
from firedeck.definition.plan_checks import check_plan
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import check_definition, parse_text
from firedeck.files.definition_places import Places, find_places, line_of
from firedeck.study.editing.deck_entries import GROUPS, entries_of, fields_of, group_of
from firedeck.study.editing.drafts import Draft, Drafts, revision
from firedeck.study.plan_shapes import shape_plan

__all__ = ["Found", "deck_state", "findings_of", "write_plan"]

#: Lines shown round each difference of two versions [1].
_CONTEXT = 2

_LONGEST_LINE = 160


@dataclass(frozen=True)
class Found:
    """One thing wrong or doubtful, with its place in the text.

    Attributes
    ----------
    severity : str
        ``unreadable`` where the text defines no plan, else ``fault`` or ``doubt`` of the plan's check.
    key : str
        Path of the key, or line and column.
    entry : str
        Key of the entry that it belongs to.
    line : int
        Line of the text, from 1.
    message, remedy : str
        What is wrong, and what would mend it.
    at : tuple of float or None
        Where on the plan [mm].
    """

    severity: str
    key: str
    entry: str
    line: int
    message: str
    remedy: str
    at: tuple[float, float] | None = None

    def plain(self) -> dict[str, object]:
        """Return it as plain values."""
        return {**vars(self), "at": list(self.at) if self.at else None}


@functools.lru_cache(maxsize=8)
def findings_of(name: str, text: str) -> tuple[Found, ...]:
    """Return everything wrong or doubtful with a plan's text, as ``firedeck joint check`` finds it.

    What was found in the latest texts is remembered.

    Parameters
    ----------
    name : str
        Name of the file.
    text : str
        Its text.
    """
    try:
        data = parse_text(name, text)
    except DefinitionError as error:
        fault = error.faults[0]
        line = int(fault.key.split(",")[0].removeprefix("line "))
        return (Found("unreadable", fault.key, "", line, fault.message, fault.remedy),)
    places = find_places(text)
    try:
        plan = check_definition(name, data, DeckPlan)
    except DefinitionError as error:
        return tuple(
            Found(
                "unreadable",
                one.key,
                group_of(one.key),
                _line(text, places, one.key),
                one.message,
                one.remedy,
            )
            for one in error.faults
        )
    return tuple(
        Found(
            one.severity,
            one.key,
            group_of(one.key),
            _line(text, places, one.key),
            one.message,
            one.remedy,
            one.at,
        )
        for one in check_plan(plan)
    )


def _line(text: str, places: Places, key: str) -> int:
    """Return the line of a key written as ``seal[3].band``."""
    path: list[str | int] = []
    for part in key.split("."):
        name, *numbers = part.replace("]", "").split("[")
        path += [name, *(int(number) - 1 for number in numbers if number.isdigit())]
    span = places.nearest(tuple(path))
    return line_of(text, span.start) if span else 1


def write_plan(drafts: Drafts, name: str, seen: str, disk: str, *, faulty: bool = False) -> Draft:
    """Write a plan's draft into its file.

    Parameters
    ----------
    drafts : Drafts
        The drafts.
    name : str
        Name of the file.
    seen, disk : str
        Revisions of the draft that is meant and of the file that it replaces.
    faulty : bool
        Whether somebody said that a plan with faults shall be written.

    Returns
    -------
    Draft
        The draft, written.

    Raises
    ------
    FiredeckError
        If the text defines no plan, has faults that nobody accepted, or `Drafts.write` refuses.
    """
    with drafts.lock:
        found = {one.severity for one in findings_of(name, drafts.look(name).text)}
        if "unreadable" in found:
            raise FiredeckError(
                "the text defines no deck plan; the file was left as it is",
                where=name,
                remedy="mend what is marked, or undo",
            )
        if "fault" in found and not faulty:
            raise FiredeckError(
                "the plan has faults; the file was left as it is",
                where=name,
                remedy="mend them, or say that it shall be written with its faults",
            )
        return drafts.write(name, seen, disk)


def deck_state(draft: Draft) -> dict[str, object]:
    """Return all that a page shows of a plan being edited.

    Parameters
    ----------
    draft : Draft
        The draft.

    Returns
    -------
    dict
        Revisions, history, text, entries with their fields and lines, shapes [mm] and findings.
    """
    found = findings_of(draft.name, draft.text)
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
        "entries": _entries(draft.text, data, places),
        "plan": _shapes(data),
        "findings": [one.plain() for one in found],
    }


def _entries(text: str, data: Mapping[str, Any], places: Places) -> list[dict[str, object]]:
    return [
        {
            "key": entry.key,
            "group": entry.group,
            "name": entry.name,
            "what": entry.what,
            "lines": _lines(text, places, entry.path or ("name",), whole=bool(entry.path)),
            "fields": [vars(field) for field in fields_of(entry, data)],
            "movable": _is_movable(entry.group, entry.data),
        }
        for entry in (entries_of(data) if data else ())
    ]


def _is_movable(group: str, data: Mapping[str, Any]) -> bool:
    return group in GROUPS and ("path" in data or (group != "seal" and "centre" in data))


def _lines(text: str, places: Places, path: tuple[str | int, ...], *, whole: bool) -> list[int]:
    span = (places.entry(path) if whole else None) or places.nearest(path)
    return [line_of(text, span.start), line_of(text, span.end)] if span else [1, 1]


def _shapes(data: Mapping[str, Any]) -> dict[str, object] | None:
    """Return the shapes of all sound entries; None where the plan as such leaves nothing to draw."""
    kept = {key: list(value) if isinstance(value, list) else value for key, value in data.items()}
    places = {
        group: list(range(1, len(kept[group]) + 1)) for group in GROUPS if isinstance(kept.get(group), list)
    }
    for _ in range(2):
        try:
            plan = DeckPlan.model_validate(kept)
        except ValidationError as error:
            bad = {one["loc"][:2] for one in error.errors() if len(one["loc"]) > 1}
            for group, own in places.items():
                sound = [k for k in range(len(own)) if (group, k) not in bad]
                kept[group] = [kept[group][k] for k in sound]
                places[group] = [own[k] for k in sound]
            continue
        return _with_keys(shape_plan(plan), places)
    return None


def _with_keys(shapes: dict[str, object], places: Mapping[str, list[int]]) -> dict[str, object]:
    """Call every shape by its key in the text, where faulty entries before it were left out."""
    for shape in (*_list(shapes["openings"]), *_list(shapes["seals"])):
        group, _, number = str(shape["key"]).rstrip("]").partition("[")
        shape["key"] = f"{group}[{places[group][int(number) - 1]}]"
    return shapes


def _list(value: object) -> Iterable[dict[str, object]]:
    return value if isinstance(value, list) else ()


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

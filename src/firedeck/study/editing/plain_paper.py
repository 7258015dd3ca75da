"""Any definition file as its page edits it: the tables of its text, as forms made from its model."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import get_origin

from firedeck.definition.quantities import Definition
from firedeck.errors import FiredeckError
from firedeck.files.definition_faults import key_path
from firedeck.files.definition_file import parse_text
from firedeck.files.definition_models import models_in
from firedeck.files.definition_splice import Value, add_entry, drop_entry, drop_key, put_value
from firedeck.study.editing.entry import Edited, Entry, Field
from firedeck.study.editing.found import Found, read_or_find
from firedeck.study.editing.paper import Data
from firedeck.study.editing.plain_entries import (
    group_of,
    plain_entries,
    plain_entry,
    plain_fields,
    value_of,
)

__all__ = ["PlainPaper"]


class PlainPaper:
    """A definition file of any kind.

    Parameters
    ----------
    model : type
        What it defines.
    word : str
        What that is called.
    """

    owner = ""

    def __init__(self, model: type[Definition], word: str) -> None:
        self.model = model
        self.word = word

    @property
    def kinds(self) -> Mapping[str, str]:
        """The lists of tables that the file may have."""
        lists = [
            info.alias or name
            for name, info in self.model.model_fields.items()
            if get_origin(info.annotation) is tuple and models_in(info.annotation)
        ]
        return {f"{key}|": key.replace("-", " ") for key in lists}

    def entries(self, data: Data) -> Iterable[Entry]:
        """Return the file itself and every table of it."""
        return plain_entries(data)

    def fields(self, entry: Entry, data: Data) -> tuple[Field, ...]:
        """Return what a table states, and what it may state."""
        return plain_fields(entry, data, self.model)

    def is_movable(self, _entry: Entry) -> bool:
        """Tell that nothing has a place of its own."""
        return False

    def can_go(self, entry: Entry) -> bool:
        """Tell whether it is one of a list that stands in the file itself."""
        return len(entry.path) == 2 and isinstance(entry.path[1], int)

    def findings(self, name: str, text: str) -> tuple[Found, ...]:
        """Return everything that keeps the text from defining what it is to define."""
        read = self.read(name, text)
        return read if isinstance(read, tuple) else ()

    def read(self, name: str, text: str) -> Definition | tuple[Found, ...]:
        """Return what the text defines, or its faults."""

        def group(key: str) -> str:
            return group_of(parse_text(name, text), key)

        return read_or_find(name, text, self.model, group)

    def facts(self, _name: str, _text: str) -> list[tuple[str, str]]:
        """Return nothing."""
        return []

    def shapes(self, _data: Data) -> dict[str, object] | None:
        """Return nothing to draw."""
        return None

    def enter(self, text: str, key: str, field: str, typed: str) -> Edited:
        """Take over what was typed into one field; what is a fault there is refused.

        Raises
        ------
        FiredeckError
            If it cannot stand there; ``where`` names the field.
        """
        data = parse_text(self.word, text)
        entry = plain_entry(data, key)
        path, typed = (*entry.path, field), typed.strip()
        label = f"{field} of {entry.name}"
        if not typed:
            changed = drop_key(text, path)
        else:
            value: Value = value_of(entry, field, typed, data, self.model)
            changed = put_value(text, path, value)
        self._refuse(text, changed, path)
        return changed, label, key

    def _refuse(self, text: str, changed: str, path: tuple[str | int, ...]) -> None:
        """Raise where a change brings a fault at its own key."""
        place = key_path(path)
        known = {(one.key, one.message) for one in self.findings(self.word, text)}
        for one in self.findings(self.word, changed):
            own = one.key == place or one.key.startswith((f"{place}[", f"{place}."))
            if own and (one.key, one.message) not in known:
                raise FiredeckError(one.message, where=str(path[-1]), remedy=one.remedy)

    def move(self, _text: str, key: str, _shift: tuple[float, float]) -> Edited:
        """Refuse: nothing has a place of its own.

        Raises
        ------
        FiredeckError
            Always.
        """
        raise FiredeckError("this has no place of its own", where=key[:40], remedy="change its values")

    def add(self, text: str, group: str, kind: str, at: tuple[float, float], around: str) -> Edited:
        """Add a table like the last one of its list.

        Raises
        ------
        FiredeckError
            If the list is empty, or its tables hold others: such are begun in the text.
        """
        del kind, at, around
        data = parse_text(self.word, text)
        known = data.get(group)
        there = known if f"{group}|" in self.kinds and isinstance(known, list) else []
        values = dict(there[-1]) if there and isinstance(there[-1], dict) else {}
        if not values or any(isinstance(one, dict) for one in values.values()):
            raise FiredeckError(
                "there is none of its kind that could be copied",
                where=group[:40],
                remedy=f"write [[{group[:40]}]] and its keys into the text",
            )
        if isinstance(values.get("name"), str):
            values["name"] = free_name(values["name"], [str(one.get("name", "")) for one in there])
        return add_entry(text, group, values), f"new {group}", f"{group}[{len(there) + 1}]"

    def delete(self, text: str, key: str) -> Edited:
        """Delete a table of a list, with the comments right at it.

        Raises
        ------
        FiredeckError
            If it is none.
        """
        data = parse_text(self.word, text)
        entry = plain_entry(data, key)
        if not self.can_go(entry):
            raise FiredeckError("this is a part of the file", where=key, remedy="change it instead")
        group, place = str(entry.path[0]), int(entry.path[1])
        left = len(data[group]) - 1
        neighbour = f"{group}[{min(place + 1, left)}]" if left else "file"
        return drop_entry(text, group, place), f"{entry.name} deleted", neighbour


def free_name(name: str, taken: list[str]) -> str:
    """Return a name with the next free number."""
    stem = re.sub(r" ?\d+$", "", name)
    number = 2
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"

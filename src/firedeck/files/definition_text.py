"""The TOML text of a definition: written anew, or an existing text changed only where needed."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.container import Container
from tomlkit.items import AoT, Item, Table

from firedeck.definition.quantities import Definition
from firedeck.errors import FiredeckError

__all__ = ["new_text", "updated_text"]

#: A value of TOML's own types, however deep.
Value = Any
Plain = dict[str, Value]


def new_text(definition: Definition) -> str:
    """Return a definition as TOML, keys in the model's order, values that are defaults left out."""
    document = tomlkit.document()
    _fill(document, _plain(definition, defaults=False))
    return tomlkit.dumps(document)


def updated_text(text: str, before: Definition, after: Definition) -> str:
    """Return a text that defined `before` changed so that it defines `after`.

    Parameters
    ----------
    text : str
        TOML text of `before`, with comments.
    before, after : Definition
        What the text says and what it shall say.

    Raises
    ------
    FiredeckError
        If the text's layout does not allow the change to be made.
    """
    ending = "\r\n" if "\r\n" in text else "\n"
    text = text.replace("\r\n", "\n")
    full_before = _plain(before, defaults=True)
    for known in (full_before, {}):  # second try: nothing of the old values is trusted
        document = tomlkit.parse(text)
        _change(document, known, _plain(after, defaults=True), _plain(after, defaults=False))
        changed = tomlkit.dumps(document)
        if _says(changed, after):
            return changed.replace("\n", ending)
    raise FiredeckError(
        "the file cannot be updated without losing its layout",
        remedy="write to a new file and copy the comments over by hand",
    )


def _says(text: str, wanted: Definition) -> bool:
    """Tell whether a text reads back as the wanted definition, to the digits that are written."""
    try:
        found = type(wanted).model_validate(tomllib.loads(text))
    except ValueError:
        return False
    return _to_digits_written(found) == _to_digits_written(wanted)


def _to_digits_written(definition: Definition) -> Definition:
    return type(definition).model_validate(_plain(definition, defaults=True))


def _plain(definition: Definition, *, defaults: bool) -> Plain:
    """Return the definition as TOML's own types, ``kind`` and ``format`` always among them."""
    full = definition.model_dump(by_alias=True, exclude_none=True)
    if defaults:
        return {key: _plain_value(value) for key, value in full.items()}
    short = definition.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True)
    marks = {"kind", "format"} & full.keys()
    return {key: _plain_value(short.get(key, full[key])) for key in full if key in short.keys() | marks}


def _plain_value(value: object) -> Value:
    if isinstance(value, Mapping):
        return {key: _plain_value(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain_value(item) for item in value]
    return str(value) if isinstance(value, str) else value


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)


def _fill(target: TOMLDocument | Table, values: Plain) -> None:
    """Write keys first and tables last, as TOML needs it."""
    for key in sorted(values, key=lambda key: isinstance(values[key], dict) or _is_tables(values[key])):
        target.add(key, _item(values[key]))


def _item(value: object) -> Item:
    if isinstance(value, dict):
        table = tomlkit.table()
        _fill(table, value)
        return table
    if _is_tables(value):
        tables = tomlkit.aot()
        for entry in value:  # type: ignore[attr-defined]
            tables.append(_item(entry))
        return tables
    return _array(value) if isinstance(value, list) else tomlkit.item(value)


def _inline_item(value: object) -> Item:
    """Write a value so that it can stand behind an equals sign."""
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.add(key, _inline_item(inner))
        return table
    return _array(value) if isinstance(value, list) else tomlkit.item(value)


def _array(values: Sequence[object]) -> Item:
    if len(values) > 2 and all(isinstance(value, list) for value in values):
        rows = "".join(f"    {json.dumps(value)},\n" for value in values)  # lists of numbers only
        return tomlkit.value(f"[\n{rows}]")
    array = tomlkit.array()
    for value in values:
        array.append(_inline_item(value))
    return array


def _change(target: Container | Table, before: Plain, after: Plain, short: Plain) -> None:
    """Bring a table of the text up to date; what says the same already is left as it is."""
    for key in [key for key in target if key not in after or _is_emptied(target[key], after[key])]:
        target.remove(key)
    for key, value in after.items():
        if key in target:
            if key not in before or before[key] != value:
                _change_value(target, key, before.get(key), value, short.get(key, value))
        elif key in short and before.get(key) != value:
            target.add(key, _spaced(_item(short[key])))


def _spaced(item: Item) -> Item:
    """Set a new table off from what stands above it by an empty line."""
    for table in item if isinstance(item, AoT) else [item]:
        if isinstance(table, Table) and not table.trivia.indent.startswith("\n"):
            table.trivia.indent = "\n" + table.trivia.indent
    return item


def _is_emptied(old: object, value: object) -> bool:
    return isinstance(old, AoT) and value == []


def _change_value(target: Container | Table, key: str, before: Value, value: Value, short: Value) -> None:
    old = target[key]
    if isinstance(value, dict) and isinstance(old, Table):
        _change(old, before or {}, value, short)
    elif _is_tables(value) and isinstance(old, AoT):
        _change_tables(old, before or [], value, short)
    else:
        target[key] = _inline_item(short)


def _change_tables(old: AoT, before: list[Plain], after: list[Plain], short: list[Plain]) -> None:
    """Change the entries of an array of tables, matched by name, else by place."""
    places = {label: place for place, label in enumerate(_labels(old.unwrap()))}
    kept = []
    for place, label in enumerate(_labels(after)):
        at = places.get(label)
        if at is None:
            kept.append(_spaced(_item(short[place])))
        else:
            _change(old[at], before[at] if at < len(before) else {}, after[place], short[place])
            kept.append(old[at])
    if [id(table) for table in kept] != [id(table) for table in old]:
        while len(old):
            del old[0]
        for table in kept:
            old.append(table)


def _labels(entries: list[Plain]) -> list[str | int]:
    """Return the entries' names, or their places where names are missing or not unique."""
    names = [entry["name"] for entry in entries if "name" in entry]
    return names if len(set(names)) == len(entries) else list(range(len(entries)))

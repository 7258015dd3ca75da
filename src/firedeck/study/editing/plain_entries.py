"""The entries of any definition's text as a person edits them: its tables, as the model knows them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from firedeck.files.definition_faults import key_path
from firedeck.files.definition_models import field_of, models_at, models_in, quantity_kind
from firedeck.files.definition_splice import Value
from firedeck.study.editing.entry import Entry, Field, also_in_mm, entry_by_key, shown

__all__ = ["FILE_KEY", "group_of", "plain_entries", "plain_entry", "plain_fields", "value_of"]

#: Key of the entry that stands for the file's own keys.
FILE_KEY = "file"

#: Keys that say what a file is, which a form does not change.
_KEPT = ("kind", "format")

_Data = Mapping[str, Any]
_Path = tuple[str | int, ...]


def plain_entries(data: _Data) -> Iterator[Entry]:
    """Return the file itself and every table of it, in the order of the text.

    Parameters
    ----------
    data : mapping
        What the text says.

    Yields
    ------
    Entry
        The entries; a table within another is named after both.
    """
    yield Entry(FILE_KEY, FILE_KEY, (), shown(data.get("name")) or "the file", "the file itself", data)
    yield from _tables(data, (), "")


def _tables(table: _Data, path: _Path, within: str) -> Iterator[Entry]:
    for key, value in table.items():
        several = isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)
        for place, one in enumerate(value if several else [value]):
            if not isinstance(one, dict):
                continue
            own: _Path = (*path, key, place) if several else (*path, key)
            word = _words(key)
            name = shown(one.get("name")) or (f"{word} {place + 1}" if several else word)
            yield Entry(key_path(own), key, own, f"{within}{name}", word, one)
            yield from _tables(one, own, f"{within}{name}: ")


def plain_entry(data: _Data, key: str) -> Entry:
    """Return one entry by its key.

    Raises
    ------
    FiredeckError
        If the text has none.
    """
    return entry_by_key(plain_entries(data), key)


def group_of(data: _Data, key: str) -> str:
    """Return the entry that a fault's key belongs to, the innermost that the text has."""
    known = [entry.key for entry in plain_entries(data) if entry.path]
    inner = [one for one in known if key == one or key.startswith((f"{one}.", f"{one}["))]
    return max(inner, key=len, default=FILE_KEY)


def plain_fields(entry: Entry, data: _Data, model: type[BaseModel]) -> tuple[Field, ...]:
    """Return what of an entry can be edited: what the text states, then what the model allows besides.

    Parameters
    ----------
    entry : Entry
        The entry.
    data : mapping
        What the text says as a whole.
    model : type
        What the file defines.

    Returns
    -------
    tuple of Field
        The fields, in the order of the model.
    """
    models = models_at(data, model, entry.path)
    keys = [info.alias or name for one in models for name, info in one.model_fields.items()]
    stray = [key for key in entry.data if key not in keys]
    fields = (
        _field(entry, key, models) for key in dict.fromkeys([*keys, *stray]) if not _is_kept(entry, key)
    )
    return tuple(field for field in fields if field is not None)


def _is_kept(entry: Entry, key: str) -> bool:
    return not entry.path and key in _KEPT


def _field(entry: Entry, key: str, models: tuple[type[BaseModel], ...]) -> Field | None:
    """Return one field; None for tables, and for what no form can hold, such as a date."""
    annotation, _ = field_of(models, key)
    stated = key in entry.data
    value = entry.data.get(key)
    if not (_is_plain(value) if stated else not models_in(annotation)):
        return None
    label = _words(key).capitalize() + ("" if stated else " (not stated)")
    if choices := _choices(annotation):
        now = shown(value)
        return Field(key, label, now, "choice", tuple(dict.fromkeys((now, *choices))))
    if isinstance(value, list) or (not stated and _is_list(annotation)):
        rows = value if isinstance(value, list) else []
        return Field(key, f"{label}, one a line", "\n".join(_row(one) for one in rows), "lines")
    text = shown(value)
    length = quantity_kind(annotation) == "length"
    return Field(key, label, text, also=also_in_mm(text) if length else "")


def _is_plain(value: object) -> bool:
    if isinstance(value, list):
        return all(_is_plain(one) for one in value)
    return isinstance(value, (str, int, float))


def _row(item: object) -> str:
    return ", ".join(shown(one) for one in item) if isinstance(item, list) else shown(item)


def _words(key: str) -> str:
    return key.replace("_", " ").replace("-", " ")


def _choices(annotation: object) -> tuple[str, ...]:
    """Return the words that a key allows; empty where it allows any."""
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return tuple(str(one.value) for one in annotation)
    if annotation is bool:
        return ("true", "false")
    if get_origin(annotation) is Literal:
        words = get_args(annotation)
        return tuple(words) if all(isinstance(word, str) for word in words) else ()
    return next((found for inner in get_args(annotation) if (found := _choices(inner))), ())


def _is_list(annotation: object) -> bool:
    origin = get_origin(annotation)
    return origin in (tuple, list) or any(_is_list(inner) for inner in get_args(annotation))


def value_of(entry: Entry, key: str, typed: str, data: _Data, model: type[BaseModel]) -> Value:
    """Return what was typed into a field as the text is to hold it.

    Parameters
    ----------
    entry : Entry
        The entry.
    key : str
        The field.
    typed : str
        What was typed.
    data : mapping
        What the text says as a whole.
    model : type
        What the file defines.

    Returns
    -------
    str, number, bool or list
        Of the kind that stands there, or that the model has there; as text where it is no such thing, so
        that the check of the whole says what is wrong.
    """
    annotation, _ = field_of(models_at(data, model, entry.path), key)
    old = entry.data.get(key)
    if isinstance(old, list) or (key not in entry.data and _is_list(annotation)):
        rows = [line.strip() for line in typed.splitlines() if line.strip()]
        return [_item(row, old, annotation) for row in rows]
    if typed in ("true", "false") and (isinstance(old, bool) or "bool" in str(annotation)):
        return typed == "true"
    bare = isinstance(old, (int, float)) or (not isinstance(old, str) and not quantity_kind(annotation))
    return _number(typed) if bare else typed


def _item(row: str, old: object, annotation: object) -> Value:
    like = old[0] if isinstance(old, list) and old else None
    numbers = isinstance(like, (int, float)) or (like is None and "float" in str(annotation))
    if isinstance(like, list):
        parts = [part.strip() for part in row.strip("[]").split(",")]
        return [
            _number(part) if isinstance(one, (int, float)) else part for part, one in _paired(parts, like)
        ]
    return _number(row) if numbers else row


def _paired(parts: list[str], like: list[object]) -> list[tuple[str, object]]:
    return [(part, like[min(place, len(like) - 1)]) for place, part in enumerate(parts)]


def _number(text: str) -> Value:
    """Return a text as a number where it is one."""
    for kind in (int, float):
        try:
            number = kind(text)
        except ValueError:
            continue
        return number if abs(number) < 1e15 else text
    return text

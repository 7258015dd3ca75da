"""Single changes to a TOML text: what is not changed keeps every byte, comments and layout included.

Each change is read back and compared with what was meant before it is handed out.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

from firedeck.errors import FiredeckError
from firedeck.files.definition_places import Path, Places, Span, find_places
from firedeck.files.toml_text import read_toml

__all__ = ["add_entry", "drop_entry", "drop_key", "number_like", "put_value", "written"]

#: What may stand for a key: text, a bare number, yes or no, or a list of them.
Value = str | float | int | bool | Sequence["Value"]

#: Most decimals that a changed coordinate is written with [1]; 0.1 micrometre, or 0.025 in inches.
_MOST_DECIMALS = 6


def put_value(text: str, path: Path, value: Value) -> str:
    """Return a text with one value changed, or its key added.

    Parameters
    ----------
    text : str
        A text that reads as TOML.
    path : Path
        Where the value stands, or shall stand, in a table that is there.
    value : str, number or sequence
        The value; numbers are written with the decimals of those that they replace.

    Raises
    ------
    FiredeckError
        If the text's layout does not allow the change.
    """
    places = find_places(text)
    wanted = _put(read_toml(text), path, value)
    if path in places.values:
        return _checked(_replaced(text, places, path, value), wanted)
    table = places.tables.get(path[:-1])
    inline = places.values.get(path[:-1])
    line = f"{tomlkit.key(str(path[-1])).as_string()} = {written(value)}"
    if inline is not None:
        comma = ", " if text[inline.start + 1 : inline.end - 1].strip() else ""
        return _checked(_spliced(text, Span(inline.end - 1, inline.end - 1), comma + line), wanted)
    if table is None:
        raise _no_place()
    last = _last_line(text, table.end)
    return _checked(_spliced(text, Span(last, last), _ending(text) + line), wanted)


def drop_key(text: str, path: Path) -> str:
    """Return a text without one key; as `put_value`."""
    places = find_places(text)
    if path not in places.values:
        return text
    if path not in places.statements:
        raise _no_place()
    span = places.statements[path]
    start, end = text.rfind("\n", 0, span.start) + 1, _next_line(text, span.end)
    wanted = copy.deepcopy(read_toml(text))
    del _parent(wanted, path)[path[-1]]
    return _checked(_spliced(text, Span(start, end), ""), wanted)


def add_entry(text: str, group: str, values: Mapping[str, Value]) -> str:
    """Return a text with one more entry of a list of tables, behind the last one of that list.

    Parameters
    ----------
    text : str
        A text that reads as TOML.
    group : str
        Key of the list, such as ``bore``.
    values : mapping
        Key to value of the new entry.

    Raises
    ------
    FiredeckError
        If the text's layout does not allow the change.
    """
    data = read_toml(text)
    places = find_places(text)
    if (group,) in places.values:
        raise _no_place()
    ending = _ending(text)
    lines = [f"[[{group}]]", *(f"{key} = {written(value)}" for key, value in values.items())]
    count = len(data.get(group, []))
    before = places.entry((group, count - 1)) if count else None
    at = _entry_end(text, before, places) if before else len(text.rstrip())
    body = text[:at]
    body += ending * 2 + ending.join(lines)
    rest = text[at:]
    wanted = copy.deepcopy(data)
    wanted.setdefault(group, []).append(_plain(dict(values)))
    return _checked(body + (rest if rest.strip() else ending), wanted)


def drop_entry(text: str, group: str, place: int) -> str:
    """Return a text without one entry of a list of tables, with the comments that stand right at it.

    Parameters
    ----------
    text : str
        A text that reads as TOML.
    group : str
        Key of the list.
    place : int
        Which entry, from 0.

    Raises
    ------
    FiredeckError
        If the text's layout does not allow the change.
    """
    places = find_places(text)
    span = places.entry((group, place))
    wanted = copy.deepcopy(read_toml(text))
    if span is None:
        raise _no_place()
    del wanted[group][place]
    if not wanted[group]:
        del wanted[group]
    start = _above(text, span.start)
    end = min(len(text), _entry_end(text, span, places))
    rest = text[end:].lstrip("\r\n")
    # The empty lines above stay as the distance to what follows; at the end of the file they go.
    body = text[:start] if rest else text[:start].rstrip() + _ending(text)
    return _checked(body + rest, wanted)


def written(value: Value) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError as fault:
            raise FiredeckError(
                "the text holds half a character", remedy="type it again without that sign"
            ) from fault
        return tomlkit.string(value).as_string()
    if isinstance(value, Sequence):
        return f"[{', '.join(written(one) for one in value)}]"
    return str(value).lower() if isinstance(value, bool) else number_like("", value)


def number_like(old: str, value: float) -> str:
    """Return a number as text with at least the decimals of the text that it replaces."""
    plain = re.fullmatch(r"[+-]?[\d_]+(?:\.(\d+))?", old.strip())
    decimals = len(plain[1] or "") if plain else 0
    needed = f"{value:.{_MOST_DECIMALS}f}".rstrip("0").rstrip(".")
    short = len(needed.partition(".")[2])
    text = f"{value:.{max(min(decimals, _MOST_DECIMALS), short)}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def _replaced(text: str, places: Places, path: Path, value: Value) -> str:
    """Replace a value, within a list of the same length only the numbers that differ."""
    changes = list(_differences(text, places, path, value))
    for span, new in sorted(changes, key=lambda change: -change[0].start):
        text = _spliced(text, span, new)
    return text


def _differences(text: str, places: Places, path: Path, value: Value) -> list[tuple[Span, str]]:
    span = places.values[path]
    old = text[span.start : span.end]
    if isinstance(value, (str, bool)):
        return [(span, written(value))] if _read(old) != value else []
    if not isinstance(value, Sequence):
        return [(span, number_like(old, value))] if _read(old) != value else []
    there = (*path, len(value) - 1) in places.values and (*path, len(value)) not in places.values
    if not there or not value:
        return [(span, written(value))]
    inner = (_differences(text, places, (*path, place), one) for place, one in enumerate(value))
    return [change for changes in inner for change in changes]


def _read(value: str) -> object:
    return tomllib.loads(f"x = {value}")["x"]


def _put(data: dict[str, Any], path: Path, value: Value) -> dict[str, Any]:
    wanted = copy.deepcopy(data)
    _parent(wanted, path)[path[-1]] = _plain(value)
    return wanted


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(one) for one in value]
    return value


def _parent(data: Any, path: Path) -> Any:  # noqa: ANN401 - tables and lists by turns
    for part in path[:-1]:
        data = data[part]
    return data


def _checked(text: str, wanted: dict[str, Any]) -> str:
    """Return the text if it says what was meant."""
    try:
        found = read_toml(text)
    except tomllib.TOMLDecodeError as fault:
        raise _no_place() from fault
    if not _same(found, wanted):
        raise _no_place()
    return text


def _same(found: object, wanted: object) -> bool:
    """Compare two readings, numbers to the decimals that are written."""
    if isinstance(wanted, dict) and isinstance(found, dict):
        return found.keys() == wanted.keys() and all(_same(found[key], wanted[key]) for key in wanted)
    if isinstance(wanted, list) and isinstance(found, list):
        pairs = zip(found, wanted, strict=False)
        return len(found) == len(wanted) and all(_same(*pair) for pair in pairs)
    if isinstance(wanted, (int, float)) and isinstance(found, (int, float)):
        return abs(found - wanted) <= 10.0**-_MOST_DECIMALS
    return found == wanted


def _no_place() -> FiredeckError:
    return FiredeckError(
        "the layout of the file does not allow this change", remedy="make the change in the text"
    )


def _spliced(text: str, span: Span, new: str) -> str:
    return text[: span.start] + new + text[span.end :]


def _ending(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _last_line(text: str, at: int) -> int:
    """Return the end of the line that a place lies on, before its line ending."""
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if text[:end].endswith("\r") else end


def _next_line(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _above(text: str, at: int) -> int:
    """Return where the comment lines right above a line begin."""
    start = text.rfind("\n", 0, at) + 1
    while start:
        line = text.rfind("\n", 0, start - 1) + 1
        if not text[line:start].lstrip().startswith("#"):
            break
        start = line
    return start


def _entry_end(text: str, span: Span, places: Places) -> int:
    """Return the end of an entry's last line, with comments right under it unless a heading follows them."""
    end = _last_line(text, span.end)
    headings = {one.start for one in places.tables.values()}
    reach = end
    while reach < len(text):
        start = _next_line(text, reach)
        line = text[start : _last_line(text, start)]
        if any(start <= heading <= start + len(line) for heading in headings):
            return end
        if not line.lstrip().startswith("#"):
            return reach
        reach = start + len(line)
    return reach

"""Single edits of a deck plan's text: what is typed, moved, added or deleted, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from firedeck.definition.deck import PortKind
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import parse_text
from firedeck.files.definition_splice import Value, add_entry, drop_entry, drop_key, put_value
from firedeck.study.editing.deck_entries import (
    GROUPS,
    PLAN_KEY,
    entries_of,
    entry_of,
    names_of,
    unit_of,
)
from firedeck.study.editing.entry import Edited, Entry
from firedeck.units import parse_quantity

__all__ = ["add_feature", "delete_feature", "enter_value", "move_feature", "new_seal"]

_INCH_MM = 25.4

#: Decimals of a coordinate that was moved, by unit [1].
_DECIMALS = {"mm": 4, "in": 6}

#: Diameter of the first of its kind, where no other can be taken as an example.
_FIRST_DIAMETERS = {"bore": "86 mm", "fastener-hole": "12 mm", "dowel": "9 mm", "port": "8 mm"}

#: Keys that hold lengths with their own unit, and keys that hold lists of names.
_LENGTHS = ("diameter", "offset", "band")
_NAMES = ("inside", "outside")

#: Keys that may be left empty, and are left out then.
_OPTIONAL = ("note", "origin", "inside", "outside", "offset")


def enter_value(text: str, key: str, field: str, typed: str) -> Edited:
    """Take over what was typed into one field of an entry.

    Parameters
    ----------
    text : str
        The plan's text.
    key : str
        Key of the entry, such as ``bore[2]``.
    field : str
        The field, as `Field.key`.
    typed : str
        What was typed; lengths with their unit, which is kept in the text.

    Returns
    -------
    tuple of str
        The changed text, what was done, and the entry's key.

    Raises
    ------
    FiredeckError
        If it cannot stand there; ``where`` names the field.
    """
    data = parse_text("the plan", text)
    entry = entry_of(data, key)
    typed = typed.strip()
    label = f"{'position' if field in ('x', 'y') else field} of {entry.name or entry.what}"
    if field in ("x", "y"):
        return _enter_coordinate(text, data, entry, field, typed), label, key
    path = (*entry.path, field)
    if not typed and field in _OPTIONAL:
        return drop_key(text, path), label, key
    changed = put_value(text, path, _value(field, typed, unit_of(data)))
    if field == "name" and entry.group in GROUPS and entry.group != "seal":
        changed = _renamed(changed, data, entry.name, typed)
    return changed, label, key


def _value(field: str, typed: str, unit: str) -> Value:
    """Return what was typed as the text is to hold it."""
    if not typed:
        raise FiredeckError("something must stand here", where=field, remedy="type it again")
    if field in _LENGTHS:
        parse_quantity(typed, "length")
        return typed
    if field in _NAMES:
        return [line.strip() for line in typed.splitlines() if line.strip()]
    if field in ("path", "outline"):
        return [_point(line, unit) for line in typed.splitlines() if line.strip()]
    return typed


def _point(line: str, unit: str) -> list[float]:
    parts = re.split(r"\s*[,;]\s*|\s+", line.strip().strip("[],"))
    try:
        x, y = (float(part) for part in parts)
    except ValueError as fault:
        raise FiredeckError(
            f"{line.strip()[:40]!r} is not a point",
            where="path",
            remedy=f"write two numbers in {unit}, such as 12.5, 40",
        ) from fault
    return [x, y]


def _enter_coordinate(text: str, data: Mapping[str, Any], entry: Entry, field: str, typed: str) -> str:
    unit = unit_of(data)
    bare = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", typed)
    length = parse_quantity(f"{typed} {unit}" if bare else typed, "length")
    value = float(typed) if bare else _in_unit(length, unit)
    x, y = _centre(entry)
    return put_value(text, (*entry.path, "centre"), [value, y] if field == "x" else [x, value])


def _in_unit(length: float, unit: str) -> float:
    """Return a length [mm] in the unit of the coordinates, rounded as coordinates are."""
    return round(length / (_INCH_MM if unit == "in" else 1.0), _DECIMALS[unit])


def _centre(entry: Entry) -> tuple[float, float]:
    try:
        x, y = entry.data["centre"]
        return float(x), float(y)
    except (KeyError, TypeError, ValueError) as fault:
        raise FiredeckError(
            "its centre is not two numbers", where=entry.key, remedy="mend it in the text"
        ) from fault


def _renamed(text: str, data: Mapping[str, Any], old: str, new: str) -> str:
    """Let seals follow the new name of what they lie around or name."""
    if not old or old == new or names_of(data, openings=True).count(old) > 1:
        return text
    for entry in entries_of(data):
        if entry.group != "seal":
            continue
        if entry.data.get("around") == old:
            text = put_value(text, (*entry.path, "around"), new)
        for side in _NAMES:
            names = entry.data.get(side)
            if isinstance(names, list) and old in names:
                text = put_value(text, (*entry.path, side), [new if name == old else name for name in names])
    return text


def move_feature(text: str, key: str, shift: tuple[float, float]) -> Edited:
    """Move an entry with its centre or all points of its path.

    Parameters
    ----------
    text : str
        The plan's text.
    key : str
        Key of the entry.
    shift : tuple of float
        How far, along x and y [mm].

    Returns
    -------
    tuple of str
        As `enter_value`.

    Raises
    ------
    FiredeckError
        If the entry cannot be moved, such as a seal that lies around an opening.
    """
    data = parse_text("the plan", text)
    entry, unit = entry_of(data, key), unit_of(data)
    label = f"place of {entry.name or entry.what}"
    if entry.group in GROUPS and "path" in entry.data:
        try:
            points = [_moved((float(x), float(y)), shift, unit) for x, y in entry.data["path"]]
        except (TypeError, ValueError) as fault:
            raise FiredeckError(
                "its path is not a list of points", where=key, remedy="mend it in the text"
            ) from fault
        return put_value(text, (*entry.path, "path"), points), label, key
    if entry.group in ("seal", PLAN_KEY, "outline"):
        raise FiredeckError(
            f"{entry.name or entry.what} has no place of its own",
            where=key,
            remedy="move what it lies around, or change its offset",
        )
    return put_value(text, (*entry.path, "centre"), _moved(_centre(entry), shift, unit)), label, key


def _moved(point: tuple[float, float], shift: tuple[float, float], unit: str) -> list[float]:
    scale = _INCH_MM if unit == "in" else 1.0
    # What is not moved keeps every digit that it has.
    return [
        round(old + by / scale, _DECIMALS[unit]) if by else old for old, by in zip(point, shift, strict=True)
    ]


def add_feature(text: str, group: str, kind: str, at: tuple[float, float], around: str = "") -> Edited:
    """Add an entry, sized like the last one of its kind.

    Parameters
    ----------
    text : str
        The plan's text.
    group : str
        A key of `GROUPS`.
    kind : str
        Kind of a port or seal.
    at : tuple of float
        Where, x and y [mm]; of no meaning for a seal.
    around : str
        Name of the opening that a seal is to lie around.

    Returns
    -------
    tuple of str
        As `enter_value`.

    Raises
    ------
    FiredeckError
        If there is no such group.
    """
    data = parse_text("the plan", text)
    if group not in GROUPS:
        raise FiredeckError("a plan has no such entries", where=group[:40])
    alike = [entry.data for entry in entries_of(data) if entry.group == group]
    if group == "seal":
        values = new_seal(data, kind, around, alike)
    else:
        values = _new_opening(data, group, kind, at, alike)
    key = f"{group}[{len(data.get(group, [])) + 1}]"
    return add_entry(text, group, values), f"new {values['name']}", key


def _new_opening(
    data: Mapping[str, Any], group: str, kind: str, at: tuple[float, float], alike: list[Mapping[str, Any]]
) -> dict[str, Value]:
    unit = unit_of(data)
    same = [one for one in alike if "diameter" in one and (group != "port" or one.get("kind") == kind)]
    diameter = next((one["diameter"] for one in reversed(same)), _FIRST_DIAMETERS[group])
    stem = {"fastener-hole": "fastener", "port": kind.replace("-", " ")}.get(group, group)
    values: dict[str, Value] = {"name": _free_name(data, stem, alike)}
    if group == "port":
        values["kind"] = kind if kind in tuple(PortKind) else str(PortKind.OTHER)
    place = [_in_unit(length, unit) for length in at]
    return {**values, "centre": place, "diameter": str(diameter)}


def new_seal(
    data: Mapping[str, Any], kind: str, around: str, alike: Sequence[Mapping[str, Any]]
) -> dict[str, Value]:
    """Return the values of a new seal round an opening of a plan, sized like the last of its kind.

    Parameters
    ----------
    data : mapping
        The plan, with the seals that it or its gasket has.
    kind : str
        Kind of the seal.
    around : str
        Opening that it lies around; the next one without a seal where none is named.
    alike : sequence of mapping
        The seals that are there.
    """
    taken = {one.get("around") for one in alike}
    free = [entry.name for entry in entries_of(data) if entry.group in ("bore", "port")]
    around = around or next((name for name in free if name not in taken), free[0] if free else "outline")
    none: Mapping[str, Any] = {}
    like = next((one for one in reversed(alike) if one.get("kind") == kind and "around" in one), none)
    stem = f"{around} {'ring' if kind == 'ring' else 'bead'}"
    return {
        "name": stem if stem not in names_of(data) else _free_name(data, stem, alike),
        "kind": kind,
        "around": around,
        "offset": str(like.get("offset", "3 mm")),
        "band": str(like.get("band", "4 mm")),
    }


def _free_name(data: Mapping[str, Any], stem: str, alike: Sequence[Mapping[str, Any]]) -> str:
    """Return a name with the next free number, in the words of the last entry of its kind."""
    last = str(alike[-1].get("name", "")) if alike else ""
    counted = re.fullmatch(r"(.*\D) ?(\d+)", last)
    if counted and counted[1].strip().startswith(stem.split(" ")[0]):
        stem = counted[1].strip()
    taken = set(names_of(data))
    number = 1
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"


def delete_feature(text: str, key: str) -> Edited:
    """Delete an entry, with the comments right at it.

    Parameters
    ----------
    text : str
        The plan's text.
    key : str
        Key of the entry.

    Returns
    -------
    tuple of str
        The changed text, what was done, and the key of a neighbour.

    Raises
    ------
    FiredeckError
        If it is no entry of a list.
    """
    data = parse_text("the plan", text)
    entry = entry_of(data, key)
    if entry.group not in GROUPS:
        raise FiredeckError("this is a part of every plan", where=key, remedy="change it instead")
    place = int(entry.path[1])
    left = len(data[entry.group]) - 1
    neighbour = f"{entry.group}[{min(place + 1, left)}]" if left else PLAN_KEY
    changed = drop_entry(text, entry.group, place)
    return changed, f"{entry.name or entry.what} deleted", neighbour

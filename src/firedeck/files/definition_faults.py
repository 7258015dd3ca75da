"""Turns what the validation library says into faults that an engineer can act on.

Entries of a list are counted from 1: ``seal[3]`` is the third seal of the file.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from firedeck.errors import Fault
from firedeck.files.definition_models import chosen_models, field_of, models_in, quantity_kind
from firedeck.units import INNER_UNITS, UnitError, parse_quantity

__all__ = ["WHOLE_FILE", "key_path", "translate_faults"]

#: Stands for the key where a fault is about the file as such.
WHOLE_FILE = "whole file"

_LONGEST_VALUE = 60

Path = tuple[str | int, ...]


class _Missing:
    """Stands for the value where a file has none."""


_MISSING = _Missing()


@dataclass(frozen=True)
class _Spot:
    """Where in the file an error lies, what stands there, and what the model knows of the place."""

    path: Path
    value: object
    owners: tuple[type[BaseModel], ...]
    annotation: object
    description: str

    @property
    def name(self) -> str | int:
        return self.path[-1] if self.path else WHOLE_FILE

    @property
    def quantity(self) -> str:
        """Kind of quantity that belongs here, empty where none does."""
        return quantity_kind(self.annotation)

    @property
    def unit(self) -> str:
        """Unit of the inner value, with a leading space; empty for pure numbers."""
        unit = INNER_UNITS.get(self.quantity, "dimensionless")
        return "" if unit == "dimensionless" else f" {unit}"


def key_path(path: Path) -> str:
    """Write a path of keys and indices (from 0) as ``seal[3].band``, counting entries from 1."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.lstrip(".") or WHOLE_FILE


def translate_faults(
    file: str, data: Mapping[str, Any], model: type[BaseModel], errors: Sequence[ErrorDetails]
) -> tuple[Fault, ...]:
    """Translate validation errors, in the order in which their keys stand in the file.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it.
    data : mapping
        What was read from it.
    model : type
        Definition it was checked against.
    errors : sequence
        Errors of the validation library.

    Returns
    -------
    tuple of Fault
        One fault for each error.
    """
    return tuple(_fault(file, data, model, error) for error in errors if not _is_echo(data, error))


def _is_echo(data: object, error: ErrorDetails) -> bool:
    """Tell whether a list is called too short only because its entries are faulty themselves."""
    for part in error["loc"]:
        data = data[part] if _holds(data, part) else None  # type: ignore[index]
    least = error.get("ctx", {}).get("min_length", 0)
    return error["type"] == "too_short" and isinstance(data, list) and len(data) >= least


def _fault(file: str, data: Mapping[str, Any], model: type[BaseModel], error: ErrorDetails) -> Fault:
    spot = _find_spot(data, model, error["loc"], missing=error["type"] == "missing")
    translate = _TRANSLATIONS.get(error["type"], _in_library_words)
    message, remedy = translate(error, spot)
    owner = _entry_name(data, spot.path)
    return Fault(file, key_path(spot.path), _shown(spot.value), message + owner, remedy)


def _find_spot(data: object, model: type[BaseModel], loc: Path, *, missing: bool) -> _Spot:
    """Follow an error's location through file and model, leaving out the library's own marks."""
    path: list[str | int] = []
    owners: tuple[type[BaseModel], ...] = (model,)
    annotation: object = model
    description = ""
    for place, part in enumerate(loc):
        if not _holds(data, part) and not (missing and place == len(loc) - 1):
            continue  # a mark such as the chosen member of a union
        path.append(part)
        if isinstance(part, str):
            owners = chosen_models(models_in(annotation), data)
            annotation, description = field_of(owners, part)
        data = data[part] if _holds(data, part) else _MISSING  # type: ignore[index]
    return _Spot(tuple(path), data, owners, annotation, description)


def _holds(data: object, part: str | int) -> bool:
    if isinstance(part, int):
        return isinstance(data, list) and part < len(data)
    return isinstance(data, dict) and part in data


def _entry_name(data: object, path: Path) -> str:
    """Return the innermost named entry on the path as ``, in "fire ring 2"``, empty without one."""
    name = ""
    for part in path:
        if not _holds(data, part):
            break
        data = data[part]  # type: ignore[index]
        if isinstance(part, int) and isinstance(data, dict) and isinstance(data.get("name"), str):
            name = f', in "{data["name"]}"'
    return "" if path and path[-1] == "name" else name


def _shown(value: object) -> str:
    """Write a value as it stands in the file, shortened; empty for tables and missing values."""
    if isinstance(value, (_Missing, dict)):
        return ""
    text = _as_written(value)
    return text if len(text) <= _LONGEST_VALUE else f"{text[: _LONGEST_VALUE - 4]} ..."


def _as_written(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return f"[{', '.join(_as_written(item) for item in value[:20])}]"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return "{...}" if isinstance(value, dict) else str(value)


Translation = tuple[str, str]


def _in_library_words(error: ErrorDetails, spot: _Spot) -> Translation:
    message = error["msg"].removesuffix(".")
    return message[:1].lower() + message[1:], f"correct {key_path(spot.path)}"


def _missing(_error: ErrorDetails, spot: _Spot) -> Translation:
    if isinstance(spot.name, int):
        return "a number is missing here", "write points as two numbers, [x, y]"
    known = f" ({spot.description})" if spot.description else ""
    return f"the key is missing{known}", f"add {spot.name}{_example(spot)}"


def _example(spot: _Spot) -> str:
    if spot.quantity:
        return f", for example {spot.name} = {_quantity_example(spot.quantity)}"
    allowed = [value for value in get_args(spot.annotation) if isinstance(value, str)]
    return f', for example {spot.name} = "{allowed[0]}"' if allowed else ""


def _quantity_example(kind: str) -> str:
    """Return the example that the unit reader itself gives, in quotes."""
    try:
        parse_quantity(None, kind)
    except UnitError as fault:
        return fault.remedy.rpartition("for example ")[2]
    return ""


def _unknown_key(_error: ErrorDetails, spot: _Spot) -> Translation:
    known = [info.alias or name for owner in spot.owners for name, info in owner.model_fields.items()]
    close = _closest(str(spot.name), known)
    if close:
        return "the key is not known here", f"did you mean {close}?"
    return "the key is not known here", f"remove it, or use one of: {', '.join(known)}"


def _closest(word: str, known: Sequence[str]) -> str:
    plain = {name.lower().replace("_", "-"): name for name in known}
    close = difflib.get_close_matches(word.lower().replace("_", "-"), list(plain), n=1, cutoff=0.65)
    return plain[close[0]] if close else ""


def _bound(words: str, key: str) -> Callable[[ErrorDetails, _Spot], Translation]:
    def translate(error: ErrorDetails, spot: _Spot) -> Translation:
        limit = f"{error.get('ctx', {})[key]:g}{spot.unit}"
        return f"must be {words} {limit}", "check the number and its unit"

    return translate


def _count(error: ErrorDetails, _spot: _Spot) -> Translation:
    limits = error.get("ctx", {})
    given = limits.get("actual_length")
    if error["type"] == "too_long":
        return f"no more than {limits['max_length']} belong here, {given} given", "remove the others"
    return f"at least {limits['min_length']} needed here, {given} given", "add those that are missing"


def _choice(error: ErrorDetails, spot: _Spot) -> Translation:
    expected = str(error.get("ctx", {})["expected"])
    if spot.name == "format":
        return (
            f"this version of firedeck reads format {expected} of this kind of file",
            "use a version of firedeck that knows the file's format",
        )
    words = [word.strip("'\"") for word in expected.replace(" or ", ", ").split(", ")]
    close = _closest(str(spot.value), words)
    remedy = f'did you mean "{close}"?' if close else "use one of these words"
    return f"must be {expected.replace(chr(39), chr(34))}", remedy


def _own_words(error: ErrorDetails, spot: _Spot) -> Translation:
    words = str(error.get("ctx", {}).get("error", error["msg"]))
    message, parted, remedy = words.rpartition("|")  # the last one: what was found may hold others
    return (message, remedy) if parted else (words, f"correct {key_path(spot.path)}")


def _list(_error: ErrorDetails, spot: _Spot) -> Translation:
    if models_in(spot.annotation):
        return "several entries may stand here", f"head each entry with [[{spot.name}]]"
    return "a list is expected here", "write it in square brackets, entries parted by commas"


def _fixed(message: str, remedy: str) -> Callable[[ErrorDetails, _Spot], Translation]:
    def translate(_error: ErrorDetails, _spot: _Spot) -> Translation:
        return message, remedy

    return translate


_NUMBER = _fixed("a number is expected here", "write a bare number, with a point as decimal sign")
_WHOLE = _fixed("a whole number is expected here", "write it without decimals and without quotes")
_TEXT = _fixed("text is expected here", "put it in double quotes")
_TABLE = _fixed("a table with its own keys is expected here", "write a [table] or [[table]] heading")
_DATE = _fixed("a date is expected here", "write it as 2026-03-14, without quotes and without a time")
_YES_NO = _fixed("true or false is expected here", "write true or false without quotes")

_TRANSLATIONS: dict[str, Callable[[ErrorDetails, _Spot], Translation]] = {
    "missing": _missing,
    "extra_forbidden": _unknown_key,
    "value_error": _own_words,
    "greater_than": _bound("more than", "gt"),
    "greater_than_equal": _bound("at least", "ge"),
    "less_than": _bound("less than", "lt"),
    "less_than_equal": _bound("at most", "le"),
    "too_short": _count,
    "too_long": _count,
    "enum": _choice,
    "literal_error": _choice,
    "union_tag_invalid": _fixed("the kind of this entry is not known", "correct its kind"),
    "union_tag_not_found": _fixed("the entry does not say its kind", "add kind"),
    "string_type": _TEXT,
    "string_too_short": _fixed("the text is empty", "write something between the quotes"),
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "finite_number": _fixed("must be a finite number", "write a number"),
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_from_float": _WHOLE,
    "bool_type": _YES_NO,
    "bool_parsing": _YES_NO,
    "tuple_type": _list,
    "list_type": _list,
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "date_type": _DATE,
    "date_parsing": _DATE,
    "date_from_datetime_parsing": _DATE,
    "date_from_datetime_inexact": _DATE,
}

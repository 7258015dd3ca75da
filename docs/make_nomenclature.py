"""Write the nomenclature page: every public name with its unit and meaning, every flag, every word.

Meanings come from the code: a field's description, the ``Attributes`` section of its class, or a
clause of the class's docstring that opens with the field's name. Words that need no saying in each
class stand in ``words.toml``. Units come from the quantity's own type, or in brackets from its
meaning.
"""

from __future__ import annotations

import dataclasses
import enum
import functools
import importlib
import importlib.util
import inspect
import pkgutil
import re
import tomllib
import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pint
import pydantic

from firedeck.definition import quantities
from firedeck.evidence import FLAGS, Estimate
from firedeck.units import INNER_UNITS

#: Parts of the package whose public types are listed; those not yet there are passed over.
PARTS = ("evidence", "definition", "pressure_map", "seal", "compare", "verdict")

PAGE = Path(__file__).parent / "nomenclature.md"
WORDS = Path(__file__).parent / "words.toml"
NO_UNIT = "–"


@dataclass(frozen=True)
class Word:
    """One public name: the type it belongs to, its unit (empty: missing) and its meaning."""

    owner: str
    name: str
    unit: str
    meaning: str


# --- which types there are -----------------------------------------------------------------------


def public_types() -> dict[str, list[type]]:
    """Return the public classes of every listed part, by module name."""
    found: dict[str, list[type]] = {}
    for part in PARTS:
        for module in _modules(f"firedeck.{part}"):
            members = [getattr(module, name) for name in getattr(module, "__all__", ())]
            own = [item for item in members if inspect.isclass(item) and item.__module__ == module.__name__]
            if own:
                found[module.__name__] = own
    return found


def _modules(name: str) -> Iterator[types.ModuleType]:
    if importlib.util.find_spec(name) is None:
        return
    module = importlib.import_module(name)
    yield module
    for inner in pkgutil.iter_modules(getattr(module, "__path__", ())):
        yield from _modules(f"{name}.{inner.name}")


def field_types(cls: type) -> dict[str, object]:
    """Return the public fields of a definition model or a dataclass with their annotations."""
    hints = typing.get_type_hints(cls, include_extras=True)
    if issubclass(cls, pydantic.BaseModel):
        return {name: hints[name] for name in cls.model_fields}
    if dataclasses.is_dataclass(cls):
        return {item.name: hints[item.name] for item in dataclasses.fields(cls) if item.name[0] != "_"}
    return {}


# --- what a field means --------------------------------------------------------------------------


def meaning_of(cls: type, name: str) -> str:
    """Return what is said about a field, empty where nothing is."""
    words = common_words()
    described = ""
    if issubclass(cls, pydantic.BaseModel):
        described = cls.model_fields[name].description or ""
    doc = inspect.getdoc(cls) or ""
    return (
        words.get(cls.__name__, {}).get(name)
        or described
        or _attributes(doc).get(name)
        or _clause(doc, name)
        or words["anywhere"].get(name, "")
    )


@functools.lru_cache
def common_words() -> dict[str, dict[str, str]]:
    """Return the meanings kept beside the code: by class, and those that hold anywhere."""
    return tomllib.loads(WORDS.read_text(encoding="utf-8"))


@functools.lru_cache
def _attributes(doc: str) -> dict[str, str]:
    """Read the ``Attributes`` section of a docstring; names that share a line share its meaning."""
    meanings: dict[str, list[str]] = {}
    names: list[str] = []
    section = re.split(r"^Attributes\n-+\n", doc, flags=re.MULTILINE)[1:]
    for line in section[0].splitlines() if section else ():
        if re.match(r"^[A-Z]\w+$", line):
            break
        if line and not line.startswith(" "):
            names = [part.strip() for part in line.split(" : ")[0].split(",")]
        elif line.strip():
            for name in names:
                meanings.setdefault(name, []).append(line.strip())
    return {name: " ".join(lines) for name, lines in meanings.items()}


def _clause(doc: str, name: str) -> str:
    prose = " ".join(re.split(r"^[A-Z]\w+\n-+\n", doc, flags=re.MULTILINE)[0].split())
    for clause in re.split(r"(?<=[.;]) ", prose):
        match = re.match(rf"`{name}` (?:is |names )?(.+?)[.;]?$", clause)
        if match:
            return match[1]
    return ""


# --- what unit it has ----------------------------------------------------------------------------


@functools.lru_cache
def _registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def parse_unit(text: str) -> pint.Unit | None:
    """Return the unit that a bracket holds, or None when it holds something else."""
    text = {"1": "", "%": "percent"}.get(text.strip(), text.strip()).replace("^", "**")
    try:
        return _registry().parse_units(text)
    except Exception:  # whatever stands in the brackets, it is no unit
        return None


def stated_units(meaning: str) -> list[str]:
    """Return the units in brackets within a meaning, code and links aside."""
    prose = re.sub(r"`[^`]*`", "", meaning)
    return [unit for unit in re.findall(r"\[([^\][]+)\]", prose) if parse_unit(unit) is not None]


def _quantity_units() -> dict[object, str]:
    """Map the reader of each quantity type to the inner unit of its field."""
    units: dict[object, str] = {}
    for name in quantities.__all__:
        parts = typing.get_args(getattr(quantities, name))
        kind = re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()
        if len(parts) > 1 and isinstance(parts[1], pydantic.BeforeValidator):
            units[parts[1].func] = INNER_UNITS[kind]
    return units


def typed_unit(annotation: object) -> str:
    """Return the unit that a field's type carries, empty when it carries none."""
    known = _quantity_units()
    for part in _leaves(annotation):
        if isinstance(part, pydantic.BeforeValidator) and part.func in known:
            return (
                known[part.func].replace("**", "^").replace("dimensionless", "1").replace("delta_degC", "K")
            )
    return ""


def _leaves(annotation: object) -> Iterator[object]:
    """Walk everything an annotation is made of."""
    yield annotation
    for part in typing.get_args(annotation):
        yield from _leaves(part)


def _holds(annotation: object, *wanted: type) -> bool:
    classes = [part for part in _leaves(annotation) if inspect.isclass(part) and part is not bool]
    return any(issubclass(part, wanted) for part in classes)


def unit_of(annotation: object, meaning: str) -> str:
    """Return the unit for the table; empty when a number has none, which is a fault."""
    if "in the unit of" in meaning:
        return "its own"
    unit = ", ".join(dict.fromkeys(stated_units(meaning))) or typed_unit(annotation)
    if unit:
        return unit
    if _holds(annotation, float, np.floating, Estimate):
        return ""
    return "1" if _holds(annotation, int, np.integer) else NO_UNIT


def words_of(cls: type) -> list[Word]:
    """Return all words of one public type."""
    words = []
    for name, annotation in field_types(cls).items():
        meaning = meaning_of(cls, name)
        words.append(Word(cls.__name__, name, unit_of(annotation, meaning), meaning))
    return words


# --- the page ------------------------------------------------------------------------------------

_HEAD = """# Nomenclature

One name, one meaning. This page is written by `make pages` from the code; edit the docstrings, not
this page.

Inside firedeck every number is in N, mm, MPa, s and degC, and in combinations of those; the unit
column says which. `1` is a pure number, a dash something that has no unit. In files quantities are
text with any unit of the right kind, for example `"80 lbf*ft"`.
"""


def _cell(text: str) -> str:
    text = re.sub(r" ?\[([^\][]+)\]", lambda found: "" if parse_unit(found[1]) else found[0], text)
    text = text.replace("|", "\\|").strip()
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "`")) else ".")


def _sentence(doc: str) -> str:
    return " ".join(doc.split("\n\n")[0].split())


def _type_section(cls: type) -> list[str]:
    title = [f"### {cls.__name__}", "", _sentence(inspect.getdoc(cls) or ""), ""]
    if issubclass(cls, enum.Enum):
        return [*title, *(f"- `{member.value}`" for member in cls), ""]
    words = words_of(cls)
    if not words:
        return []
    rows = [f"| `{word.name}` | {word.unit} | {_cell(word.meaning)} |" for word in words]
    return [*title, "| name | unit | meaning |", "|---|---|---|", *rows, ""]


def _flag_section() -> list[str]:
    rows = [f"| `{flag.name}` | {flag.bit} | {flag.short} | {flag.meaning} |" for flag in FLAGS.values()]
    return ["## Flags", "", "Reasons to doubt a number, as they stand in maps, tables and reports.", "",
            "| flag | bit | in a legend | meaning |", "|---|---|---|---|", *rows, ""]  # fmt: skip


def page() -> str:
    """Return the whole page."""
    lines = [_HEAD, *_flag_section()]
    for module, classes in public_types().items():
        sections = [line for cls in classes for line in _type_section(cls)]
        if sections:
            lines += [
                f"## {module}",
                "",
                _sentence(inspect.getdoc(importlib.import_module(module)) or ""),
                "",
            ]
            lines += sections
    return "\n".join(lines).rstrip() + "\n"

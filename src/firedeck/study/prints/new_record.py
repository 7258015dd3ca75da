"""A new record of a film test from entries as a person types them: text with units."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from firedeck.definition.film_test import FilmTest
from firedeck.errors import DefinitionError, Fault
from firedeck.files.definition_file import check_definition, write_definition
from firedeck.study.bench import Bench

__all__ = ["ENTRIES", "Entry", "entries_of", "write_record"]


@dataclass(frozen=True)
class Entry:
    """One entry of the form.

    Attributes
    ----------
    key : str
        Path of the key in the record.
    label : str
        What is asked.
    ask : str
        How: ``text``, ``date``, ``number``, ``tick``, ``choice``, or the kind of file to choose.
    hint : str
        An example, or what it is for.
    choices : tuple of str
        Words to choose from.
    needed : bool
        Whether it must be given.
    """

    key: str
    label: str
    ask: Literal["text", "date", "number", "tick", "choice", "deck-plan", "gasket", "film-batch", "criteria"]
    hint: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = True


#: Entries of the form, by part.
ENTRIES: Mapping[str, tuple[Entry, ...]] = {
    "The test": (
        Entry("name", "Name of the test", "text", "gasket, attempt"),
        Entry("date", "Date of the assembly", "date"),
        Entry("operator", "Who did it", "text", needed=False),
        Entry("note", "Note", "text", needed=False),
        Entry("deck", "Deck plan", "deck-plan"),
        Entry("gasket", "Gasket", "gasket"),
        Entry("film", "Film batch", "film-batch"),
        Entry("criteria", "Criteria", "criteria", "none: trade practice, which has no source", needed=False),
    ),
    "The film in the joint": (
        Entry("film_face", "Face of the gasket it lay on", "choice", choices=("head", "block")),
        Entry("gasket_use", "This gasket is now clamped for the … time", "number", "1 for a new one"),
        Entry("gasket_fired", "The gasket has run in an engine", "tick", needed=False),
        Entry("climate.temperature", "Temperature", "text", "22 degC"),
        Entry("climate.humidity", "Relative humidity", "text", "48 %"),
        Entry("load-profile.rise", "Time to full load", "text", "3 min"),
        Entry("load-profile.hold", "Time held", "text", "10 min"),
        Entry("load-profile.scan_delay", "From release to scan", "text", "30 min"),
    ),
    "Clamp": (
        Entry("clamp.total", "Preload of all fasteners together", "text", "361 kN", needed=False),
        Entry("clamp.uncertainty", "Its relative standard uncertainty", "text", "6 %", needed=False),
        Entry("clamp.basis", "How it is known", "text", "torque test with this lubricant", needed=False),
    ),
    "The scanner": (
        Entry("scanner.name", "Scanner", "text", "the unit, as in the calibration"),
        Entry("scanner.settings", "Its settings", "text", "600 dpi, 16 bit, corrections off", needed=False),
        Entry(
            "scanner.transfer.encoding",
            "How code values stand for light",
            "choice",
            choices=("srgb", "linear", "gamma", "embedded", "wedge"),
        ),
        Entry("scanner.transfer.gamma", "Exponent, for gamma", "text", "2.2", needed=False),
    ),
}

#: What belongs to one assembly and is never taken over from another.
_OWN = ("scan", "landmark", "mask")


def entries_of(bench: Bench, like: str) -> tuple[dict[str, str], dict[str, Any]]:
    """Return another test's record as entries, and as it stands.

    Parameters
    ----------
    bench : Bench
        The bench.
    like : str
        Name of the record to begin from; empty for none.

    Returns
    -------
    entries : dict
        Key to text.
    data : dict
        The record without scans, landmarks and masks.
    """
    if not like:
        return {}, {}
    data = tomllib.loads(bench.existing(like).read_text(encoding="utf-8"))
    kept = {key: value for key, value in data.items() if key not in _OWN}
    return {one.key: _text(_found(kept, one.key)) for part in ENTRIES.values() for one in part}, kept


def _found(data: Mapping[str, Any], key: str) -> object:
    value: Any = data
    for step in key.split("."):
        value = value.get(step, "") if isinstance(value, Mapping) else ""
    return value


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    return str(value)


def write_record(
    bench: Bench, file: str, entries: Mapping[str, str], scans: Sequence[str], *, like: str = ""
) -> str:
    """Write the record of a new film test.

    Parameters
    ----------
    bench : Bench
        Where to.
    file : str
        Name of the new file, with or without its ending.
    entries : mapping
        Key to text, as typed.
    scans : sequence of str
        Names of the scans.
    like : str
        Record whose further tables, such as the steps of tightening, are taken over.

    Returns
    -------
    str
        Name of the file.

    Raises
    ------
    FiredeckError
        With every fault of the entries; nothing is written then.
    """
    name = f"{file.removesuffix('.toml')}.toml"
    path = bench.new_file(name)
    data = {**copy.deepcopy(entries_of(bench, like)[1]), "kind": "film-test"}
    faults = [
        fault for part in ENTRIES.values() for one in part if (fault := _enter(data, one, entries, name))
    ]
    data["scan"] = [{"file": bench.existing(scan).name} for scan in scans]
    if not scans:
        faults.append(Fault(name, "scan", "", "no scan is named", "choose the scans of this print"))
    if faults:
        raise DefinitionError(faults)
    write_definition(path, check_definition(name, data, FilmTest))
    try:
        bench.check_inside(name)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return name


def _enter(data: dict[str, Any], entry: Entry, entries: Mapping[str, str], file: str) -> Fault | None:
    """Put one entry into the record; return what is wrong with it."""
    text = entries.get(entry.key, "").strip()
    *tables, key = entry.key.split(".")
    if not text and entry.ask != "tick":
        _drop(data, tables, key)
        return Fault(file, entry.key, "", "this must be given", entry.hint) if entry.needed else None
    place = data
    for table in tables:
        place = place.setdefault(table, {})
    place[key] = bool(text) if entry.ask == "tick" else _typed(entry, text)
    return None


def _drop(data: dict[str, Any], tables: list[str], key: str) -> None:
    place: Any = data
    for table in tables:
        place = place.get(table, {})
    place.pop(key, None)
    if tables and not place:
        data.pop(tables[0], None)


def _typed(entry: Entry, text: str) -> object:
    """Return numbers as numbers; everything else stays text, for the record's own check to judge."""
    if entry.ask == "number" or entry.key.endswith(".gamma"):
        try:
            return int(text) if entry.ask == "number" else float(text)
        except ValueError:
            return text
    return text

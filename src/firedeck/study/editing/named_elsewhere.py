"""What other definition files of a bench call by the names of a plan being edited."""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from firedeck.errors import DefinitionError
from firedeck.files.definition_file import LARGEST_FILE, parse_text
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_entries import GROUPS, Entry, entries_of
from firedeck.study.editing.drafts import Draft

__all__ = ["Named", "named_elsewhere"]

#: Keys whose text is what a file calls something of its own, or says in prose.
_OWN_WORDS = ("name", "note", "kind", "reason", "source")


@dataclass(frozen=True)
class Named:
    """A name of the plan that other files use.

    Attributes
    ----------
    name : str
        The name, as those files have it.
    entry : str
        Key of the entry that has the name, or had it in the plan's file; empty where that was deleted.
    lost : bool
        Whether the plan's file has the name and the draft no longer does.
    places : tuple of str
        Where it stands, such as ``candidate.toml: seal[2].around``.
    """

    name: str
    entry: str
    lost: bool
    places: tuple[str, ...]


def named_elsewhere(bench: Bench, draft: Draft) -> list[Named]:
    """Return every name of a plan that other files of the bench use, lost ones first.

    Files that say that they belong to another plan are left out, and so are other plans.

    Parameters
    ----------
    bench : Bench
        The bench.
    draft : Draft
        The plan being edited.

    Returns
    -------
    list of Named
        Names that are used.
    """
    used = _used_names(bench, draft.name)
    now, before = _entries(draft.name, draft.text), _entries(draft.name, draft.disk or "")
    names, had = {entry.name for entry in now}, {entry.name for entry in before}
    lost = [
        Named(entry.name, _renamed_entry(entry, now, before, had), True, tuple(used[entry.name]))
        for entry in before
        # A text that does not read at the moment has lost nothing yet.
        if now and entry.name in used and entry.name not in names
    ]
    kept = [
        Named(entry.name, entry.key, False, tuple(used[entry.name])) for entry in now if entry.name in used
    ]
    return lost + kept


def _entries(name: str, text: str) -> list[Entry]:
    try:
        return [one for one in entries_of(parse_text(name, text)) if one.group in GROUPS and one.name]
    except DefinitionError:
        return []


def _renamed_entry(entry: Entry, now: list[Entry], before: list[Entry], had: set[str]) -> str:
    """Return the key of the entry that stands in an old one's place under a new name, where there is one."""
    same = [[one for one in side if one.group == entry.group] for side in (now, before)]
    twin = next((one for one in same[0] if one.key == entry.key and one.name not in had), None)
    return twin.key if twin and len(same[0]) == len(same[1]) else ""


def _used_names(bench: Bench, plan: str) -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for file in bench.files():
        if file.kind in ("", "deck-plan"):
            continue
        path = bench.place(file.name)
        deck, words = _words_of(path, path.stat().st_mtime_ns)
        if not deck or Path(deck).name == plan:
            for key, word in words:
                found[word].append(f"{file.name}: {key}")
    return found


@functools.lru_cache(maxsize=256)
def _words_of(path: Path, _time: int) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return the plan that a file belongs to, and its texts by key, read once for every writing of it."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            return "", ()
        data = parse_text(path.name, path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, DefinitionError):
        return "", ()  # what cannot be read is told on the bench page
    return str(data.get("deck", "")), tuple(_words(data, ""))


def _words(value: object, key: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, Mapping):
        for inner, one in value.items():
            if inner not in _OWN_WORDS:
                yield from _words(one, f"{key}.{inner}" if key else inner)
    elif isinstance(value, list):
        for place, one in enumerate(value, start=1):
            yield from _words(one, f"{key}[{place}]")

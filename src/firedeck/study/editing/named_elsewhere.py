"""What other definition files of a bench call by the names of a plan or gasket being edited."""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from firedeck.errors import DefinitionError
from firedeck.files.definition_file import LARGEST_FILE, parse_text
from firedeck.study.bench import Bench
from firedeck.study.editing.drafts import Draft
from firedeck.study.editing.entry import Entry
from firedeck.study.editing.paper import Paper

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


def named_elsewhere(bench: Bench, draft: Draft, paper: Paper) -> list[Named]:
    """Return every name of a plan or gasket that other files of the bench use, lost ones first.

    Files that say that they belong to another one are left out, and so are others of its kind.

    Parameters
    ----------
    bench : Bench
        The bench.
    draft : Draft
        The file being edited.
    paper : Paper
        What it is.

    Returns
    -------
    list of Named
        Names that are used.
    """
    if not paper.owner:
        return []
    used = _used_names(bench, draft.name, paper)
    now, before = _entries(draft.name, draft.text, paper), _entries(draft.name, draft.disk or "", paper)
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


def _entries(name: str, text: str, paper: Paper) -> list[Entry]:
    try:
        entries = paper.entries(parse_text(name, text))
        return [one for one in entries if paper.can_go(one) and one.data.get("name")]
    except DefinitionError:
        return []


def _renamed_entry(entry: Entry, now: list[Entry], before: list[Entry], had: set[str]) -> str:
    """Return the key of the entry that stands in an old one's place under a new name, where there is one."""
    same = [[one for one in side if one.group == entry.group] for side in (now, before)]
    twin = next((one for one in same[0] if one.key == entry.key and one.name not in had), None)
    return twin.key if twin and len(same[0]) == len(same[1]) else ""


def _used_names(bench: Bench, own: str, paper: Paper) -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for file in bench.files():
        if file.kind in ("", "deck-plan", paper.word) or file.name == own:
            continue
        path = bench.place(file.name)
        owner, words = _words_of(path, path.stat().st_mtime_ns, paper.owner)
        # What belongs to no plan may name the features of any; what belongs to no gasket means the plan's.
        if Path(owner).name == own or (not owner and paper.owner == "deck"):
            for key, word in words:
                found[word].append(f"{file.name}: {key}")
    return found


@functools.lru_cache(maxsize=256)
def _words_of(path: Path, _time: int, owner: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return the plan or gasket that a file belongs to, and its texts by key, read once as it is written."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            return "", ()
        data = parse_text(path.name, path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, DefinitionError):
        return "", ()  # what cannot be read is told on the bench page
    return str(data.get(owner, "")), tuple(_words(data, ""))


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

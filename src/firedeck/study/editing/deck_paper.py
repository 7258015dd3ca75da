"""A deck plan as its page edits it."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from firedeck.definition.deck import DeckPlan
from firedeck.definition.plan_checks import PlanFinding, check_plan
from firedeck.files.definition_places import find_places
from firedeck.study.editing.deck_edits import add_feature, delete_feature, enter_value, move_feature
from firedeck.study.editing.deck_entries import GROUPS, entries_of, fields_of, group_of
from firedeck.study.editing.entry import Edited, Entry, Field
from firedeck.study.editing.found import Found, line_of_key, read_or_find
from firedeck.study.editing.paper import Data
from firedeck.study.plan_shapes import shape_plan

__all__ = ["DECK_PAPER", "DeckPaper", "found_on_plan", "sound_shapes"]


class DeckPaper:
    """A deck plan: openings, seals and fasteners on a plan, moved by hand too."""

    word = "deck plan"
    owner = "deck"
    kinds: Mapping[str, str] = {
        "bore|": "bore",
        "fastener-hole|": "fastener hole",
        "dowel|": "dowel",
        "port|coolant": "coolant port",
        "port|oil-feed": "oil feed port",
        "port|oil-return": "oil return port",
        "port|other": "other port",
        "seal|full-bead": "full bead",
        "seal|half-bead": "half bead",
        "seal|ring": "ring",
        "seal|land": "land",
    }

    def entries(self, data: Data) -> Iterable[Entry]:
        """Return plan, outline and every feature."""
        return entries_of(data)

    def fields(self, entry: Entry, data: Data) -> tuple[Field, ...]:
        """Return what of a feature can be edited."""
        return fields_of(entry, data)

    def is_movable(self, entry: Entry) -> bool:
        """Tell whether a feature has a place of its own: a seal round an opening has none."""
        return entry.group in GROUPS and (
            "path" in entry.data or (entry.group != "seal" and "centre" in entry.data)
        )

    def can_go(self, entry: Entry) -> bool:
        """Tell whether it is a feature, not the plan or its outline."""
        return entry.group in GROUPS

    def findings(self, name: str, text: str) -> tuple[Found, ...]:
        """Return everything wrong or doubtful, as ``firedeck joint check`` finds it."""
        return _findings(name, text)

    def facts(self, _name: str, _text: str) -> list[tuple[str, str]]:
        """Return nothing: the plan itself shows it."""
        return []

    def shapes(self, data: Data) -> dict[str, object] | None:
        """Return the shapes of all sound features [mm]."""
        return sound_shapes(data)

    def enter(self, text: str, key: str, field: str, typed: str) -> Edited:
        """Take over what was typed into one field of a feature."""
        return enter_value(text, key, field, typed)

    def move(self, text: str, key: str, shift: tuple[float, float]) -> Edited:
        """Move a feature [mm]."""
        return move_feature(text, key, shift)

    def add(self, text: str, group: str, kind: str, at: tuple[float, float], around: str) -> Edited:
        """Add a feature, sized like the last one of its kind."""
        return add_feature(text, group, kind, at, around)

    def delete(self, text: str, key: str) -> Edited:
        """Delete a feature."""
        return delete_feature(text, key)


DECK_PAPER = DeckPaper()


@functools.lru_cache(maxsize=8)
def _findings(name: str, text: str) -> tuple[Found, ...]:
    """Return what is found in a text; of the latest it is remembered."""
    plan = read_or_find(name, text, DeckPlan, group_of)
    if isinstance(plan, tuple):
        return plan
    assert isinstance(plan, DeckPlan)
    return found_on_plan(text, check_plan(plan))


def found_on_plan(text: str, findings: Iterable[PlanFinding]) -> tuple[Found, ...]:
    """Return findings of a plan's check with their lines in the text whose keys they name."""
    places = find_places(text)
    return tuple(
        Found(
            one.severity,
            one.key,
            group_of(one.key),
            line_of_key(text, places, one.key),
            one.message,
            one.remedy,
            one.at,
        )
        for one in findings
    )


def sound_shapes(data: Mapping[str, Any]) -> dict[str, object] | None:
    """Return the shapes of all sound entries; None where the plan as such leaves nothing to draw."""
    kept = {key: list(value) if isinstance(value, list) else value for key, value in data.items()}
    places = {
        group: list(range(1, len(kept[group]) + 1)) for group in GROUPS if isinstance(kept.get(group), list)
    }
    for _ in range(2):
        try:
            plan = DeckPlan.model_validate(kept)
        except ValidationError as error:
            bad = {one["loc"][:2] for one in error.errors() if len(one["loc"]) > 1}
            for group, own in places.items():
                sound = [k for k in range(len(own)) if (group, k) not in bad]
                kept[group] = [kept[group][k] for k in sound]
                places[group] = [own[k] for k in sound]
            continue
        return _with_keys(shape_plan(plan), places)
    return None


def _with_keys(shapes: dict[str, object], places: Mapping[str, list[int]]) -> dict[str, object]:
    """Call every shape by its key in the text, where faulty entries before it were left out."""
    for shape in (*_list(shapes["openings"]), *_list(shapes["seals"])):
        group, _, number = str(shape["key"]).rstrip("]").partition("[")
        shape["key"] = f"{group}[{places[group][int(number) - 1]}]"
    return shapes


def _list(value: object) -> Iterable[dict[str, object]]:
    return value if isinstance(value, list) else ()

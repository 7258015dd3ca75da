"""A gasket as its page edits it: layers, seals on a deck plan, and the laws by which they press."""

from __future__ import annotations

from collections.abc import Mapping

from firedeck.definition.deck import DeckPlan
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.plan_checks import check_plan
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import check_definition, parse_text
from firedeck.files.definition_splice import add_entry, put_value
from firedeck.study.editing.deck_edits import new_seal
from firedeck.study.editing.deck_entries import fields_of
from firedeck.study.editing.deck_paper import DECK_PAPER, found_on_plan, sound_shapes
from firedeck.study.editing.entry import Edited, Entry, Field
from firedeck.study.editing.found import Found
from firedeck.study.editing.paper import Data
from firedeck.study.editing.plain_entries import plain_entry
from firedeck.study.editing.plain_paper import PlainPaper

__all__ = ["GasketPaper"]


class GasketPaper(PlainPaper):
    """A gasket, shown on a plan where the bench has one.

    Parameters
    ----------
    plan : str
        Text of the plan; empty for none.
    """

    owner = "gasket"

    def __init__(self, plan: str = "") -> None:
        super().__init__(Gasket, "gasket")
        self.plan, self.plan_data = _sound(plan)

    @property
    def kinds(self) -> Mapping[str, str]:
        """Layers, and seals of every kind, and laws like the last one."""
        seals = {key: word for key, word in DECK_PAPER.kinds.items() if key.startswith("seal|")}
        return {"layer|": "layer", **seals, "law|": "law"}

    def findings(self, name: str, text: str) -> tuple[Found, ...]:
        """Return the faults of the text, and what does not fit the plan."""
        read = self.read(name, text)
        if isinstance(read, tuple):
            return read
        assert isinstance(read, Gasket)
        if self.plan is None or not read.seals:
            return ()
        found = check_plan(plan_with_gasket(self.plan, read))
        return found_on_plan(text, [one for one in found if one.key.startswith("seal[")])

    def facts(self, name: str, text: str) -> list[tuple[str, str]]:
        """Return the free thickness of all layers together, and how many seals and laws there are."""
        read = self.read(name, text)
        if not isinstance(read, Gasket):
            return []
        layers = f"{read.thickness:.3g} mm in {len(read.layers)} layers" if read.layers else "no layer stated"
        seals = str(len(read.seals)) if read.seals else "those of the deck plan"
        return [
            ("Free thickness, beads not counted", layers),
            ("Seals", seals),
            ("Laws", str(len(read.laws))),
        ]

    def shapes(self, data: Data) -> dict[str, object] | None:
        """Return the plan with the gasket's sound seals [mm]; None without a plan."""
        if self.plan is None:
            return None
        seals = data.get("seal")
        return sound_shapes({**self.plan_data, **({"seal": seals} if isinstance(seals, list) else {})})

    def fields(self, entry: Entry, data: Data) -> tuple[Field, ...]:
        """Return what of an entry can be edited; a seal's openings are chosen from those of the plan."""
        if entry.group != "seal" or self.plan is None:
            return super().fields(entry, data)
        return fields_of(entry, {**self.plan_data, "seal": data.get("seal", [])})

    def enter(self, text: str, key: str, field: str, typed: str) -> Edited:
        """Take over what was typed; laws follow the new name of a seal or of another law."""
        changed, label, key = super().enter(text, key, field, typed)
        entry = plain_entry(parse_text(self.word, text), key)
        if field == "name" and entry.path and entry.path[0] in ("seal", "law"):
            changed = _renamed(changed, str(entry.data.get("name", "")), typed.strip())
        return changed, label, key

    def add(self, text: str, group: str, kind: str, at: tuple[float, float], around: str) -> Edited:
        """Add a layer or law like the last one, or a seal round an opening of the plan."""
        if group != "seal":
            return super().add(text, group, kind, at, around)
        data = parse_text(self.word, text)
        seals = [one for one in data.get("seal", []) if isinstance(one, dict)]
        values = new_seal({**self.plan_data, "seal": seals}, kind, around, seals)
        return add_entry(text, "seal", values), f"new {values['name']}", f"seal[{len(seals) + 1}]"


def _sound(text: str) -> tuple[DeckPlan | None, Data]:
    """Return a plan and what its text says; nothing where it is not sound."""
    try:
        data = parse_text("the plan", text)
        return check_definition("the plan", data, DeckPlan), data
    except FiredeckError:
        return None, {}


def _renamed(text: str, old: str, new: str) -> str:
    for place, law in enumerate(parse_text("the gasket", text).get("law", [])):
        for key in ("seals", "of"):
            names = law.get(key) if isinstance(law, dict) else None
            if old and isinstance(names, list) and old in names:
                follow = [new if name == old else name for name in names]
                text = put_value(text, ("law", place, key), follow)
    return text

"""What is sent of a page's state after an edit: little, and enough to make the new state from the old."""

from __future__ import annotations

import json

import pytest
import shapely

from firedeck.definition.plan_finding import keyed_openings, keyed_seals
from firedeck.definition.shape import feature_polygon, seal_line
from firedeck.scenario.engine import engine_plan, write_text
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_edits import (
    add_feature,
    delete_feature,
    enter_value,
    move_feature,
)
from firedeck.study.editing.deck_paper import DECK_PAPER
from firedeck.study.editing.drafts import Drafts
from firedeck.study.editing.paper import draft_state
from firedeck.study.editing.retyping import retype
from firedeck.study.editing.state_changes import States, change_between
from firedeck.study.plan_shapes import shape_plan

TEXT = write_text(engine_plan())

EDITS = {
    "moved": lambda text: move_feature(text, "port[3]", (0.3, -0.2))[0],
    "renamed": lambda text: enter_value(text, "bore[1]", "name", "first bore")[0],
    "added": lambda text: add_feature(text, "port", "coolant", (12.0, 30.0))[0],
    "deleted": lambda text: delete_feature(text, "port[2]")[0],
    "typed": lambda text: retype(text, text.replace("\n", "\n# a line more, with 𝄞\n", 1)),
    "broken": lambda text: retype(text, text.replace("[", "(", 1)),
}


def applied(old, change):
    """Do what the page does with a change."""
    state = dict(old)
    for key, one in change.items():
        if "in" in one:
            state[key] = applied(old[key], one["in"])
        elif "of" in one:
            state[key] = listed(old[key], one["of"])
        elif "lines" in one:
            state[key] = "\n".join(listed(old[key].split("\n"), one["lines"]))
        else:
            state[key] = one["is"]
    return state


def listed(old, items):
    runs = ((old[one[0] : one[0] + one[1]] if isinstance(one, list) else [one["is"]]) for one in items)
    return [item for run in runs for item in run]


@pytest.fixture
def states_of(tmp_path):
    """Return a function that gives the states before and after an edit, as a page would have them."""
    (tmp_path / "deck.toml").write_text(TEXT, encoding="utf-8")
    drafts = Drafts(Bench(tmp_path))

    def both(edit):
        draft = drafts.look("deck.toml")
        before = json.loads(json.dumps(draft_state(draft, DECK_PAPER)))
        draft = drafts.change("deck.toml", draft.revision, edit(draft.text), "x")
        return before, json.loads(json.dumps(draft_state(draft, DECK_PAPER)))

    return both


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_the_change_makes_the_new_state_from_the_old(states_of, edit):
    before, after = states_of(edit)
    assert before != after
    assert applied(before, json.loads(json.dumps(change_between(before, after)))) == after
    assert applied(after, json.loads(json.dumps(change_between(after, before)))) == before


def test_a_moved_feature_sends_itself_and_little_else(states_of):
    before, after = states_of(EDITS["moved"])
    size = len(json.dumps(change_between(before, after)))
    assert size < 6_000, "characters"
    assert size < 0.05 * len(json.dumps(after))


def test_a_page_whose_state_is_not_remembered_gets_all_of_it():
    states = States()
    first = states.answer("a", {"x": 1, "y": 1}, "")
    assert first["state"] == {"x": 1, "y": 1}
    assert states.answer("a", {"x": 2, "y": 1}, first["mark"])["change"] == {"x": {"is": 2}}
    assert "state" in states.answer("b", {"x": 2, "y": 1}, first["mark"]), "the mark of another plan"
    for number in range(20):
        states.answer("a", {"x": number, "y": 1}, "")
    assert "state" in states.answer("a", {"x": 2, "y": 1}, first["mark"]), "long forgotten"


def test_drawn_shapes_are_thin_and_lie_where_the_true_ones_are():
    plan = engine_plan()
    shapes = shape_plan(plan)
    openings = dict(keyed_openings(plan))
    for shape in shapes["openings"]:
        true = feature_polygon(openings[shape["key"]])
        drawn = shapely.Polygon(shape["points"])
        assert shapely.hausdorff_distance(true.exterior, drawn.exterior, densify=0.1) < 0.03, shape["key"]
    seals = dict(keyed_seals(plan))
    for shape in shapes["seals"]:
        true = seal_line(plan, seals[shape["key"]], step=0.5).points
        drawn = shapely.LinearRing(shape["points"])
        assert shapely.distance(shapely.points(true), drawn).max() < 0.03, shape["key"]
        assert len(shape["points"]) < 0.7 * len(true)

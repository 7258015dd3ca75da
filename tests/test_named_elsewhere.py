"""Which other files use the names of a plan being edited."""

from __future__ import annotations

import pytest

from firedeck.scenario.engine import candidate_gasket, small_plan, write_text
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_edits import delete_feature, enter_value
from firedeck.study.editing.deck_paper import DECK_PAPER
from firedeck.study.editing.drafts import Drafts
from firedeck.study.editing.named_elsewhere import named_elsewhere

FASTENING = (
    'kind = "fastening"\nname = "bore 1"\ndeck = "{deck}"\n[[group]]\nname = "g"\nholes = ["{hole}"]\n'
)


@pytest.fixture
def bench(tmp_path):
    plan = small_plan(bores=1)
    hole = plan.fastener_holes[0].name
    (tmp_path / "deck.toml").write_text(write_text(plan), encoding="utf-8")
    (tmp_path / "candidate.toml").write_text(write_text(candidate_gasket()), encoding="utf-8")
    (tmp_path / "own.toml").write_text(FASTENING.format(deck="deck.toml", hole=hole), encoding="utf-8")
    (tmp_path / "foreign.toml").write_text(FASTENING.format(deck="other.toml", hole=hole), encoding="utf-8")
    (tmp_path / "broken.toml").write_text("kind = [", encoding="utf-8")
    return Bench(tmp_path)


def edited(bench, edit):
    drafts = Drafts(bench)
    draft = drafts.look("deck.toml")
    changed = drafts.change("deck.toml", draft.revision, edit(draft.text), "x")
    return named_elsewhere(bench, changed, DECK_PAPER)


def test_every_name_is_told_with_the_places_that_use_it(bench):
    found = {one.name: one for one in named_elsewhere(bench, Drafts(bench).look("deck.toml"), DECK_PAPER)}
    hole = small_plan(bores=1).fastener_holes[0].name
    assert found[hole].places == ("own.toml: group[1].holes[1]",), "not what belongs to another plan"
    assert "candidate.toml: seal[1].around" in found["bore 1"].places
    assert not any("own.toml" in place for place in found["bore 1"].places), "its own name is no use of ours"
    assert not any(one.lost for one in found.values())


def test_a_renamed_feature_is_lost_and_told_at_its_entry(bench):
    found = edited(bench, lambda text: enter_value(text, "bore[1]", "name", "first")[0])
    assert (found[0].name, found[0].entry, found[0].lost) == ("bore 1", "bore[1]", True)


def test_a_deleted_feature_is_lost_and_told_at_no_entry(bench):
    found = edited(bench, lambda text: delete_feature(text, "bore[1]")[0])
    assert (found[0].name, found[0].entry, found[0].lost) == ("bore 1", "", True)


def test_a_text_that_does_not_read_has_lost_nothing_yet(bench):
    assert not any(one.lost for one in edited(bench, lambda text: text.replace("[", "(", 1)))


def test_a_file_changed_is_read_again(bench):
    assert named_elsewhere(bench, Drafts(bench).look("deck.toml"), DECK_PAPER)
    for name in ("candidate.toml", "own.toml"):
        (bench.folder / name).unlink()
    assert named_elsewhere(bench, Drafts(bench).look("deck.toml"), DECK_PAPER) == []

"""Gaskets, and any other definition, edited as their pages do it: one change, every other byte as it was."""

from __future__ import annotations

import pytest

from firedeck.definition.gasket import Gasket
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.scenario.engine import candidate_gasket, engine_plan, write_text
from firedeck.study.bench import Bench
from firedeck.study.editing.drafts import Drafts
from firedeck.study.editing.gasket_paper import GasketPaper
from firedeck.study.editing.named_elsewhere import named_elsewhere
from firedeck.study.editing.paper import draft_state
from firedeck.study.editing.papers import kind_said, paper_of, plan_of

GASKET = ("# bought from the second batch\n" + write_text(candidate_gasket())).replace(
    'thickness = "0.4 mm"', 'thickness = "0.4 mm" # measured, not catalogue'
)
PLAN = write_text(engine_plan())
FASTENING = """kind = "fastening"  # by hand
name = "studs"
deck = "deck.toml"

[tightening]
method = "torque"
note_of_ours = true
"""


@pytest.fixture(scope="module")
def paper():
    return GasketPaper(PLAN)


@pytest.mark.parametrize(
    ("key", "field", "typed", "old", "new"),
    [
        ("layer[2]", "thickness", "0.020 in", '"0.4 mm" # measured', '"0.020 in" # measured'),
        ("law[1]", "height", "0.22 mm", 'height = "0.2 mm"', 'height = "0.22 mm"'),
        ("law[1]", "layers", "3", "layers = 2", "layers = 3"),
        ("law[3].relaxation", "remaining", "0.9", "remaining = 0.92", "remaining = 0.9"),
        ("seal[1]", "offset", "2.8 mm", 'offset = "3.1 mm"', 'offset = "2.8 mm"'),
        ("file", "role", "factory", 'role = "candidate"', 'role = "factory"'),
    ],
)
def test_one_value_is_changed_and_every_other_byte_stays(paper, key, field, typed, old, new):
    if old not in GASKET:  # fractions may be written as text
        old, new = (part.replace("= 0", '= "0') + '"' for part in (old, new))
    assert paper.enter(GASKET, key, field, typed)[0] == GASKET.replace(old, new, 1)


@pytest.mark.parametrize(
    ("key", "field", "typed", "words"),
    [
        ("layer[1]", "thickness", "0.3", "unit"),
        ("layer[1]", "thickness", "-0.3 mm", "more than 0"),
        ("law[1]", "layers", "many", "whole number"),
        ("law[1]", "height", "2 mm", "at most"),
    ],
)
def test_what_is_a_fault_where_it_is_typed_is_refused_there(paper, key, field, typed, words):
    with pytest.raises(FiredeckError, match=words) as refusal:
        paper.enter(GASKET, key, field, typed)
    assert refusal.value.where == field
    assert refusal.value.remedy


def test_a_key_not_stated_is_added_and_taken_out_again(paper):
    more = paper.enter(GASKET, "law[1]", "feet", "held")[0]
    assert 'feet = "held"' in more
    assert paper.enter(more, "law[1]", "feet", "")[0] == GASKET


def test_laws_follow_the_new_names_of_seals_and_laws(paper):
    text, _, _ = paper.enter(GASKET, "law[1]", "name", "arched beads")
    assert 'of = ["arched beads", "coating"]' in text
    assert {one.severity for one in paper.findings("g.toml", text)} <= {"doubt"}


def test_layers_and_seals_are_added_like_the_last_and_deleted_again(paper, tmp_path):
    more, _, key = paper.add(GASKET, "layer", "", (0.0, 0.0), "")
    assert key == "layer[4]"
    assert paper.delete(more, key)[0] == GASKET
    more, _, key = paper.add(GASKET, "seal", "ring", (0.0, 0.0), "bore 2")
    (tmp_path / "g.toml").write_text(more, encoding="utf-8")
    seal = read_definition(tmp_path / "g.toml", Gasket).seals[-1]
    assert (seal.kind, seal.around) == ("ring", "bore 2")
    with pytest.raises(FiredeckError, match="copied"):
        paper.add(GASKET, "law", "", (0.0, 0.0), "")
    with pytest.raises(FiredeckError, match="part of the file"):
        paper.delete(GASKET, "file")


def test_findings_stand_at_their_entry_and_line(paper):
    lost = GASKET.replace('around = "bore 1"', 'around = "bore 9"', 1)
    found = paper.findings("g.toml", lost)
    assert [(one.severity, one.entry) for one in found if "bore 9" in one.message] == [("fault", "seal[1]")]
    assert lost.splitlines()[found[0].line - 1] == 'around = "bore 9"'
    (slip,) = paper.findings("g.toml", GASKET.replace('band = "6 mm"', 'band = "6"', 1))
    assert (slip.severity, slip.entry) == ("unreadable", "seal[1]")


def test_the_thickness_of_all_layers_and_the_lines_of_all_seals_are_told(paper):
    shapes = paper.shapes({"seal": []})
    assert shapes["seals"] == []
    facts = dict(paper.facts("g.toml", GASKET))
    assert facts["Free thickness, beads not counted"] == "1 mm in 3 layers"
    assert paper.facts("g.toml", "kind =") == []


@pytest.fixture
def bench(tmp_path):
    for name, text in (("deck", PLAN), ("g", GASKET), ("studs", FASTENING), ("odd", "a = 1\nb = [")):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    record = 'kind = "film-test"\ndeck = "deck.toml"\ngasket = "g.toml"\nseal = ["bore 1 bead"]\n'
    (tmp_path / "test.toml").write_text(record, encoding="utf-8")
    return Bench(tmp_path)


def test_a_gasket_is_shown_on_the_plan_that_a_record_sets_beside_it(bench, tmp_path):
    (tmp_path / "a-deck.toml").write_text(PLAN, encoding="utf-8")
    assert plan_of(bench, "g.toml") == "deck.toml"
    assert plan_of(bench, "other.toml") == "a-deck.toml"
    named = named_elsewhere(bench, Drafts(bench).look("g.toml"), paper_of(bench, "g.toml", GASKET))
    assert [(one.name, one.places) for one in named] == [("bore 1 bead", ("test.toml: seal[1]",))]


def test_any_other_definition_is_edited_in_its_tables_with_its_faults_where_they_are(bench):
    paper = paper_of(bench, "studs.toml", FASTENING)
    state = draft_state(Drafts(bench).look("studs.toml"), paper)
    assert [entry["key"] for entry in state["entries"]] == ["file", "tightening"]
    told = {one["key"]: one for one in state["findings"]}
    assert told["tightening.note_of_ours"]["line"] == 7
    assert told["tightening.note_of_ours"]["entry"] == "tightening"
    changed = paper.enter(FASTENING, "file", "name", "long studs")[0]
    assert changed == FASTENING.replace('"studs"', '"long studs"')
    no = paper.enter(FASTENING, "tightening", "note_of_ours", "false")[0]
    assert no == FASTENING.replace("true", "false")


def test_a_text_that_says_nothing_can_be_mended_all_the_same(bench):
    (slip,) = paper_of(bench, "odd.toml", "a = 1\nb = [").findings("odd.toml", "a = 1\nb = [")
    assert slip.severity == "unreadable"
    (unsaid,) = paper_of(bench, "odd.toml", "a = 1\n").findings("odd.toml", "a = 1\n")
    assert "film-test" in unsaid.remedy
    assert kind_said('kind = "gasket"\nb = [') == "gasket"

"""Edits of a deck plan: what is not changed keeps every byte, units stay, drafts never lose a version."""

from __future__ import annotations

import tomllib

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from firedeck.definition.deck import DeckPlan
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.scenario.engine import small_plan, write_text
from firedeck.study.bench import Bench
from firedeck.study.editing.deck_edits import add_feature, delete_feature, enter_value, move_feature
from firedeck.study.editing.deck_paper import DECK_PAPER
from firedeck.study.editing.drafts import Drafts, revision
from firedeck.study.editing.history import MOST_STEPS, History
from firedeck.study.editing.new_plan import new_plan
from firedeck.study.editing.paper import draft_state, write_draft
from firedeck.study.editing.retyping import retype

COMMENTED = """# measured on the bench
kind = "deck-plan"
name = "block"   # its name
outline = [
    [-10, -10], [130, -10],  # lower edge
    [130, 130], [-10, 130],
]

# The first bore was sleeved.
[[bore]]
name = "bore 1"
centre = [60.00, 60]   # by hand
diameter = "3.4 in"    # sleeve

# Both studs are alike.
[[fastener-hole]]
name = "stud 1"
centre = [5, 5]
diameter = "12 mm"
# reamed

# stands by itself

# The second stud.
[[fastener-hole]]
name = "stud 2"
centre = [115, 5]
diameter = "12 mm"

[[port]]
name = "drain"
kind = "oil-return"
path = [[-4, 50], [4.5, 50],  # foot
        [4, 70], [-4, 70]]

[[seal]]
name = 'ring 1'
kind = "ring"
around = "bore 1"
offset = "2 mm"
band = "3 mm"
"""
INCHES = COMMENTED.replace('name = "block"', 'name = "block"\ncoordinates = "in"')
WINDOWS = COMMENTED.replace("\n", "\r\n")


def only_change(before, after, old, new):
    assert before.count(old) >= 1
    assert after == before.replace(old, new, 1)


@pytest.mark.parametrize("text", [COMMENTED, WINDOWS])
def test_a_value_is_changed_and_nothing_else(text):
    after = enter_value(text, "bore[1]", "diameter", "87 mm")[0]
    only_change(text, after, '"3.4 in"', '"87 mm"')
    after = enter_value(text, "bore[1]", "x", "61.5 mm")[0]
    only_change(text, after, "60.00", "61.50")


@pytest.mark.parametrize("typed", ["0.5 in", "7/16 in", "12.7 mm", "1.2 cm"])
def test_the_unit_that_was_typed_is_kept_in_the_text(typed):
    after = enter_value(COMMENTED, "fastener-hole[1]", "diameter", typed)[0]
    only_change(COMMENTED, after, '"12 mm"', f'"{typed}"')


@pytest.mark.parametrize("typed", ["86", "86 bananas", "", "3 MPa", "86,5 mm"])
def test_what_is_no_length_is_refused(typed):
    with pytest.raises(FiredeckError):
        enter_value(COMMENTED, "bore[1]", "diameter", typed)


def test_positions_are_taken_in_any_unit_and_written_in_that_of_the_plan():
    assert "centre = [50.80, 60]" in enter_value(COMMENTED, "bore[1]", "x", "2 in")[0]
    assert "centre = [2.00, 60]" in enter_value(INCHES, "bore[1]", "x", "50.8 mm")[0]
    assert "centre = [2.00, 60]" in enter_value(INCHES, "bore[1]", "x", "2")[0]


def test_a_move_keeps_decimals_comments_and_the_coordinate_that_did_not_move():
    only_change(COMMENTED, move_feature(COMMENTED, "bore[1]", (0.1, 0.0))[0], "60.00, 60]", "60.10, 60]")
    moved = move_feature(COMMENTED, "port[1]", (0.0, 1.0))[0]
    wanted = COMMENTED.replace("[-4, 50], [4.5, 50],", "[-4, 51], [4.5, 51],")
    assert moved == wanted.replace("[4, 70], [-4, 70]]", "[4, 71], [-4, 71]]")
    inch = move_feature(INCHES, "fastener-hole[1]", (2.54, 0.0))[0]
    only_change(INCHES, inch, "[5, 5]", "[5.1, 5]")


def test_a_seal_that_lies_around_something_has_no_place_of_its_own():
    with pytest.raises(FiredeckError, match="no place of its own"):
        move_feature(COMMENTED, "seal[1]", (1.0, 0.0))


def test_an_entry_goes_with_the_comments_right_at_it_and_no_others():
    after, _, neighbour = delete_feature(COMMENTED, "fastener-hole[1]")
    assert neighbour == "fastener-hole[1]"
    assert "stud 1" not in after
    assert "reamed" not in after
    assert "Both studs" not in after
    assert "# stands by itself\n\n# The second stud.\n[[fastener-hole]]" in after
    assert after.startswith(COMMENTED[: COMMENTED.index("# Both studs")])


def test_a_new_entry_follows_its_kind_and_takes_its_size_and_unit():
    after, label, key = add_feature(COMMENTED, "bore", "", (20.0, 30.0))
    assert (label, key) == ("new bore 2", "bore[2]")
    added = '\n\n[[bore]]\nname = "bore 2"\ncentre = [20, 30]\ndiameter = "3.4 in"'
    only_change(COMMENTED, after, "# sleeve", f"# sleeve{added}")
    assert tomllib.loads(after)["bore"][1]["diameter"] == "3.4 in"


def test_seals_follow_a_new_name():
    after = tomllib.loads(enter_value(COMMENTED, "bore[1]", "name", "cylinder 1")[0])
    assert after["seal"][0]["around"] == "cylinder 1"


def test_text_typed_as_a_whole_keeps_the_line_endings_of_the_file():
    typed = COMMENTED.replace("# by hand", "# by machine")
    assert retype(WINDOWS, typed) == WINDOWS.replace("# by hand", "# by machine")
    assert retype(WINDOWS, COMMENTED) == WINDOWS


def test_a_layout_that_cannot_be_changed_is_left_alone_aloud():
    inline = 'kind = "deck-plan"\nname = "a"\noutline = [[0, 0], [9, 0], [9, 9]]\n'
    inline += 'bore = [{name = "b", centre = [1, 1], diameter = "2 mm"}]\n'
    assert '"3 mm"' in enter_value(inline, "bore[1]", "diameter", "3 mm")[0]
    with pytest.raises(FiredeckError, match="layout"):
        add_feature(inline, "bore", "", (1.0, 1.0))


# --- faults -----------------------------------------------------------------------------------------------


def test_faults_stand_at_their_line_and_entry():
    broken = COMMENTED.replace('"3.4 in"', '"3.4"')
    (found,) = DECK_PAPER.findings("a.toml", broken)
    assert (found.severity, found.entry) == ("unreadable", "bore[1]")
    assert broken.splitlines()[found.line - 1].startswith("diameter")
    astray = move_feature(COMMENTED, "fastener-hole[2]", (30.0, 0.0))[0]
    fault = next(one for one in DECK_PAPER.findings("a.toml", astray) if one.severity == "fault")
    assert fault.entry == "fastener-hole[2]"
    assert "beyond the outline" in fault.message
    assert fault.at is not None
    (slip,) = DECK_PAPER.findings("a.toml", COMMENTED.replace("outline = [", "outline [", 1))
    assert slip.line == 4


# --- drafts ------------------------------------------------------------------------------------------------


@pytest.fixture
def drafts(tmp_path):
    (tmp_path / "deck.toml").write_text(COMMENTED, encoding="utf-8")
    return Drafts(Bench(tmp_path))


def edit(drafts, old, new):
    draft = drafts.look("deck.toml")
    return drafts.change("deck.toml", draft.revision, draft.text.replace(old, new), "edit")


def test_edits_reach_the_file_only_when_written(drafts):
    path = drafts.bench.folder / "deck.toml"
    draft = edit(drafts, "3.4 in", "3.5 in")
    assert path.read_text(encoding="utf-8") == COMMENTED
    write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, revision(COMMENTED))
    assert path.read_text(encoding="utf-8") == COMMENTED.replace("3.4 in", "3.5 in")
    assert read_definition(path, DeckPlan).bores[0].diameter == pytest.approx(3.5 * 25.4)


def test_what_is_no_plan_is_never_written_and_faults_only_when_said(drafts):
    path = drafts.bench.folder / "deck.toml"
    draft = edit(drafts, '"3.4 in"', '"3.4"')
    with pytest.raises(FiredeckError, match="no deck plan"):
        write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, revision(COMMENTED), faulty=True)
    drafts.undo("deck.toml", draft.revision)
    draft = edit(drafts, "[115, 5]", "[150, 5]")
    with pytest.raises(FiredeckError, match="has faults"):
        write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, revision(COMMENTED))
    assert path.read_text(encoding="utf-8") == COMMENTED
    write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, revision(COMMENTED), faulty=True)
    assert "[150, 5]" in path.read_text(encoding="utf-8")


def test_an_untouched_draft_follows_the_file_and_can_go_back(drafts):
    drafts.look("deck.toml")
    path = drafts.bench.folder / "deck.toml"
    path.write_text(COMMENTED.replace("3.4 in", "88 mm"), encoding="utf-8")
    draft = drafts.look("deck.toml")
    assert draft.written
    assert "88 mm" in draft.text
    assert drafts.undo("deck.toml", draft.revision).text == COMMENTED


@pytest.mark.parametrize("take_file", [True, False])
def test_a_conflict_loses_neither_version(drafts, take_file):
    mine = edit(drafts, "3.4 in", "3.5 in").text
    path = drafts.bench.folder / "deck.toml"
    theirs = COMMENTED.replace("12 mm", "11 mm")
    path.write_text(theirs, encoding="utf-8")
    draft = drafts.look("deck.toml")
    assert draft.in_conflict
    rows = draft_state(draft, DECK_PAPER)["conflict"]
    assert any(row["differs"] and "3.5 in" in row["mine"][1] for row in rows)
    with pytest.raises(FiredeckError, match="changed since"):
        write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, revision(COMMENTED))
    assert path.read_text(encoding="utf-8") == theirs
    draft = drafts.settle("deck.toml", draft.revision, revision(theirs), take_file=take_file)
    assert draft.text == (theirs if take_file else mine)
    assert not draft.in_conflict
    assert drafts.undo("deck.toml", draft.revision).text == (mine if take_file else theirs)


def test_a_change_made_on_an_older_state_is_refused(drafts):
    seen = drafts.look("deck.toml").revision
    edit(drafts, "3.4 in", "3.5 in")
    with pytest.raises(FiredeckError, match="meanwhile"):
        drafts.change("deck.toml", seen, "other", "edit")


def test_drafts_outlive_the_server(drafts):
    text = edit(drafts, "3.4 in", "3.5 in").text
    again = Drafts(drafts.bench)
    draft = again.look("deck.toml")
    assert draft.text == text
    assert again.undo("deck.toml", draft.revision).text == COMMENTED


def test_a_kept_draft_that_makes_no_sense_is_not_used(drafts):
    edit(drafts, "3.4 in", "3.5 in")
    kept = next((drafts.bench.folder / ".firedeck-drafts").iterdir())
    kept.write_text(kept.read_text(encoding="utf-8").replace('"done": [["edit", ', '"done": [["edit", 9'))
    assert Drafts(drafts.bench).look("deck.toml").text == COMMENTED


def test_a_file_that_is_gone_can_be_written_again(drafts):
    edit(drafts, "3.4 in", "3.5 in")
    path = drafts.bench.folder / "deck.toml"
    path.unlink()
    draft = drafts.look("deck.toml")
    assert draft.in_conflict
    drafts.settle("deck.toml", draft.revision, "gone", take_file=False)
    write_draft(drafts, DECK_PAPER, "deck.toml", draft.revision, "gone")
    assert "3.5 in" in path.read_text(encoding="utf-8")


def test_a_new_plan_is_a_copy_with_its_own_name(drafts):
    assert new_plan(drafts.bench, "second", COMMENTED) == "second.toml"
    text = (drafts.bench.folder / "second.toml").read_text(encoding="utf-8")
    only_change(COMMENTED, text, '"block"', '"second"')
    for name in ("second", "../out", "", "a/b"):
        with pytest.raises(FiredeckError):
            new_plan(drafts.bench, name, COMMENTED)


# --- laws --------------------------------------------------------------------------------------------------

SMALL = write_text(small_plan(bores=1))
TEXTS = st.sampled_from([COMMENTED, WINDOWS, INCHES, SMALL])
SHIFT = st.tuples(st.integers(-500, 500), st.integers(-500, 500)).map(lambda at: (at[0] / 10, at[1] / 10))
KEYS = st.sampled_from(["bore[1]", "fastener-hole[1]", "fastener-hole[2]", "port[1]"])
EDITS = st.one_of(
    st.builds(lambda key, shift: lambda text: move_feature(text, key, shift)[0], KEYS, SHIFT),
    st.builds(lambda key: lambda text: delete_feature(text, key)[0], KEYS),
    st.builds(lambda at: lambda text: add_feature(text, "dowel", "", at)[0], SHIFT),
    st.builds(
        lambda key, name: lambda text: enter_value(text, key, "name", name)[0],
        KEYS,
        st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(str.strip),
    ),
    st.builds(lambda part: lambda text: retype(text, text.replace("1", part)), st.text("\r\nab1\"'[]#=")),
)


@given(TEXTS, st.lists(EDITS, min_size=1, max_size=6))
@settings(max_examples=60)
def test_edits_undone_give_the_same_bytes_and_done_again_too(text, edits):
    history = History(text)
    for one in edits:
        try:
            history.change(one(history.text), "edit")
        except FiredeckError:
            continue  # an edit that is refused changes nothing
    after = history.text
    assert History.from_plain(history.plain()).text == after
    while history.undo():
        pass
    assert history.text == text
    while history.redo():
        pass
    assert history.text == after


@given(TEXTS, KEYS, SHIFT)
@settings(max_examples=60)
def test_there_and_back_again_is_where_it_was(text, key, shift):
    there = move_feature(text, key, shift)[0]
    back = move_feature(there, key, (-shift[0], -shift[1]))[0]
    comments = [[line.partition("#")[2] for line in one.splitlines()] for one in (text, back)]
    assert comments[0] == comments[1]
    group, place = key.rstrip("]").split("[")
    old, new = (tomllib.loads(one)[group][int(place) - 1] for one in (text, back))
    for one, other in zip(
        old.get("path", [old.get("centre")]), new.get("path", [new.get("centre")]), strict=True
    ):
        assert other == pytest.approx(one, abs=2e-4)


def test_the_history_is_bounded_and_bursts_are_one_step():
    history = History("")
    for count in range(MOST_STEPS + 20):
        history.change(f"{count}", "count")
    assert len(history.done) == MOST_STEPS
    history.change("a", "typed", burst="1")
    history.change("ab", "typed", burst="1")
    history.undo()
    assert history.text == f"{MOST_STEPS + 19}"

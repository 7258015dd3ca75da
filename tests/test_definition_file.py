"""Definition files: everything wrong is said at once, and what is written reads back."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.criteria import Criteria, default_criteria
from firedeck.definition.deck import DeckPlan
from firedeck.definition.duty import DutyDefinition
from firedeck.definition.film import FilmBatch
from firedeck.definition.gasket import Gasket
from firedeck.errors import DefinitionError, Fault, FiredeckError
from firedeck.files import definition_file
from firedeck.files.definition_file import read_any, read_definition, write_definition
from firedeck.files.definition_kinds import KINDS, schema_for

SCHEMAS = Path(__file__).parents[1] / "docs" / "schema"

PLAN = """\
# Deck of the bench engine, measured twice.
kind = "deck-plan"
name = "bench deck"  # as engraved
outline = [[0, 0], [120, 0], [120, 120], [0, 120]]

# --- the only bore ---
[[bore]]
name = "bore 1"
centre = [60, 60]
diameter = "3.2 in"  # plug gauge

[[port]]
name = "coolant 1"
kind = "coolant"
centre = [10, 10]
diameter = "8 mm"

[[seal]]
name = "ring 1"
kind = "ring"
around = "bore 1"
offset = "1.5 mm"  # feeler
band = "3 mm"

[[seal]]
name = "bead c1"
kind = "half-bead"
around = "coolant 1"
offset = "2 mm"
band = "2 mm"
"""

CALIBRATION = """\
kind = "film-calibration"
film = "film.toml"
date = 2026-03-14
scan = "pieces.tif"
disc = "10 mm"
climate = { temperature = "23 degC", humidity = "45 %" }
piece = [{ pressure = "0 MPa" }, { pressure = "12 MPa" }, { pressure = "25 MPa" }, { pressure = "5 ksi" }]

[load-profile]
rise = "5 s"
hold = "2 min"
scan_delay = "30 min"

[scanner]
name = "bench scanner"
transfer = { encoding = "srgb" }
"""


def write(folder: Path, text: str | bytes, name: str = "file.toml") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def faults_of(folder: Path, text: str | bytes, model: type = DeckPlan) -> dict[str, Fault]:
    with pytest.raises(DefinitionError) as caught:
        read_definition(write(folder, text), model)
    return {fault.key: fault for fault in caught.value.faults}


def test_reads_a_plan_in_inner_units(tmp_path):
    plan = read_definition(write(tmp_path, PLAN), DeckPlan)
    assert plan.bores[0].diameter == pytest.approx(81.28)
    assert [seal.name for seal in plan.seals] == ["ring 1", "bead c1"]


def test_byte_order_mark_and_windows_line_ends_are_no_hindrance(tmp_path):
    text = "\ufeff" + PLAN.replace("\n", "\r\n")
    assert read_definition(write(tmp_path, text), DeckPlan).name == "bench deck"


def test_all_faults_of_a_file_come_at_once(tmp_path):
    text = PLAN.replace('name = "bench deck"', "nam = 3")
    text = text.replace('kind = "coolant"', 'kind = "coolnt"').replace('"8 mm"', '"-8 mm"')
    text = text.replace('offset = "2 mm"\nband = "2 mm"', "band = 2\nwidth = 1")
    text = text.replace('"3.2 in"', "3.2")
    faults = faults_of(tmp_path, text)
    assert set(faults) == {
        "name", "nam", "bore[1].diameter", "port[1].kind", "port[1].diameter", "seal[2].band",
        "seal[2].width",
    }  # fmt: skip
    assert faults["name"].message == "the key is missing"
    assert faults["nam"].remedy == "did you mean name?"
    assert faults["port[1].kind"].value == '"coolnt"'
    assert '"oil-feed"' in faults["port[1].kind"].message
    assert faults["port[1].kind"].remedy == 'did you mean "coolant"?'
    assert faults["port[1].diameter"].message == 'must be more than 0 mm, in "coolant 1"'
    assert "has no unit" in faults["seal[2].band"].message
    assert 'in "bead c1"' in faults["seal[2].band"].message
    assert "around" in faults["seal[2].width"].remedy


def test_faults_show_what_stands_in_the_file_not_its_conversion(tmp_path):
    text = PLAN.replace("outline", 'coordinates = "in"\noutline').replace("[10, 10]", "[10]")
    fault = faults_of(tmp_path, text.replace("[60, 60]", '["x", 60]'))
    assert fault["bore[1].centre[1]"].value == '"x"'
    assert fault["port[1].centre[2]"].remedy == "write points as two numbers, [x, y]"


@pytest.mark.parametrize(
    ("old", "new", "key", "message", "remedy"),
    [
        ("[[bore]]", "[bore]", "bore", "several entries may stand here", "[[bore]]"),
        ('"3 mm"', '"3 MPa"', "seal[1].band", "is not a length", "86 mm"),
        ('"3 mm"', "'x|y'", "seal[1].band", "'x|y' is not a length", "86 mm"),
        ('"3 mm"', "true", "seal[1].band", "a length is expected", "86 mm"),
        ('around = "bore 1"', "around = 4", "seal[1].around", "text is expected", "double quotes"),
        ('around = "bore 1"', "", "seal[1]", "either around or path", "one of the two"),
        ("[120, 120], [0, 120]]", "]", "outline", "at least 3 needed here, 2 given", "add"),
        ('name = "bench deck"', 'name = ""', "name", "the text is empty", "quotes"),
        ('name = "bench deck"', 'name = "x"\nformat = 2', "format", "reads format 1", "a version"),
        (
            '[[bore]]\nname = "bore 1"\ncentre = [60, 60]\ndiameter = "3.2 in"',
            "",
            "bore",
            "is missing",
            "bore",
        ),
        ("[60, 60]", "[60, 60, 1]", "bore[1].centre", "no more than 2 belong here, 3 given", "remove"),
        ("[60, 60]", "[nan, 60]", "bore[1].centre[1]", "finite", "number"),
        ("[60, 60]", "6", "bore[1].centre", "a list is expected", "square brackets"),
    ],
)
def test_faults_in_plain_words(tmp_path, old, new, key, message, remedy):
    fault = faults_of(tmp_path, PLAN.replace(old, new))[key]
    assert message in fault.message
    assert remedy in fault.remedy


def test_bounds_and_missing_keys_speak_of_units(tmp_path):
    text = CALIBRATION.replace('humidity = "45 %"', 'humidity = "145 %"').replace('hold = "2 min"\n', "")
    faults = faults_of(tmp_path, text.replace('"5 ksi"', '"-5 ksi"'), FilmCalibration)
    assert faults["climate.humidity"].message == "must be at most 1"
    assert faults["piece[4].pressure"].message == "must be at least 0 MPa"
    assert faults["load-profile.hold"].remedy == 'add hold, for example hold = "10 min"'


def test_dates_and_whole_numbers(tmp_path):
    text = CALIBRATION.replace("2026-03-14", '"14.3.2026"')
    assert "a date is expected" in faults_of(tmp_path, text, FilmCalibration)["date"].message
    text = CALIBRATION.replace("2026-03-14", "2026-03-14T10:00:00")
    assert "without a time" in faults_of(tmp_path, text, FilmCalibration)["date"].remedy


def test_a_file_of_another_kind_is_one_fault(tmp_path):
    faults = faults_of(tmp_path, CALIBRATION, DeckPlan)
    assert list(faults) == ["kind"]
    assert 'kind "deck-plan" is needed' in faults["kind"].message


@pytest.mark.parametrize(
    ("line", "message", "remedy"),
    [
        ("band = 3 mm", "must stand in quotes", 'band = "3 mm"'),
        ("band = 3,5", "comma", "point"),
        ('file = "C:\\Users\\x"', "backslash", "forward slashes"),
        ("band = “3 mm”", "typographic", 'plain double quotes "'),
        ("band: 3", "equals sign", "instead of the colon"),
        ('name = "twice"', "a second time", "remove one"),
        ("band = [1, 2", "not valid TOML", "correct the line"),
    ],
)
def test_syntax_faults_name_line_and_column(tmp_path, line, message, remedy):
    (key, fault), *others = faults_of(tmp_path, f'kind = "deck-plan"\nname = "x"\n{line}\n').items()
    assert not others
    assert key.startswith("line 3, column ")
    assert fault.value == line
    assert message in fault.message
    assert remedy in fault.remedy


def test_files_that_cannot_be_read_at_all(tmp_path, monkeypatch):
    assert "empty" in faults_of(tmp_path, " \n")["whole file"].message
    assert "UTF-8" in faults_of(tmp_path, PLAN.encode("utf-16"))["whole file"].message
    monkeypatch.setattr(definition_file, "LARGEST_FILE", 100)
    assert "too big" in faults_of(tmp_path, PLAN)["whole file"].message
    for path, words in ((tmp_path, "a folder"), (tmp_path / "none.toml", "no such file")):
        with pytest.raises(DefinitionError, match=words):
            read_definition(path, DeckPlan)


def test_kind_tells_the_model(tmp_path):
    assert isinstance(read_any(write(tmp_path, PLAN)), DeckPlan)
    assert isinstance(read_any(write(tmp_path, CALIBRATION)), FilmCalibration)
    for text in ("name = 3\n", 'kind = "sandwich"\n'):
        with pytest.raises(DefinitionError, match="deck-plan") as caught:
            read_any(write(tmp_path, text))
        assert caught.value.faults[0].key == "kind"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('scan = "pieces.tif"\n', "", "a scan and its pieces belong together"),
        ('disc = "10 mm"\n', "", "diameter is needed"),
        ('{ pressure = "25 MPa" }, { pressure = "5 ksi" }', '{ pressure = "12 MPa" }', "1 given"),
        ("\n[load", "\ntable = [{ pressure = '1 MPa', net_density = 0.1 }]\n[load", "give one of the two"),
    ],
)
def test_calibration_records_must_be_complete(tmp_path, old, new, message):
    assert CALIBRATION.replace(old, new) != CALIBRATION
    assert message in str(faults_of(tmp_path, CALIBRATION.replace(old, new), FilmCalibration)["whole file"])


def test_calibration_by_table(tmp_path):
    rows = ", ".join(f'{{ pressure = "{10 * n} MPa", net_density = {0.1 * n} }}' for n in range(4))
    lines = [line for line in CALIBRATION.splitlines() if not line.startswith(("scan =", "piece", "disc"))]
    lines.insert(3, f"table = [{rows}]")
    record = read_definition(write(tmp_path, "\n".join(lines)), FilmCalibration)
    assert [row.pressure for row in record.table] == [0, 10, 20, 30]
    assert record.pressure_uncertainty == 0.01


def test_writing_what_was_read_changes_no_letter(tmp_path):
    for text in (PLAN, CALIBRATION, PLAN.replace("\n", "\r\n")):
        path = write(tmp_path, text)
        write_definition(path, read_any(path))
        assert path.read_bytes().decode() == text


def test_an_update_keeps_comments_order_and_untouched_text(tmp_path):
    path = write(tmp_path, PLAN)
    plan = read_definition(path, DeckPlan)
    ring, bead = plan.seals
    third = bead.model_copy(update={"name": "bead c2", "offset": 3.0})
    seals = (ring.model_copy(update={"band": 4.0}), third)
    write_definition(path, plan.model_copy(update={"seals": seals, "note": "stripped"}))
    text = path.read_text()
    for kept in ("# Deck of the bench", "# as engraved", "# --- the only bore", '"3.2 in"  # plug gauge'):
        assert kept in text
    assert 'offset = "1.5 mm"  # feeler\nband = "4 mm"' in text
    assert 'note = "stripped"' in text
    assert "bead c1" not in text
    assert read_definition(path, DeckPlan).seals == seals


def test_a_plan_in_inches_is_never_left_half_converted(tmp_path):
    path = write(tmp_path, PLAN.replace("outline", 'coordinates = "in"  # old drawing\noutline'))
    plan = read_definition(path, DeckPlan)
    moved = plan.bores[0].model_copy(update={"centre": (100.0, 50.0)})
    write_definition(path, plan.model_copy(update={"bores": (moved,)}))
    again = read_definition(path, DeckPlan)
    assert again.bores[0].centre == (100.0, 50.0)
    assert again.outline[1] == pytest.approx((120 * 25.4, 0.0))
    assert "# old drawing" in path.read_text()


def test_removing_the_last_entry_of_a_kind(tmp_path):
    path = write(tmp_path, PLAN)
    plan = read_definition(path, DeckPlan)
    write_definition(path, plan.model_copy(update={"seals": ()}))
    assert "seal" not in path.read_text()
    write_definition(path, plan)
    assert read_definition(path, DeckPlan) == plan


def test_inline_entries_stay_inline(tmp_path):
    path = write(tmp_path, CALIBRATION)
    record = read_definition(path, FilmCalibration)
    longer = (*record.pieces, record.pieces[1].model_copy(update={"pressure": 30.0}))
    write_definition(path, record.model_copy(update={"pieces": longer}))
    assert 'pressure = "30 MPa"' in path.read_text()
    assert len(read_definition(path, FilmCalibration).pieces) == 5


def test_nothing_else_is_overwritten(tmp_path):
    broken = write(tmp_path, PLAN.replace('"3 mm"', "3"), "broken.toml")
    other = write(tmp_path, CALIBRATION, "other.toml")
    plan = read_definition(write(tmp_path, PLAN), DeckPlan)
    for path in (broken, other):
        before = path.read_bytes()
        with pytest.raises(FiredeckError, match="already exists"):
            write_definition(path, plan)
        assert path.read_bytes() == before
    with pytest.raises(FiredeckError, match="cannot be written"):
        write_definition(tmp_path / "no" / "plan.toml", plan)
    assert {path.name for path in tmp_path.iterdir()} == {"broken.toml", "other.toml", "file.toml"}


def test_new_files_are_short_and_carry_units(tmp_path):
    path = tmp_path / "criteria.toml"
    write_definition(path, default_criteria())
    text = path.read_text()
    assert text.startswith('kind = "criteria"\nformat = 1\n')
    assert 'line_load_min = "60 N/mm"' in text
    assert "source" not in text.replace("contact_source", "").replace("no source", "")
    assert read_definition(path, Criteria) == default_criteria()


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_published_schemas_are_in_step(kind):
    published = json.loads((SCHEMAS / f"{kind}.json").read_text())
    assert published == schema_for(kind), "run: python docs/write_schemas.py"


def test_schemas_know_keys_as_written():
    properties = schema_for("deck-plan")["properties"]
    assert {"bore", "fastener-hole", "seal"} <= properties.keys()
    assert schema_for("criteria")["properties"]["margin"]["type"] == ["string", "number"]
    with pytest.raises(FiredeckError, match="sandwich"):
        schema_for("sandwich")


NAMES = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=12)
PLACES = st.floats(-1e4, 1e4, allow_nan=False)
SIZES = st.floats(1e-3, 1e4)
POINTS = st.tuples(PLACES, PLACES)


@st.composite
def plans(draw: st.DrawFn) -> DeckPlan:
    def rounds() -> st.SearchStrategy[list[dict[str, object]]]:
        sized = SIZES.map("{!r} mm".format)
        entry = st.fixed_dictionaries({"name": NAMES, "centre": POINTS, "diameter": sized})
        return st.lists(entry, max_size=3, unique_by=lambda entry: entry["name"])

    seal = st.fixed_dictionaries(
        {
            "name": NAMES,
            "kind": st.sampled_from(["ring", "full-bead", "half-bead", "land"]),
            "path": st.lists(POINTS, min_size=3, max_size=5),
            "inside": st.lists(NAMES, min_size=1, max_size=3),
            "offset": PLACES.map("{!r} mm".format),
            "band": SIZES.map("{!r} mm".format),
        }
    )
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": draw(NAMES),
            "note": draw(st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30)),
            "outline": draw(st.lists(POINTS, min_size=3, max_size=6)),
            "bore": draw(rounds().filter(bool)),
            "fastener-hole": draw(rounds()),
            "seal": draw(st.lists(seal, max_size=3)),
        }
    )


def as_written(plan: DeckPlan) -> DeckPlan:
    """Lengths are kept to twelve digits in text."""
    return DeckPlan.model_validate(plan.model_dump(by_alias=True))


@settings(max_examples=25, deadline=None)
@given(first=plans(), second=plans())
def test_what_is_written_reads_back(tmp_path_factory, first, second):
    path = tmp_path_factory.mktemp("round") / "plan.toml"
    for plan in (first, second, first):
        write_definition(path, plan)
        assert read_definition(path, DeckPlan) == as_written(plan)


def test_dates_are_written_as_dates(tmp_path):
    film = FilmBatch.model_validate(
        {
            "kind": "film-batch", "name": "high", "lot": "17-b", "sheets": "one", "thickness": "0.11 mm",
            "range_low": "50 MPa", "range_high": "130 MPa", "expiry": dt.date(2027, 5, 1),
        }
    )  # fmt: skip
    write_definition(tmp_path / "film.toml", film)
    assert "expiry = 2027-05-01" in (tmp_path / "film.toml").read_text()
    assert read_any(tmp_path / "film.toml") == film


def test_entries_of_several_kinds_are_judged_by_their_own(tmp_path):
    text = """\
kind = "duty"
[engine]
bore = "86 mm"
stroke = "86 mm"
rod = "144 mm"
compression_ratio = 9.5
cylinders = 4
valves = { intake_closes = "150 deg", exhaust_opens = "50 deg" }
[source]
kind = "rule"
powr = "300 kW"
"""
    faults = faults_of(tmp_path, text, DutyDefinition)
    assert faults["source.powr"].remedy == "did you mean power?"
    assert faults["engine.valves.intake_closes"].message == "must be at most 110 degree"
    text = text.replace('kind = "rule"', 'kind = "guess"').replace("150 deg", "50 deg")
    assert (
        faults_of(tmp_path, text, DutyDefinition)["source"].message == "the kind of this entry is not known"
    )


def test_gasket_files(tmp_path):
    path = write(tmp_path, 'kind = "gasket"\nname = "g"\nrole = "facory"\n[[layer]]\nname = "top"\n')
    with pytest.raises(DefinitionError) as caught:
        read_definition(path, Gasket)
    keys = [fault.key for fault in caught.value.faults]
    assert keys == ["role", "layer[1].material", "layer[1].thickness"]

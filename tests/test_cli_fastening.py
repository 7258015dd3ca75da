"""The commands about fasteners: the assessment, the torque and its card, and what bad inputs are told."""

from __future__ import annotations

import csv
import json
import re
import shutil

import pytest
import tomlkit
from typer.testing import CliRunner

from firedeck.cli import app
from firedeck.files.definition_file import write_definition
from firedeck.scenario.cylinder_trace import duty_files
from firedeck.scenario.engine import candidate_gasket, engine_plan
from tests.fasteners import FROM_DUTY, TYPED, typed_fastening

HOLES = [hole.name for hole in engine_plan().fastener_holes]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fastening")
    write_definition(folder / "deck.toml", engine_plan())
    write_definition(folder / "candidate.toml", candidate_gasket())
    (folder / "fastening.toml").write_text(typed_fastening(), encoding="utf-8")
    return folder


@pytest.fixture
def bench(made, tmp_path, monkeypatch):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def edit(bench, *changes):
    path = bench / "fastening.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def told(*arguments):
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def rows(path):
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def test_the_example_is_sound_and_assessed(bench):
    assert run("joint", "check", "fastening.toml").exit_code == 0
    result = run("joint", "fasteners", "fastening.toml")
    assert result.exit_code == 0, result.output
    for word in ("Verdict: ", "of yield while it is turned", "once the wrench is off", "strips at",
                 "washer on A356-T6", "lost by embedding", "in operation", "with 10 % more friction",
                 "bearing friction ±", "note: The sequence was proposed here"):  # fmt: skip
        assert word in result.stdout


def test_inner_cylinders_are_worst_and_more_friction_makes_them_worse(bench):
    answer = told("joint", "fasteners", "fastening.toml")
    cylinders = answer["cylinders"]
    assert {row["cylinder"] for row in cylinders[:2]} == {"bore 2", "bore 3"}
    assert [row["ratio"] for row in cylinders] == sorted(row["ratio"] for row in cylinders)
    for row in cylinders:
        assert row["ratio_more_friction"] < row["ratio"] < row["ratio_less_friction"]
        assert row["ratio_low"] < row["ratio"] < row["ratio_high"]
        assert row["ratio"] == pytest.approx(row["clamp_N"] / row["gas_N"])
    hottest = next(row for row in cylinders if row["cylinder"] == "bore 4")
    assert hottest["pressure_MPa"] == pytest.approx(12.0 * 1.03)
    settled = sum(row["settled_N"] for row in answer["fasteners"])
    assert sum(row["clamp_N"] for row in cylinders) == pytest.approx(settled)


def test_an_aluminium_head_gains_preload_by_heat_and_settling_takes_some(bench):
    for row in told("joint", "fasteners", "fastening.toml")["fasteners"]:
        assert row["settled_N"] < row["tightened_N"]
        assert row["hot_N"] > row["settled_N"]
        assert row["peak_N"] >= row["tightened_N"] * (1 - 1e-9)


def test_the_report_is_written_with_pictures_and_tables(bench):
    result = run("joint", "fasteners", "fastening.toml", "--out", "report")
    assert result.exit_code == 0, result.output
    names = {path.name for path in (bench / "report").iterdir()}
    assert names >= {"report.html", "preloads.png", "torque-1.png", "clamp.png"}
    assert names >= {
        f"{stem}.{kind}" for stem in ("fasteners", "moves", "cylinders") for kind in ("csv", "parquet")
    }
    page = (bench / "report" / "report.html").read_text(encoding="utf-8")
    for part in ("Clamp over gas load", "Assumptions that change the result", "cautions", "Heat", "Settling"):
        assert part in page
    assert [row["fastener"] for row in rows(bench / "report" / "fasteners.csv")] == HOLES
    # four rounds over ten fasteners, and what all ten hold after each move
    assert len(rows(bench / "report" / "moves.csv")) == 4 * 10 * 10


def test_strict_ends_with_one_unless_it_holds(bench):
    assert run("joint", "fasteners", "fastening.toml", "--strict").exit_code == 0
    edit(bench, ('value = "120 bar"', 'value = "260 bar"'))
    result = run("joint", "fasteners", "fastening.toml", "--strict")
    assert result.exit_code == 1
    assert result.stdout.startswith("Verdict: gives")


def test_what_is_not_stated_is_not_shown(bench):
    text = typed_fastening()
    edit(bench, (TYPED, ""), ('bearing_limit = "1100 MPa"\n', ""))
    edit(bench, *((line, "") for line in re.findall(r".*temperature = .*\n", text)))
    answer = told("joint", "fasteners", "fastening.toml")
    assert answer["verdict"] == "not shown"
    open_rules = {
        reason["rule"]
        for part in answer["parts"]
        for reason in part["reasons"]
        if reason["leads_to"] == "not shown"
    }
    assert open_rules == {"bearing pressure", "heat", "gas load"}
    assert answer["cylinders"] == []
    assert all(row["hot_N"] is None for row in answer["fasteners"])


def with_rule(bench, **changes):
    rule = duty_files()["duty-rule.toml"] | changes
    (bench / "duty-rule.toml").write_text(tomlkit.dumps(rule), encoding="utf-8")
    edit(bench, (TYPED, FROM_DUTY.replace("trace", "rule")))


def test_the_pressure_may_come_from_a_duty(bench):
    with_rule(bench)
    asked = told("duty", "rule", "duty-rule.toml")
    answer = told("joint", "fasteners", "fastening.toml")
    pressures = [row["pressure_MPa"] for row in answer["cylinders"]]
    assert pressures == pytest.approx([asked["cylinders"][0]["design_MPa"]] * 4)
    assert "sha256 duty-rule.toml" in answer["provenance"]
    assert any("duty-rule.toml, by rule" in note for note in answer["assumptions"])


def test_a_duty_of_another_engine_is_refused(bench):
    engine = duty_files()["duty-rule.toml"]["engine"] | {"cylinders": 2, "firing_order": [1, 2]}
    with_rule(bench, engine=engine)
    result = run("joint", "fasteners", "fastening.toml")
    assert result.exit_code == 2
    assert "duty-rule.toml is of 2 cylinders, and the plan has 4 bores" in " ".join(result.stderr.split())


def test_a_pressure_is_typed_or_taken_from_a_duty_not_both(bench):
    edit(bench, (TYPED, TYPED + FROM_DUTY))
    result = run("joint", "fasteners", "fastening.toml")
    assert result.exit_code == 2
    assert "both cylinder-pressure and cylinder-pressure-from" in " ".join(result.stderr.split())


def test_a_stiffer_gasket_disturbs_neighbours_less(bench):
    edit(bench, ("[settling]", '[bed]\nstiffness = "1500 kN/mm"\n\n[settling]'))
    soft = told("joint", "fasteners", "fastening.toml")["fasteners"]
    edit(bench, ("1500 kN/mm", "15000 kN/mm"))
    stiff = told("joint", "fasteners", "fastening.toml")["fasteners"]

    def apart(fasteners):
        forces = [row["tightened_N"] for row in fasteners]
        return (max(forces) - min(forces)) / max(forces)

    assert apart(soft) > 2 * apart(stiff) > 0


def test_groups_of_different_fasteners(bench):
    text = typed_fastening()
    group = text[text.index("[[group]]") :]
    ends = '"fastener 1", "fastener 5", "fastener 6", "fastener 10"'
    second = group.replace('name = "head studs"', f'name = "end studs"\nholes = [{ends}]').replace(
        "[group.fastener]\n",
        '[group.tightening]\nlubricant = "class B"\nstage = [{ torque = "70 N*m" }]\n\n[group.fastener]\n', 1,
    )  # fmt: skip
    (bench / "fastening.toml").write_text(text + "\n" + second, encoding="utf-8")
    answer = told("joint", "fasteners", "fastening.toml")
    assert [(one["group"], one["fasteners"]) for one in answer["groups"]] == [
        ("head studs", 6),
        ("end studs", 4),
    ]
    force = {row["fastener"]: row["tightened_N"] for row in answer["fasteners"]}
    assert force["fastener 1"] < 0.8 * force["fastener 3"]
    card = run("joint", "torque", "fastening.toml", "--out", "card")
    assert card.exit_code == 0, card.output
    assert "end studs" in (bench / "card" / "card.html").read_text(encoding="utf-8")
    assert "only a last round of torques over all fasteners" in card.stdout
    assert (bench / "card" / "torque-2.png").exists()


# --- torque and card -----------------------------------------------------------------------------


def test_torque_table_in_both_units_over_friction(bench):
    answer = told("joint", "torque", "fastening.toml", "--preload", "55 kN", "--preload", "9000 lbf")
    low, high = answer["torques"]
    assert low["preload_N"] == pytest.approx(9000 * 4.4482216152605)
    assert high["preload_N"] == pytest.approx(55e3)
    for row in answer["torques"]:
        assert row["torque_low_Nm"] < row["torque_typical_Nm"] < row["torque_high_Nm"]
        assert row["torque_typical_lbfft"] == pytest.approx(row["torque_typical_Nm"] / 1.3558179483)
        assert row["least_N"] < row["preload_N"] < row["most_N"]
    # the plan is for the first preload asked for, in whole newton-metres
    last = answer["turns"][-1]
    assert last["torque_Nm"] == round(high["torque_typical_Nm"])
    assert answer["aimed_N"] == pytest.approx(55e3)


def test_rows_past_yield_are_marked(bench):
    yields = {row["yields"] for row in told("joint", "torque", "fastening.toml")["torques"]}
    assert yields == {"no", "at low friction"}
    rows = told("joint", "torque", "fastening.toml", "--preload", "50 kN", "--preload", "80 kN")["torques"]
    assert [row["yields"] for row in rows] == ["no", "yes"]


def test_a_last_round_with_own_torques_ends_even(bench):
    answer = told("joint", "torque", "fastening.toml", "--preload", "58 kN", "--way", "even")
    ways = {way["way"]: list(way["left_N"].values()) for way in answer["ways"]}

    def apart(forces):
        return (max(forces) - min(forces)) / max(forces)

    assert apart(ways["even"]) < 0.01 < apart(ways["given"])
    last = [turn for turn in answer["turns"] if turn["round"] == 3]
    assert [turn["fastener"] for turn in last] == answer["sequence"]
    assert len({turn["torque_Nm"] for turn in last}) > 3


def test_own_torques_past_the_yield_of_the_lowest_friction_are_refused(bench):
    result = run("joint", "torque", "fastening.toml", "--way", "even", "--out", "card")
    assert result.exit_code == 2
    assert "yields with the lowest friction" in result.stderr
    assert not (bench / "card").exists()


def test_the_card_is_one_page_in_both_forms(bench):
    result = run("joint", "torque", "fastening.toml", "--out", "card")
    assert result.exit_code == 0, result.output
    pdf = (bench / "card" / "card.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    page = (bench / "card" / "card.html").read_text(encoding="utf-8")
    for words in (
        "105 N·m",
        "77 lbf·ft",
        "assembly paste",
        "Never past 107 N·m (79 lbf·ft)",
        "Cautions",
        "<svg",
    ):
        assert words in page
    assert "<script" not in page
    assert not re.search(r'(?:src|href)="http', page)
    turns = rows(bench / "card" / "turns.csv")
    assert len(turns) == 4 * 10
    assert {row["fastener"] for row in turns} == set(HOLES)


@pytest.mark.parametrize(
    ("stages", "unit"),
    [
        ('[{ torque = "35 N*m" }, { angle = "90 deg" }]', "degree"),
        ('[{ torque = "35 N*m" }, { stretch = "0.35 mm" }]', "mm"),
        ('[{ tension = "60 kN" }]', "N"),
    ],
)
def test_other_methods_are_aimed_by_their_last_stage(bench, stages, unit):
    given = '[{ torque = "35 N*m" }, { torque = "70 N*m" }, { torque = "105 N*m" }]'
    edit(bench, (given, stages), ("retorque = 1\n", ""))
    assert told("joint", "fasteners", "fastening.toml")["groups"][0]["method"] != "torque"
    answer = told("joint", "torque", "fastening.toml", "--preload", "50 kN")
    assert answer["turns"][-1]["unit"] == unit
    left = next(way for way in answer["ways"] if way["way"] == "given")["left_N"]
    # neighbours take some off, and a head that rocks puts some on
    assert sum(left.values()) / len(left) == pytest.approx(50e3, rel=0.05)
    assert not next(way for way in answer["ways"] if way["way"] == "even")["open"]


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('nut_thread = "M11x1.5"', 'nut_thread = "M11x9"'), "cannot be cut"),
        (('nut_thread = "M11x1.5"', 'nut_thread = "M11-20"'), "mixes inch and metric"),
        (('torque = "105 N*m"', 'torque = "105 kN"'), "is not a torque"),
        (('torque = "105 N*m"', 'torque = "105"'), "has no unit"),
        (('torque = "105 N*m"', 'torque = "150 N*m"'), "150 N·m (111 lbf·ft) is past yield"),
        (('torque = "105 N*m"', 'torque = "150 N*m"'), "yields at 121 N·m (89 lbf·ft)"),
        (("low = 0.095", "low = 0.0"), "a coefficient of friction is above zero"),
        (('boss = "26 mm"', 'boss = "26 mm"\nholes = ["fastener 1"]'), "holes without a fastener"),
        (('boss = "26 mm"', 'boss = "26 mm"\nholes = ["stud 1"]'), "no fastener hole 'stud 1'"),
        (("retorque = 1", 'retorque = 1\nsequence = ["fastener 1"]'), "it leaves out fastener 2"),
        (("[1.0, 1.0, 1.0, 1.03]", "[1.0, 1.03]"), "2 factors stand here, and the plan has 4 bores"),
        (('thickness = "92 mm"', 'thickness = "80 mm"'), "make a grip of 96 mm"),
        (('temperature = "125 degC"\n', ""), "some temperatures are stated and others are not"),
        (('material = "12.9"', 'material = "13.9"'), "is not a material that firedeck knows"),
        (('deck = "deck.toml"', 'deck = "lost.toml"'), "there is no such file"),
        (('deck = "deck.toml"', 'deck = "candidate.toml"'), 'a file of kind "deck-plan" is needed here'),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", ["check", "fasteners", "torque"])
def test_bad_input_is_told_plainly(bench, change, words, command):
    edit(bench, change)
    result = run("joint", command, "fastening.toml")
    assert result.exit_code == 2, result.output
    assert words in result.output
    assert "To mend:" in result.output
    assert "Traceback" not in result.output
    assert "fault of its own" not in result.output


def test_all_faults_of_a_file_are_told_at_once(bench):
    edit(bench, ('torque = "105 N*m"', 'torque = "105 bar"'), ('"M11x1.5"', '"M11x9"'), ("boss =", "bos ="))
    result = run("joint", "fasteners", "fastening.toml")
    assert result.exit_code == 2
    assert "4 faults in the definition" in result.stderr  # the thread stands twice
    assert "did you mean boss?" in result.stderr


@pytest.mark.parametrize(
    ("preload", "words"),
    [
        ("95 kN", "95 kN is past yield"),
        ("95 kN", "yields at 71.7 kN, at 121 N·m (89 lbf·ft)"),
        ("60", "has no unit"),
        ("60 N*m", "is not a force"),
    ],
)
def test_a_preload_that_cannot_be_is_refused(bench, preload, words):
    result = run("joint", "torque", "fastening.toml", "--preload", preload, "--out", "card")
    assert result.exit_code == 2
    assert words in result.stderr
    assert not (bench / "card").exists()


def test_a_plan_without_bore_seals_asks_for_the_diameter(bench):
    plan = engine_plan()
    kept = tuple(seal for seal in plan.seals if not seal.around.startswith("bore"))
    (bench / "deck.toml").unlink()
    write_definition(bench / "deck.toml", plan.model_copy(update={"seals": kept}))
    edit(bench, ('gasket = "candidate.toml"\n', ""))
    result = run("joint", "fasteners", "fastening.toml")
    assert result.exit_code == 2
    assert "the diameter that the gas acts on is not known" in result.stderr
    edit(bench, ('scatter = "12 %"', 'scatter = "12 %"\nseal_diameter = "90 mm"'))
    answer = told("joint", "fasteners", "fastening.toml")
    assert {row["seal_diameter_mm"] for row in answer["cylinders"]} == {90.0}


def test_the_folder_of_somebody_else_is_left_alone(bench):
    (bench / "mine").mkdir()
    (bench / "mine" / "notes.txt").write_text("mine")
    for command in ("fasteners", "torque"):
        result = run("joint", command, "fastening.toml", "--out", "mine")
        assert result.exit_code == 2
        assert "--overwrite" in result.stderr
    assert (bench / "mine" / "notes.txt").read_text() == "mine"

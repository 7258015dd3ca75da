"""The commands about the duty: from files as loggers write them to reports; and what they say to bad ones."""

from __future__ import annotations

import csv
import json
import re
import shutil

import numpy as np
import pytest
from typer.testing import CliRunner

from firedeck.cli import app
from firedeck.definition.duty import DutyDefinition
from firedeck.files.definition_file import read_definition
from firedeck.scenario.cylinder_trace import duty_files, make_traces, write_trace
from firedeck.study.duty.cases import compare_duties, read_model, read_rule
from firedeck.study.duty.trace import TraceOptions, UnclearTraceError, read_trace

MPA_PER_PSI, KW_PER_HP = 0.00689475729, 0.745699872


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("duty")
    return folder, make_traces(folder)


@pytest.fixture
def bench(made, tmp_path, monkeypatch):
    for file in made[0].iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def told(*arguments):
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def refused(*arguments):
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    assert "Traceback" not in result.output
    assert "fault of its own" not in result.output
    return result.output


def edit(path, *changes):
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def test_the_examples_are_sound(bench):
    result = run("joint", "check", *duty_files())
    assert result.exit_code == 0, result.output
    assert result.stdout.count("sound") == 4


def test_a_trace_comes_out_true(bench, made):
    """Three unnamed tab columns in volts, from a generator that shares nothing with the reader."""
    truth = made[1]
    answer = told("duty", "trace", "duty-trace.toml")
    one, trace = answer["cylinders"][0], answer["traces"][0]
    kept = truth.peaks[1:]
    assert trace["cycles"] in (148, 149)
    assert one["mean_low_MPa"] < kept.mean() < one["mean_high_MPa"]
    assert one["mean_MPa"] == pytest.approx(kept.mean(), rel=0.005)
    assert one["deviation_MPa"] == pytest.approx(kept.std(ddof=1), rel=0.05)
    assert trace["top_dead_centre_low_deg"] < truth.top_dead_centre < trace["top_dead_centre_high_deg"]
    assert trace["imep_mean_low_MPa"] < truth.indicated.mean() < trace["imep_mean_high_MPa"]
    assert trace["knocking_share"] == pytest.approx(truth.knocking.mean(), abs=0.03)
    assert one["extreme_MPa"] > kept.max()
    assert one["design_high_MPa"] > one["design_MPa"] > one["extreme_MPa"]
    assert len(answer["cylinders"]) == 4
    assert any("cylinders 2, 3, 4 were not measured" in note for note in answer["notes"])


def test_a_trace_s_report_is_whole(bench):
    result = run("duty", "trace", "duty-trace.toml", "--out", "report")
    assert result.exit_code == 0, result.output
    assert re.match(r"The joint must survive \d+ bar \(\d+ to \d+\); .+ MPa .+; \d+ psi", result.stdout)
    assert "note: cylinder 1: pegged to the manifold pressure" in result.stdout
    names = {path.name for path in (bench / "report").iterdir()}
    assert names >= {"report.html", "fan-1.png", "peaks-1.png", "log-p-log-v-1.png"}
    assert names >= {f"{stem}.{kind}" for stem in ("duty", "cycles", "fan") for kind in ("csv", "parquet")}
    with (bench / "report" / "cycles.csv").open(newline="") as file:
        peaks = [float(row["peak_MPa"]) for row in csv.DictReader(file)]
    told_now = told("duty", "trace", "duty-trace.toml")["traces"][0]
    assert np.mean(peaks) == pytest.approx(told_now["peak_mean_MPa"])
    page = (bench / "report" / "report.html").read_text(encoding="utf-8")
    for words in ("What the joint must survive", "Assumptions and doubts", "release to run an engine"):
        assert words in page


def test_an_unclear_trace_ends_in_questions_and_a_mapping_to_fill_in(bench):
    result = run("duty", "trace", "cylinder-1.txt")
    assert result.exit_code == 2
    assert "6 things are not said and must be stated" in result.stderr
    assert "Traceback" not in result.stderr
    mapping = bench / "mapping.toml"
    mapping.write_text(result.stdout, encoding="utf-8")
    assert "# column 2 (unnamed) goes from" in result.stdout
    unfilled = refused("duty", "trace", "cylinder-1.txt", "--mapping", mapping)
    assert "6 faults" in unfilled
    edit(
        mapping,
        ('base = "?"', 'base = "angle"'),
        ('base_column = "?"', "base_column = 1"),
        ('base_unit = "?"', 'base_unit = "deg"'),
        ('speed = "?"', 'speed = "6500 rpm"'),
        ('\ncolumn = "?"', "\ncolumn = 2"),
        ('\nunit = "?"', '\nunit = "V"'),
        ('# gain = "20 bar"', 'gain = "25 bar"'),
    )
    engine = run("duty", "trace", "cylinder-1.txt", "--mapping", mapping)
    assert engine.exit_code == 2
    assert "engine: bore, stroke" in engine.stderr
    (bench / "duty.toml").write_text(engine.stdout, encoding="utf-8")
    assert "the key" not in run("joint", "check", "duty.toml").stdout  # blanks are faults, keys are right
    answer = told("duty", "trace", "cylinder-1.txt", "--mapping", mapping, "--duty", "duty-model.toml")
    expected = told("duty", "trace", "duty-trace.toml")
    # another pegging, and top dead centre from the compression line: the peak hardly moves
    assert answer["cylinders"][0]["mean_MPa"] == pytest.approx(expected["cylinders"][0]["mean_MPa"], rel=0.03)
    assert any("better motored" in note for note in answer["notes"])


def test_questions_as_data(bench):
    result = run("duty", "trace", "cylinder-1.txt", "--json")
    assert result.exit_code == 2
    error = json.loads(result.stdout)["error"]
    assert [question["key"] for question in error["questions"]][:2] == [
        "pressure[0].column",
        "pressure[0].unit",
    ]
    assert error["file"] == "mapping.toml"
    assert error["text"].startswith('kind = "trace-mapping"')


def rewritten(bench, text):
    (bench / "cylinder-1.txt").write_text(text, encoding="utf-8")


def test_semicolons_and_decimal_commas(bench):
    before = told("duty", "trace", "duty-trace.toml")
    text = (bench / "cylinder-1.txt").read_text(encoding="utf-8")
    rewritten(bench, text.replace("\t", ";").replace(".", ","))
    motored = (bench / "cylinder-1-motored.txt").read_text(encoding="utf-8")
    (bench / "cylinder-1-motored.txt").write_text(
        motored.replace("\t", ";").replace(".", ","), encoding="utf-8"
    )
    edit(bench / "trace-mapping.toml", ('"tab"', '";"'), ('decimal = "."', 'decimal = ","'))
    assert told("duty", "trace", "duty-trace.toml")["cylinders"] == before["cylinders"]


def test_fifty_thousand_rows_by_polytropic_pegging(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    truth = write_trace(tmp_path / "log.txt", cycles=70)
    assert (tmp_path / "log.txt").read_text(encoding="utf-8").count("\n") > 50_000
    make_traces(tmp_path)
    options = TraceOptions(
        duty_file=tmp_path / "duty-model.toml",
        mapping_file=tmp_path / "trace-mapping.toml",
        top_dead_centre=truth.top_dead_centre,
        cycles=1000,
    )
    reading = read_trace(tmp_path / "log.txt", options)
    assert reading.results[0].peak.mean.value == pytest.approx(truth.peaks.mean(), rel=0.02)
    assert reading.duty.cycles == 1000
    assert reading.definition.name == "log.txt"
    assert any("p V^1.32" in note for note in reading.duty.notes)


def test_a_speed_said_beside_the_trace_goes_before_the_mapping_s(bench):
    assert told("duty", "trace", "duty-trace.toml", "--speed", "6400 rpm")["speed_per_min"] == 6400.0


def empty(bench):
    rewritten(bench, "")


def binary(bench):
    (bench / "cylinder-1.txt").write_bytes(np.random.default_rng(1).bytes(9000))


def two_columns(bench):
    text = (bench / "cylinder-1.txt").read_text(encoding="utf-8")
    rewritten(bench, "".join(line.split("\t")[0] + "\n" for line in text.splitlines()))


def wrong_gain(bench):
    edit(bench / "trace-mapping.toml", ('gain = "25', 'gain = "-25'))


def short(bench):
    lines = (bench / "cylinder-1.txt").read_text(encoding="utf-8").splitlines()
    rewritten(bench, "\n".join(lines[:1000]) + "\n")


def fired_as_motored(bench):
    shutil.copy(bench / "cylinder-1.txt", bench / "cylinder-1-motored.txt")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (empty, "no table of numbers"),
        (binary, "not text"),
        (two_columns, "names column"),
        (wrong_gain, "trace"),
        (short, "whole cycles"),
        (fired_as_motored, "not motored"),
        (lambda bench: (bench / "cylinder-1.txt").unlink(), "cannot be read"),
        (lambda bench: (bench / "trace-mapping.toml").unlink(), "there is no such file"),
        (lambda bench: edit(bench / "duty-trace.toml", ('bore = "86 mm"', 'bore = "86"')), "has no unit"),
        (
            lambda bench: edit(bench / "duty-trace.toml", ('\nbore = "86 mm"', '\nbore = "8.6 mm"')),
            "30 to 250 mm",
        ),
        (lambda bench: edit(bench / "duty-trace.toml", ('"intake"', '"inlet"')), "source.peg"),
    ],
)
def test_bad_traces_are_refused_in_plain_words_and_write_nothing(bench, spoil, words):
    spoil(bench)
    output = refused("duty", "trace", "duty-trace.toml", "--out", "report")
    assert words in output
    assert "To mend" in output
    assert not (bench / "report").exists()


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--manifold-pressure", "2.6", "has no unit"),
        ("--manifold-pressure", "-1 bar", "must be more than 0"),
        ("--top-dead-centre", "3 mm", "is not a angle"),
        ("--speed", "20 rpm", "engine speed is 20"),
        ("--cycles", "0", "--cycles"),
        ("--peg", "guess", "--peg"),
        ("--duty", "duty-rule.toml", ""),
    ],
)
def test_what_is_said_beside_a_trace_is_checked(bench, option, value, words):
    if option == "--duty":  # a duty of another source lends its engine to a trace file
        assert run("duty", "trace", "cylinder-1.txt", option, value).exit_code == 2  # mapping still open
        return
    assert words in refused("duty", "trace", "duty-trace.toml", option, value)


def test_the_model_in_both_unit_systems(bench):
    answer = told("duty", "model", "duty-model.toml")
    assert 7.0 < answer["cycle"]["peak_MPa"] < 11.0
    assert answer["cycle"]["peak_low_MPa"] < answer["cycle"]["peak_MPa"] < answer["cycle"]["peak_high_MPa"]
    boost = 23.5 * MPA_PER_PSI
    edit(
        bench / "duty-model.toml",
        ('"23.5 psi"', f'"{10 * boost:.9f} bar"'),
        ('"86 mm"', f'"{86 / 25.4:.9f} in"'),
        ('"55 degC"', '"131 degF"'),
    )
    assert told("duty", "model", "duty-model.toml")["cycle"]["peak_MPa"] == pytest.approx(
        answer["cycle"]["peak_MPa"], rel=1e-6
    )
    shown = run("duty", "model", "duty-model.toml").stdout
    power = re.search(r"brake power +(\d+) kW .+; (\d+) hp", shown)
    assert float(power[1]) / float(power[2]) == pytest.approx(KW_PER_HP, rel=0.01)


def test_stated_doubts_widen_the_model_and_are_ranked(bench):
    whole = read_model(bench / "duty-model.toml")
    moves = [abs(one.peak) for one in whole.worked.contributions]
    assert moves == sorted(moves, reverse=True)
    assert whole.worked.contributions[0].words == "angle of 50 % burnt"
    text = (bench / "duty-model.toml").read_text(encoding="utf-8")
    (bench / "sure.toml").write_text(text.split("[source.doubts]")[0] + "[source.doubts]\nheat_factor = 0\n")
    sure = read_model(bench / "sure.toml")
    assert sure.worked.contributions == ()
    wide, narrow = whole.worked.peak, sure.worked.peak
    assert wide.value == narrow.value
    assert (narrow.high - narrow.low) / narrow.value == pytest.approx(0.2, rel=1e-6)
    assert wide.high - wide.low > 1.05 * (narrow.high - narrow.low)
    assert any("no doubts of the inputs were stated" in note for note in sure.duty.notes)
    # quadrature of the single moves is about the interval of all together
    together = np.hypot(0.1 * wide.value, np.sqrt(np.sum(np.square(moves))))
    assert 0.5 * (wide.high - wide.low) == pytest.approx(together, rel=0.08)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([('"23.5 psi"', '"23.5 bar"')], ["source.boost", "0.02 to 1 MPa"]),
        (
            [
                ('"23.5 psi"', '"23.5 bar"'),
                ('"55 degC"', '"550 degC"'),
                ("air_ratio = 0.84", "air_ratio = 8.4"),
            ],
            ["3 faults", "source.boost", "source.charge_temperature", "source.air_ratio"],
        ),
        ([("[source]\n", '[source]\nfuel = "kerosene"\n')], ["source.fuel", "write one of"]),
        ([('burn_50 = "2 deg"', 'burn_50 = "2 mm"')], ["source.doubts.burn_50"]),
    ],
)
def test_a_model_outside_what_it_covers_is_refused_with_all_faults(bench, changes, words):
    edit(bench / "duty-model.toml", *changes)
    outputs = refused("duty", "model", "duty-model.toml"), run("joint", "check", "duty-model.toml").stdout
    for output in outputs:
        assert all(word in output for word in words[-3:])
    assert words[0] in outputs[0]


def test_the_rule_is_a_wide_band(bench):
    answer = told("duty", "rule", "duty-rule.toml")
    assert answer["power_kW"] == pytest.approx(325 * KW_PER_HP, rel=1e-6)
    # 3.5 to 6 times the mean effective pressure (from memory, as the rule says)
    mean = answer["bmep_MPa"]
    assert answer["cylinders"][0]["mean_low_MPa"] == pytest.approx(3.5 * mean)
    assert answer["cylinders"][0]["mean_high_MPa"] == pytest.approx(6.0 * mean)
    assert any("measure a trace" in note for note in answer["notes"])


@pytest.mark.parametrize("source", ["trace", "rule"])
def test_another_source_is_named_with_its_command(bench, source):
    assert f"firedeck duty {source}" in refused("duty", "model", f"duty-{source}.toml")


def test_a_trace_command_names_the_command_of_another_source(bench):
    assert "firedeck duty model" in refused("duty", "trace", "duty-model.toml")


def test_the_inverse_comes_back_and_says_what_moved(bench):
    answer = told("duty", "inverse", "duty-model.toml", "--peak-pressure", "1900 psi")
    assert answer["peak_MPa"] == pytest.approx(1900 * MPA_PER_PSI)
    assert answer["power_low_kW"] < answer["power_kW"] < answer["power_high_kW"]
    (moved,) = answer["moved"]
    assert moved["after"] > moved["before"]
    edit(bench / "duty-model.toml", ('"23.5 psi"', f'"{answer["boost_MPa"]:.9f} MPa"'))
    again = told("duty", "model", "duty-model.toml")
    assert again["cylinders"][0]["extreme_MPa"] == pytest.approx(answer["peak_MPa"], rel=5e-3)
    assert again["power_kW"] == pytest.approx(answer["power_kW"], rel=1e-3)


def test_the_inverse_writes_a_report_for_model_and_rule(bench):
    for source in ("model", "rule"):
        result = run("duty", "inverse", f"duty-{source}.toml", "--peak-pressure", "130 bar", "--out", source)
        assert result.exit_code == 0, result.output
        assert re.match(r"130 bar; 13.0 MPa; \d+ psi is reached at \d+ kW \(.+; \d+ hp", result.stdout)
        assert "without knock" in result.stdout
        assert {"report.html", "load.png", "loads.csv"} <= {path.name for path in (bench / source).iterdir()}


@pytest.mark.parametrize(
    ("duty", "pressure", "words"),
    [
        ("duty-model.toml", "150", "has no unit"),
        ("duty-model.toml", "150 MPa", "covers 1 to 50 MPa"),
        ("duty-trace.toml", "150 bar", "its own load"),
        ("nowhere.toml", "150 bar", "there is no such file"),
    ],
)
def test_an_inverse_without_an_answer_is_refused(bench, duty, pressure, words):
    assert words in refused("duty", "inverse", duty, "--peak-pressure", pressure)


def test_thickness_in_inches_and_millimetres(bench):
    answer = told("duty", "thickness", "duty-model.toml", "1.5 mm", f"{1.5 / 25.4:.6f} in", "0.7 mm")
    own, metric, inches, thin = answer["thicknesses"]
    assert own["compression_ratio"] == pytest.approx(9.0)
    assert metric["compression_ratio"] == pytest.approx(inches["compression_ratio"], abs=1e-4)
    # by hand: 62.44 cm^3 above the piston, and 0.5 mm of an 87.5 mm hole, 3.007 cm^3
    assert metric["compression_ratio"] == pytest.approx(1 + 499.557 / (62.4446 + 3.0066), rel=1e-4)
    assert metric["peak_MPa"] < own["peak_MPa"] < thin["peak_MPa"]
    assert "touch the head" in thin["notes"][0]
    assert "quench gap [mm]" in run("duty", "thickness", "duty-rule.toml", "1.5 mm").stdout


def test_thickness_needs_the_thickness_it_starts_from(bench):
    edit(bench / "duty-rule.toml", ('gasket_thickness = "1.0 mm"\n', ""))
    assert "gasket_thickness" in refused("duty", "thickness", "duty-rule.toml", "1.5 mm")
    assert "has no unit" in refused("duty", "thickness", "duty-model.toml", "1.5")


def test_sources_are_ranked_and_disagreement_is_said(bench):
    result = run("duty", "compare", "duty-rule.toml", "duty-model.toml", "duty-trace.toml", "--out", "all")
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines()[0].startswith("Trust “Tarn T20 at full load, measured”")
    assert "No other duty contradicts it." in result.stdout
    assert {"report.html", "duties.png", "duties.csv"} <= {path.name for path in (bench / "all").iterdir()}
    edit(bench / "duty-model.toml", ('"23.5 psi"', '"40 psi"'))
    comparison = compare_duties([bench / "duty-model.toml", bench / "duty-trace.toml"])
    assert [duty.kind for duty in comparison.duties] == ["trace", "model"]
    (found,) = comparison.against
    assert not found.overlap
    assert "do not overlap: at least one is wrong" in found.text
    edit(bench / "duty-model.toml", ('speed = "6500 rpm"', 'speed = "5000 rpm"'))
    (found,) = compare_duties([bench / "duty-model.toml", bench / "duty-trace.toml"]).against
    assert "one is for 6500/min, the other for 5000/min" in found.text


def test_duties_of_different_engines_are_not_compared(bench):
    edit(bench / "duty-rule.toml", ('bore = "86 mm"', 'bore = "84 mm"'))
    assert "its engine is not the one of" in refused("duty", "compare", "duty-model.toml", "duty-rule.toml")
    assert "nothing to compare" in refused("duty", "compare", "duty-model.toml")


def test_a_folder_with_other_work_is_left_alone(bench):
    (bench / "report").mkdir()
    (bench / "report" / "notes.txt").write_text("mine")
    for arguments in (
        ("trace", "duty-trace.toml"),
        ("model", "duty-model.toml"),
        ("rule", "duty-rule.toml"),
        ("inverse", "duty-model.toml", "--peak-pressure", "150 bar"),
        ("compare", "duty-model.toml", "duty-rule.toml"),
    ):
        assert "notes.txt" in refused("duty", *arguments, "--out", "report")


def test_check_tells_of_missing_trace_files(bench):
    (bench / "cylinder-1.txt").unlink()
    (bench / "trace-mapping.toml").unlink()
    result = run("joint", "check", "duty-trace.toml")
    assert result.exit_code == 2
    assert "fault  source.mapping_file: there is no such file" in result.stdout
    assert "doubt  source.file: there is no such file" in result.stdout


def test_two_mappings_at_once_are_a_fault(bench):
    edit(bench / "duty-trace.toml", ('peg = "intake"', 'peg = "intake"\nmapping = {base = "angle"}'))
    assert "both mapping and mapping_file" in refused("duty", "trace", "duty-trace.toml")


def test_an_unclear_trace_from_python(bench):
    with pytest.raises(UnclearTraceError) as unclear:
        read_trace(bench / "cylinder-1.txt")
    assert unclear.value.name == "mapping.toml"
    assert read_rule(bench / "duty-rule.toml").duty.kind == "rule"
    assert read_definition(bench / "duty-rule.toml", DutyDefinition).cycles == 100_000

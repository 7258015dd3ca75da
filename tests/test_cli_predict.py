"""The commands that predict a joint: answers that fit together, what they write, what bad inputs are told."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest
import tomlkit
from PIL import Image
from typer.testing import CliRunner

from firedeck.cli import app
from firedeck.definition.film import FilmBatch
from firedeck.definition.shape import seal_line
from firedeck.files.definition_file import write_definition
from firedeck.files.map_file import read_map
from firedeck.scenario.cylinder_trace import duty_files
from firedeck.scenario.engine import film_batch_stub, small_plan
from tests.prediction_bench import write_bench
from tests.support.undrawn import undrawn


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def told(*arguments):
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def rows(path):
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def bench(tmp_path, monkeypatch, cache):
    monkeypatch.setenv("FIREDECK_CACHE", str(cache))
    monkeypatch.chdir(write_bench(tmp_path))
    return tmp_path


@pytest.fixture(scope="module")
def predicted(tmp_path_factory, cache):
    """One prediction with its folder, for all who only look at it."""
    folder = write_bench(tmp_path_factory.mktemp("predicted"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FIREDECK_CACHE", str(cache))
        record = told("predict", folder / "prediction.toml", "--out", folder / "out")
    return record, folder / "out"


def edit(bench, name, *changes):
    path = bench / name
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")


def by_seal(record, state):
    return {row["seal"]: row for row in record["seals"] if row["state"] == state}


def test_every_state_is_in_balance_and_the_gasket_carries_what_the_fasteners_pull(predicted):
    record, _ = predicted
    assert {"cold", "settled", "hot", "firing, bore 1", "hot firing, bore 1"} == set(record["certificates"])
    for certificate in record["certificates"].values():
        assert certificate["sound"]
        assert certificate["residual"] < 1e-8
        assert certificate["lowest_point_load_N"] >= 0.0
    plan = small_plan(bores=1)
    lengths = {seal.name: seal_line(plan, seal, step=1.0).length for seal in plan.seals}
    for state in ("cold", "settled", "hot"):
        carried = sum(row["mean_N_per_mm"] * lengths[row["seal"]] for row in by_seal(record, state).values())
        pulled = sum(row[f"{state}_N"] for row in record["fasteners"])
        assert carried == pytest.approx(pulled, rel=2e-3)


def test_settling_takes_what_the_fastening_states_and_heat_gives_some_back(predicted):
    record, _ = predicted
    cold, settled, hot = (
        sum(row[f"{state}_N"] for row in record["fasteners"]) for state in ("cold", "settled", "hot")
    )
    assert settled < 0.95 * cold + 1.0  # 5 % of creep, and the flattening beside it
    assert settled > 0.85 * cold
    assert hot > settled  # aluminium grows more than steel studs


def test_gas_relieves_the_bore_seal_and_the_clamp_ratio_is_made_of_the_same_numbers(predicted):
    record, _ = predicted
    assert record["gas_MPa"] == {"bore 1": pytest.approx(10.0)}
    settled, firing = by_seal(record, "settled"), by_seal(record, "firing, bore 1")
    assert firing["bore 1 bead"]["mean_N_per_mm"] < settled["bore 1 bead"]["mean_N_per_mm"]
    assert firing["bore 1 bead"]["lost_closure_mm"] > 0.0
    plan = small_plan(bores=1)
    bead = next(seal for seal in plan.seals if seal.name == "bore 1 bead")
    length = seal_line(plan, bead, step=1.0).length
    gas = 10.0 * math.pi / 4.0 * (length / math.pi) ** 2
    clamp = settled["bore 1 bead"]["mean_N_per_mm"] * length
    assert record["clamp_over_gas"]["settled"]["bore 1"] == pytest.approx(clamp / gas, rel=2e-3)
    # The head is pushed up by no more than the gas: fasteners gain less than the seals lose.
    gained = sum(row["highest_N"] - row["lowest_N"] for row in record["fasteners"])
    assert 0.0 < gained < gas


def test_margins_are_ordered_and_the_verdict_is_the_worst(predicted):
    record, _ = predicted
    ratios = [row["ratio"] for row in record["margins"]]
    assert ratios == sorted(ratios)
    states = {row["verdict"] for row in record["margins"]}
    assert record["verdict"] == next(
        word for word in ("gives", "not shown", "marginal", "holds") if word in states
    )
    for row in record["margins"]:
        assert row["ratio_low"] <= row["ratio"]
        if row["rule"] == "line load":
            assert row["ratio"] == pytest.approx(row["value"] / row["limit"])


def test_fast_and_check_level_agree_and_doubts_go_the_way_they_must(predicted):
    record, _ = predicted
    assert record["level"] == "check"
    assert max(abs(row["mean"]) for row in record["levels"]) < 0.05
    doubt = record["doubts"]["bore 1 bead"]
    lower = next(change for name, change in doubt["by"].items() if name.endswith("lower"))
    higher = next(change for name, change in doubt["by"].items() if name.endswith("higher"))
    assert lower["mean"] < 0.0 < higher["mean"]
    assert min(doubt["mean_settled_N_per_mm"]) > 0.0


def test_the_folder_holds_page_pictures_and_tables(predicted):
    record, out = predicted
    page = (out / "report.html").read_text(encoding="utf-8")
    for words in ("What this model does not see", "Assumptions that change the result", "generic",
                  "no release to run an engine", "Checks of the calculation", "breach pressure"):  # fmt: skip
        assert words in page
    assert "<script" not in page
    for name in ("map-settled", "polar", "strip-bore-1-bead", "curves", "bow", "leaks", "diagrams"):
        with Image.open(out / f"{name}.png") as picture:
            assert picture.size[0] > 1000
    for name in ("margins", "seals", "profiles", "fasteners", "bores", "breaches"):
        assert (out / f"{name}.parquet").exists()
    profile = [
        row
        for row in rows(out / "profiles.csv")
        if row["seal"] == "bore 1 bead" and row["state"] == "settled"
    ]
    mean = np.mean([float(row["line_load_N_per_mm"]) for row in profile])
    assert mean == pytest.approx(by_seal(record, "settled")["bore 1 bead"]["mean_N_per_mm"], rel=1e-6)
    orders = {int(row["order"]) for row in rows(out / "bores.csv")}
    assert orders == set(range(9))


def test_words_on_the_terminal_and_the_long_name(bench):
    text = (bench / "fastening.toml").read_text(encoding="utf-8")
    assert '"100 bar"' in text
    (bench / "fastening.toml").write_text(text.replace('"100 bar"', '"250 bar"'), encoding="utf-8")
    result = run("predict", "joint", "prediction.toml", "--fast", "--strict")
    assert result.exit_code == 1, result.output
    for words in ("Predicted: ", "outer bead", "clamp over gas load, settled: bore 1", "gas gets out first",
                  "note: "):  # fmt: skip
        assert words in result.stdout


def test_fatigue_is_judged_only_against_a_stated_limit(bench, predicted):
    assert "fatigue is not judged" in (predicted[1] / "report.html").read_text(encoding="utf-8")
    with (bench / "prediction.toml").open("a", encoding="utf-8") as file:
        file.write('[fatigue]\nload_range = "0.1 kN"\n')
    with undrawn():
        assert run("predict", "prediction.toml", "--fast", "--out", "out").exit_code == 0
    page = (bench / "out" / "report.html").read_text(encoding="utf-8")
    assert "fatigue is not judged" not in page
    assert "against 0.1 kN" in page


def test_a_proud_liner_loads_its_seal_and_a_sunken_one_unloads_it(bench, predicted):
    flat = by_seal(predicted[0], "cold")["bore 1 bead"]["mean_N_per_mm"]
    text = (bench / "prediction.toml").read_text(encoding="utf-8")
    found = {}
    for height in ("0.05 mm", "-0.05 mm"):
        (bench / "prediction.toml").write_text(
            f'{text}\n[[liner]]\nbore = "bore 1"\nprotrusion = "{height}"\n', encoding="utf-8"
        )
        found[height] = by_seal(told("predict", "prediction.toml", "--fast"), "cold")["bore 1 bead"][
            "mean_N_per_mm"
        ]
    assert found["-0.05 mm"] < flat < found["0.05 mm"]


def test_at_the_pressure_of_give_way_the_margin_is_one(bench):
    order = told("predict", "giveway", "prediction.toml")
    pressures = [row["pressure_MPa"] for row in order["order"] if row["pressure_MPa"] is not None]
    assert pressures == sorted(pressures)
    first = next(row for row in order["order"] if row["pressure_MPa"] not in (None, 0.0))
    assert first["pressure_low_MPa"] < first["pressure_MPa"] < (first["pressure_high_MPa"] or math.inf)
    text = (bench / "prediction.toml").read_text(encoding="utf-8")
    (bench / "prediction.toml").write_text(
        f'{text}\n[firing]\npressure = "{first["pressure_MPa"]:.6f} MPa"\n', encoding="utf-8"
    )
    record = told("predict", "prediction.toml", "--fast")
    state = f"hot firing, {first['bore']}"
    margin = next(row for row in record["margins"] if row["seal"] == first["seal"])
    if margin["state"] == state:
        assert margin["ratio"] == pytest.approx(1.0, abs=0.03)
    else:  # cold it gives even earlier
        assert margin["ratio"] < 1.0


def test_without_scatter_every_assembly_is_the_predicted_one(bench):
    edit(
        bench, "fastening.toml",
        ("[tightening]\n", '[tightening]\nscatter = "0.0001 %"\n'), ('scatter = "10 %"', 'scatter = "0 %"'),
    )  # fmt: skip
    found, alone = (
        told("predict", "scatter", "prediction.toml", "--assemblies", 20),
        told("predict", "prediction.toml", "--fast"),
    )
    margins = {row["seal"]: row for row in alone["margins"]}
    settled = by_seal(alone, "settled")
    assert {row["seal"] for row in found["seals"]} == set(margins)
    for row in found["seals"]:
        assert row["ratio_1"] == pytest.approx(margins[row["seal"]]["ratio"], rel=1e-4)
        assert row["ratio_low_1"] == pytest.approx(row["ratio_high_1"], rel=1e-4)
        assert row["governed"] == f"{margins[row['seal']]['rule']}, {margins[row['seal']]['state']}"
        assert row["mean_N_per_mm"] == pytest.approx(settled[row["seal"]]["mean_N_per_mm"], rel=1e-4)
    for row, other in zip(found["fasteners"], alone["fasteners"], strict=True):
        assert row["settled_N"] == pytest.approx(other["settled_N"], rel=1e-4)


def test_scatter_is_drawn_the_same_from_the_same_seed_and_told_with_its_bounds(bench):
    first, again, other = (
        told("predict", "scatter", "prediction.toml", "--assemblies", 40, "--seed", seed)
        for seed in (1, 1, 2)
    )
    assert first["seals"] == again["seals"]
    assert first["seals"] != other["seals"]
    assert first["gas_scatter_1"] == pytest.approx(0.10)
    for row in first["seals"]:
        assert row["ratio_low_1"] < row["ratio_1"] < row["ratio_high_1"]
        assert row["short_low_1"] <= row["short_1"] <= row["short_high_1"]
        assert 0.0 <= max(row["moved"].values()) <= 1.0
    assert first["short_1"][0] >= max(row["short_1"] for row in first["seals"])
    for row in first["fasteners"]:
        assert row["settled_N"] < row["tight_N"]


def test_the_scatters_folder_holds_page_picture_and_tables(bench):
    words = run("predict", "scatter", "prediction.toml", "--assemblies", 20, "--out", "out")
    assert words.exit_code == 0, words.output
    assert "Of 20 assemblies" in words.output
    page = (bench / "out" / "report.html").read_text(encoding="utf-8")
    assert "Scatter between assemblies" in page
    assert len(rows(bench / "out" / "scatter.csv")) == len(
        told("predict", "prediction.toml", "--fast")["margins"]
    )
    assert (bench / "out" / "scatter.png").stat().st_size > 5000
    assert run("predict", "scatter", "prediction.toml", "--assemblies", 2).exit_code == 2


def test_give_way_is_told_in_power_and_drawn(bench):
    duty = duty_files()["duty-rule.toml"]
    duty = {**duty, "engine": {**duty["engine"], "cylinders": 1, "firing_order": [1]}}
    duty["source"] = {**duty["source"], "power": "60 hp"}
    (bench / "duty.toml").write_text(tomlkit.dumps(duty), encoding="utf-8")
    answer = run("predict", "giveway", "prediction.toml", "--duty", "duty.toml", "--out", "out", "--json")
    assert answer.exit_code == 0, answer.output
    assert (bench / "out" / "giveway.png").exists()
    assert "First to give" in (bench / "out" / "report.html").read_text(encoding="utf-8")
    missing = run("predict", "giveway", "prediction.toml", "--duty", "none.toml")
    assert missing.exit_code == 2
    assert "there is no such file" in missing.output


def test_a_prediction_takes_its_pressure_from_a_duty_of_this_engine_only(bench):
    duty = duty_files()["duty-rule.toml"]
    own = {**duty, "engine": {**duty["engine"], "cylinders": 1, "firing_order": [1]}}
    own["source"] = {**duty["source"], "power": "60 hp"}
    (bench / "own.toml").write_text(tomlkit.dumps(own), encoding="utf-8")
    (bench / "other.toml").write_text(tomlkit.dumps(duty), encoding="utf-8")
    prediction = bench / "prediction.toml"
    text = prediction.read_text(encoding="utf-8")
    prediction.write_text(f'{text}\n[firing]\nduty = "own.toml"\n', encoding="utf-8")
    asked = told("duty", "rule", "own.toml")
    answer = told("predict", "prediction.toml", "--fast")
    assert answer["gas_MPa"]["bore 1"] == pytest.approx(asked["cylinders"][0]["design_MPa"])
    prediction.write_text(f'{text}\n[firing]\nduty = "other.toml"\n', encoding="utf-8")
    result = run("predict", "prediction.toml", "--fast")
    said = " ".join(result.stderr.split())
    assert result.exit_code == 2
    assert "prediction.toml" in said
    assert "firing.duty" in said
    assert "other.toml is of 4 cylinders, and the plan has 1 bores" in said


def test_the_print_keeps_the_peak_the_force_and_the_films_range(bench):
    record = told("predict", "print", "prediction.toml", "--out", "out")
    seals = {row["seal"]: row for row in record["seals"]}
    for row in seals.values():
        shares = row["below_range_share"] + row["within_range_share"] + row["saturated_share"]
        assert shares == pytest.approx(1.0, abs=1e-9)
    found = read_map(bench / "out" / "print.nc")
    assert found.kind == "predicted"
    assert found.stated_range == pytest.approx((5.0, 250.0))
    plan = small_plan(bores=1)
    lengths = {seal.name: seal_line(plan, seal, step=1.0).length for seal in plan.seals}
    force = sum(row["film_mean_N_per_mm"] * lengths[name] for name, row in seals.items())
    assert float(np.nansum(found.value)) * found.grid.cell_area == pytest.approx(force, rel=0.02)
    with Image.open(bench / "out" / "film.png") as image:
        picture = np.asarray(image.convert("RGB"), dtype=float)[::-1]
    assert picture.shape[:2] == found.grid.shape
    pressed = found.value > 60.0
    blank = found.value == 0.0
    assert picture[pressed, 1].mean() < picture[blank, 1].mean() - 40.0  # the dye takes green
    assert picture[pressed, 0].mean() > picture[pressed, 1].mean()  # and leaves red
    # Peak-hold: with the film, no seal kept less than it would carry at the end, the film's give aside.
    assert seals["outer bead"]["film_lowest_N_per_mm"] >= 0.9 * seals["outer bead"]["bare_lowest_N_per_mm"]


def test_an_uncalibrated_film_gets_its_range_but_no_picture(bench):
    (bench / "film.toml").unlink()
    write_definition(
        bench / "film.toml", FilmBatch.model_validate(film_batch_stub().model_dump(by_alias=True))
    )
    result = run("predict", "print", "prediction.toml", "--out", "out")
    assert result.exit_code == 0, result.output
    assert "not calibrated" in result.stdout
    assert not (bench / "out" / "film.png").exists()
    assert (bench / "out" / "print.tif").exists()


def test_the_same_joint_as_a_deck_for_another_program(bench):
    answer = told("contact", "export", "prediction.toml", "--out", "deck", "--state", "firing, bore 1")
    deck = (bench / "deck" / "joint.inp").read_text(encoding="ascii")
    assert deck.count("*ELEMENT, TYPE=C3D8I") == 2
    assert deck.count("TYPE=SPRINGA") == answer["gasket_points"] + 4
    assert len(rows(bench / "deck" / "points.csv")) == answer["gasket_points"]
    note = (bench / "deck" / "how-to-compare.txt").read_text(encoding="utf-8")
    assert f"{answer['cut_cells']} cells are cut" in note
    wrong = run("contact", "export", "prediction.toml", "--out", "other", "--state", "lukewarm")
    assert wrong.exit_code == 2
    assert "settled" in wrong.output


def test_the_cache_is_shown_mended_trimmed_and_cleared(bench, tmp_path, monkeypatch):
    folder = tmp_path / "own-cache"
    monkeypatch.setenv("FIREDECK_CACHE", str(folder))
    assert told("contact", "cache", "show")["files"] == 0
    before = told("predict", "prediction.toml", "--fast")
    held = sorted(folder.glob("*.npz"))
    assert len(held) == told("contact", "cache", "show")["files"] == 2
    held[0].write_bytes(held[0].read_bytes()[:2000])  # cut short
    held[1].write_bytes(b"of another program")
    assert told("contact", "cache", "show")["damaged"] == 2
    again = told("predict", "prediction.toml", "--fast")  # made again, the same answer
    assert [row["ratio"] for row in again["margins"]] == pytest.approx(
        [row["ratio"] for row in before["margins"]]
    )
    assert told("contact", "cache", "show")["damaged"] == 0
    np.savez(held[0], stiffness=np.zeros((2, 2)), arriving=np.zeros((2, 1)), flexibility=np.zeros((1, 1)))
    other = told("predict", "prediction.toml", "--fast")  # sound, but not this body's
    assert [row["ratio"] for row in other["margins"]] == pytest.approx(
        [row["ratio"] for row in before["margins"]]
    )
    assert told("contact", "cache", "trim", "--limit", "0.000001")["files"] == 0
    told("predict", "prediction.toml", "--fast")
    assert told("contact", "cache", "clear")["removed"] == 2
    assert run("contact", "cache", "trim", "--limit", "-1").exit_code == 2
    monkeypatch.setenv("FIREDECK_CACHE_LIMIT", "much")
    refused = run("contact", "cache", "show")
    assert refused.exit_code == 2
    assert "FIREDECK_CACHE_LIMIT" in refused.output


BAD = [
    ("element in metres", "prediction.toml", ('element = "20 mm"', 'element = "20 m"'), "element"),
    ("temperature off", "prediction.toml", ('"130 degC"', '"1300 degC"'), "hot"),
    ("law of no seal", "prediction.toml", ('seals = ["half-bead"]', 'seals = ["no bead"]'), "no bead"),
    ("law missing", "prediction.toml", ('seals = ["half-bead"]', 'seals = ["ring"]'), "no closure law"),
    ("table missing", "prediction.toml", ('"bore.csv"', '"none.csv"'), "none.csv"),
    ("closure in micrometres", "bore.csv", ("0.25000,900.000,", "250.0,900.000,"), "closure"),
    ("stud of rubber", "fastening.toml", ('material = "10.9"', 'material = { name = "a", modulus = "205 MPa",'
     ' expansion = "12e-6 1/K", yield_strength = "940 MPa", strength = "1040 MPa" }'), "kN/mm"),
    ("no such thread depth", "fastening.toml", ('engagement = "25 mm"', 'engagement = "400 mm"'), "block"),
    ("torque past yield", "fastening.toml", ('torque = "60 N*m"', 'torque = "600 N*m"'), "yield"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "file", "change", "words"), BAD, ids=[row[0] for row in BAD])
def test_bad_inputs_are_told_in_plain_words(bench, name, file, change, words):
    edit(bench, file, change)
    result = run("predict", "prediction.toml", "--out", "out")
    assert result.exit_code == 2, result.output
    assert words in result.output
    assert "Traceback" not in result.output
    assert not (bench / "out").exists()
    if file == "prediction.toml":
        assert run("joint", "check", "prediction.toml").exit_code == 2


@pytest.mark.parametrize(
    ("added", "words"),
    [
        ('[head]\nfire_deck = "11 m"\n', "fire_deck"),
        ('[head]\njacket = "20 mm"\nports = "20 mm"\n', "clamps 80 mm of head"),
        ('[firing]\npressure = "100 GPa"\n', "firing.pressure"),
        ("[firing]\n", "firing"),
        ('[firing]\npressure = "100 bar"\nfactors = [1.0, 1.0]\n', "firing.factors"),
        ('[[liner]]\nbore = "bore 9"\nprotrusion = "0.05 mm"\n', "bore 9"),
        ('[[liner]]\nbore = "bore 1"\nprotrusion = "0.05 m"\n', "protrusion"),
    ],
)
def test_slips_in_what_is_added_are_told(bench, added, words):
    with (bench / "prediction.toml").open("a", encoding="utf-8") as file:
        file.write("\n" + added)
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2, result.output
    assert words in result.output


def test_a_fastener_outside_the_head_is_named(bench):
    plan = small_plan(bores=1)
    hole = plan.fastener_holes[0]
    moved = hole.model_copy(update={"centre": (-30.0, hole.centre[1])})
    (bench / "deck.toml").unlink()
    write_definition(
        bench / "deck.toml", plan.model_copy(update={"fastener_holes": (moved, *plan.fastener_holes[1:])})
    )
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2
    assert hole.name in result.output
    assert "inside the head" in result.output


def test_a_gasket_thicker_than_its_gap_is_refused(bench):
    with (bench / "gasket.toml").open("a", encoding="utf-8") as file:
        file.write('\n[[layer]]\nname = "plate"\nmaterial = "copper"\nthickness = "4 mm"\n')
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2
    assert "4 mm thick" in result.output


def test_short_memory_is_refused_before_anything_is_built(bench, monkeypatch):
    monkeypatch.setattr("firedeck.study.prediction.joint.available_memory", lambda: 1e8)
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2
    assert "GB of memory" in result.output
    assert "0.1 GB are free" in result.output


def test_memory_that_runs_out_on_the_way_is_told(bench, monkeypatch):
    def short(*arguments):
        raise MemoryError

    monkeypatch.setenv("FIREDECK_CACHE", str(bench / "empty"))
    monkeypatch.setattr("firedeck.contact.body.condense", short)
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2
    assert "memory ran out" in result.output
    assert "larger element" in result.output


def test_another_deck_in_the_fastening_is_refused(bench):
    write_definition(bench / "other.toml", small_plan(bores=2))
    edit(bench, "fastening.toml", ('deck = "deck.toml"', 'deck = "other.toml"'))
    result = run("predict", "prediction.toml")
    assert result.exit_code == 2
    assert "another deck plan" in result.output

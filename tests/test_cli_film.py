"""The commands that calibrate film, read prints and compare them; and what they say to bad inputs."""

from __future__ import annotations

import functools
import json
import re
import tomllib
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest
import tifffile
from typer.testing import CliRunner

import firedeck.study.prints.reading as reading_module
from firedeck.cli import app
from firedeck.scenario.cylinder_trace import make_traces
from firedeck.scenario.engine import engine_plan, film_batch_stub, write_text
from firedeck.scenario.joint_files import write_joint_files
from firedeck.study.demonstration import work_demonstration
from tests.fasteners import small_fastening
from tests.support import small_print
from tests.support.undrawn import stay_undrawn, undrawn


@pytest.fixture
def bench(tmp_path, monkeypatch):
    folder = small_print.bench_files(tmp_path / "bench")
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def quick(monkeypatch):
    """Let the commands take readings made before, as only their own part is under test."""

    def read(test_file, *, pitch, progress):
        assert pitch == small_print.PITCH
        return small_print.reading(1 if "1" in test_file.name else 2)

    monkeypatch.setattr(reading_module, "read_print", read)


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def edit(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_calibrate_writes_the_curve_and_a_page(bench):
    (bench / "film.toml").write_text(write_text(film_batch_stub()), encoding="utf-8")
    result = run("film", "calibrate", "calibration.toml", "--report", "film")
    assert result.exit_code == 0, result.output
    assert "levels that answer" in result.stdout
    assert "response" in (bench / "film.toml").read_text(encoding="utf-8")
    assert (bench / "film" / "report.html").exists()


def test_calibrate_leaves_the_record_s_film_alone_when_told(bench):
    (bench / "film.toml").write_text(write_text(film_batch_stub()), encoding="utf-8")
    result = run("film", "calibrate", "calibration.toml", "--out", "mine.toml", "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["response"]["pieces"] == len(small_print.calibration().pieces)
    assert "response" not in (bench / "film.toml").read_text(encoding="utf-8")


@pytest.mark.slow
def test_read_works_from_files_to_report(bench):
    result = run("film", "read", "print-1.toml", "--out", "report", "--pitch", "0.2 mm", "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    expected = small_print.reading(1)
    assert told["verdict"] == str(expected.verdict.state)
    assert [seal["weakest_N_per_mm"] for seal in told["seals"]] == [
        pytest.approx(one.weakest.line_load.value) for one in expected.summaries
    ]
    assert (bench / "report" / "report.html").exists()


@pytest.mark.parametrize("number", [1, 2])
def test_read_tells_verdict_seals_and_notes(bench, quick, number):
    arguments = ("film", "read", f"print-{number}.toml", "--out", "report", "--pitch", "0.2 mm")
    # The first print's pictures were drawn by the test above.
    with undrawn() if number == 1 else nullcontext():
        result = run(*arguments)
    assert result.exit_code == 0, result.output
    reading = small_print.reading(number)
    assert result.stdout.splitlines()[0].startswith(f"Verdict: {reading.verdict.state}")
    for words in (*reading.notes, *(one.name for one in reading.summaries)):
        assert words in result.stdout
    with undrawn():
        strict = run(*arguments, "--strict")
    assert strict.exit_code == (0 if reading.verdict.state == "holds" else 1)


def test_compare_says_what_two_single_assemblies_cannot(bench, quick):
    result = run("compare", "print-1.toml", "print-2.toml", "--out", "both", "--pitch", "0.2 mm")
    assert result.exit_code == 0, result.output
    assert "One assembly of each gasket" in result.stdout
    assert (bench / "both" / "report.html").exists()
    with undrawn():
        again = run("compare", "print-1.toml", "print-2.toml", "--out", "both", "--pitch", "0.2 mm", "--json")
    told = json.loads(again.stdout)
    assert {seal["seal"] for seal in told["seals"]} == {one.name for one in small_print.reading(1).summaries}


def uncalibrated(bench):
    (bench / "film.toml").write_text(write_text(film_batch_stub()), encoding="utf-8")


def blank(bench):
    scan = tifffile.imread(bench / "print-1-1.tif")
    write_scan(bench, np.full_like(scan, int(0.8 * 65535)))


def write_scan(bench, values, **more):
    tifffile.imwrite(
        bench / "print-1-1.tif",
        values,
        photometric="rgb",
        **{"resolution": (300, 300), "resolutionunit": "INCH", **more},
    )


def truncated(bench):
    content = (bench / "print-1-1.tif").read_bytes()
    (bench / "print-1-1.tif").write_bytes(content[: len(content) // 3])


def without_resolution(bench):
    scan = tifffile.imread(bench / "print-1-1.tif")
    write_scan(bench, scan, resolution=(1, 1), resolutionunit="NONE")


def other_deck(bench):
    (bench / "deck.toml").write_text(write_text(engine_plan()), encoding="utf-8")


BAD = [
    (uncalibrated, "calibrat"),
    (blank, "print-1-1.tif"),
    (other_deck, "does not fit the deck plan"),
    (truncated, "print-1-1.tif"),
    (without_resolution, "resolution"),
    (lambda bench: edit(bench / "print-1.toml", '"22.5 degC"', '"22.5 kPa"'), "temperature"),
    (lambda bench: edit(bench / "print-1.toml", '"22.5 degC"', '"40 degC"'), "climate"),
    (
        lambda bench: edit(
            bench / "print-1.toml", 'film = "film.toml"', 'film = "film.toml"\nfilm_lot = "X1"'
        ),
        "lot",
    ),
    (lambda bench: (bench / "print-1-1.tif").unlink(), "print-1-1.tif"),
]


@pytest.mark.parametrize(
    ("spoil", "words"),
    BAD,
    ids=["uncalibrated", "blank", "deck", "truncated", "resolution", "unit", "climate", "lot", "no scan"],
)
def test_bad_input_is_refused_in_plain_words_and_writes_nothing(bench, spoil, words):
    spoil(bench)
    before = {path.name for path in bench.iterdir()}
    result = run("film", "read", "print-1.toml", "--out", "report")
    assert result.exit_code == 2, result.output
    assert words in result.output
    assert "To mend" in result.output
    assert "Traceback" not in result.output
    left = {path.name for path in bench.iterdir()} - before
    assert left <= {"report-refused.png"}
    told = "report-refused.png" in result.output
    assert told == bool(left)


def test_a_print_of_another_deck_is_refused_with_a_picture(bench):
    other_deck(bench)
    result = run("film", "read", "print-1.toml", "--out", "report")
    assert result.exit_code == 2
    assert "is drawn in report-refused.png" in result.output
    assert (bench / "report-refused.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_with_other_work_is_refused_before_reading(bench, monkeypatch):
    monkeypatch.setattr(reading_module, "read_print", lambda *_, **__: pytest.fail("it is read"))
    (bench / "report").mkdir()
    (bench / "report" / "notes.txt").write_text("mine")
    for command in (("film", "read", "print-1.toml"), ("compare", "print-1.toml", "print-2.toml")):
        result = run(*command, "--out", "report")
        assert result.exit_code == 2
        assert "notes.txt" in result.output
    assert run("demo", "report").exit_code == 2


@pytest.mark.parametrize("pitch", ["0.2", "2 kg", "-1 mm"])
def test_a_pitch_that_is_no_length_is_refused(bench, pitch):
    result = run("film", "read", "print-1.toml", "--out", "report", "--pitch", pitch)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def _write_predictions(bench):
    """Let the demonstration's predictions be of the small deck, on coarse elements and one gasket."""
    write_joint_files(bench)
    gasket = tomllib.loads((bench / "factory-print.toml").read_text(encoding="utf-8"))["gasket"]
    for name in ("prediction", "prediction-factory", "prediction-candidate"):
        text = (bench / f"{name}.toml").read_text(encoding="utf-8")
        text = re.sub(
            r'"(factory|candidate)-fastening\.toml"', '"fastening.toml"', text.replace('"12 mm"', '"20 mm"')
        )
        for kind in ("factory", "candidate"):
            text = text.replace(f'"{kind}.toml"', f'"{gasket}"')
        (bench / f"{name}.toml").write_text(text, encoding="utf-8")


@pytest.mark.slow
def test_the_demonstration_leads_to_all_its_reports(bench, monkeypatch):
    for number, name in ((1, "factory"), (2, "candidate")):
        (bench / f"print-{number}.toml").rename(bench / f"{name}-print.toml")
    monkeypatch.setattr(
        "firedeck.study.demonstration.read_print",
        lambda file, progress: small_print.reading(1 if "factory" in file.name else 2),
    )
    make_traces(bench)
    _write_predictions(bench)
    (bench / "fastening.toml").write_text(small_fastening(), encoding="utf-8")
    # The pictures of prints, comparison and predictions are drawn by other tests, each with its report.
    beside = functools.partial(ProcessPoolExecutor, initializer=stay_undrawn)
    monkeypatch.setattr("firedeck.study.demonstration.ProcessPoolExecutor", beside)
    with undrawn():
        lines = work_demonstration(bench)
    assert len(lines) == 4
    page = (bench / "index.html").read_text(encoding="utf-8")
    folders = ("calibration", "factory-report", "candidate-report", "comparison", "fasteners", "tightening")
    predicted = ("prediction", "beside", "candidate-predicted-print")
    for folder in (*folders, "trace-report", "duty-comparison", *predicted):
        assert f'href="{folder}/report.html"' in page
        assert (bench / folder / "report.html").exists()
    assert page.count("data:image/png") == 2
    assert (bench / "tightening" / "card.pdf").read_bytes().startswith(b"%PDF")
    comparison = (bench / "comparison" / "report.html").read_text(encoding="utf-8")
    assert 'href="../factory-report/report.html"' in comparison
    assert 'href="../index.html"' in comparison


def test_to_prepare_works_the_demonstration_through_and_leaves_nothing(bench, monkeypatch):
    made = []

    def small(folder, dpi):
        folder = small_print.bench_files(Path(folder))
        (folder / "print-1.toml").rename(folder / "factory-print.toml")
        make_traces(folder)
        _write_predictions(folder)
        (folder / "fastening.toml").write_text(small_fastening(), encoding="utf-8")
        made.append((folder, dpi))

    monkeypatch.setattr("firedeck.scenario.demo_files.write_demo", small)
    before = sorted(bench.iterdir())
    result = run("prepare")
    assert result.exit_code == 0, result.output
    assert "compiled" in result.output
    [(folder, dpi)] = made
    assert dpi < 600
    assert not folder.exists()
    assert sorted(bench.iterdir()) == before

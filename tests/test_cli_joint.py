"""The commands about the joint, and what all commands share: exit codes, plain faults, JSON."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from firedeck import __version__
from firedeck.cli import EXIT_CODES, app, shell
from firedeck.files.definition_file import write_definition
from firedeck.scenario.engine import candidate_gasket, engine_plan, small_plan
from firedeck.study import joint

FILM_TEST = """\
kind = "film-test"
name = "first"
date = 2030-03-14
deck = "deck.toml"
gasket = "none.toml"
film = "film.toml"
film_face = "head"
gasket_use = 1
climate = { temperature = "21 degC", humidity = "48 %" }
load-profile = { rise = "60 s", hold = "2 min", scan_delay = "30 min" }
scanner = { name = "bench", transfer = { encoding = "srgb" } }
scan = [{ file = "later.tif" }]
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    write_definition(folder / "deck.toml", engine_plan())
    write_definition(folder / "candidate.toml", candidate_gasket())
    write_definition(folder / "small.toml", small_plan())
    (folder / "test.toml").write_text(FILM_TEST)
    return folder


@pytest.fixture
def bench(made, tmp_path, monkeypatch):
    for file in made.iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments: str):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_check_tells_all_faults_of_all_files(bench):
    text = (bench / "deck.toml").read_text()
    bores = text.count('"86 mm"')
    (bench / "broken.toml").write_text(text.replace('"86 mm"', '"86"').replace('"oil-feed"', '"oil-fed"'))
    result = run("joint", "check", "deck.toml", "broken.toml", "absent.toml")
    assert result.exit_code == 2
    assert "deck.toml (deck-plan): sound" in result.stdout
    assert f"broken.toml: {bores + 2} faults" in result.stdout
    assert result.stdout.count("has no unit") == bores
    assert "To mend: did you mean" in result.stdout
    assert "absent.toml: 1 fault\n  fault  whole file: there is no such file" in result.stdout
    assert result.stderr == ""


def test_check_of_sound_files_ends_well(bench):
    result = run("joint", "check", "deck.toml", "candidate.toml")
    assert result.exit_code == 0
    assert "candidate.toml (gasket): sound" in result.stdout


def test_check_looks_for_the_files_that_a_record_names(bench):
    result = run("joint", "check", "test.toml", "--json")
    assert result.exit_code == 2
    (found,) = json.loads(result.stdout)["files"]
    assert [fault["key"] for fault in found["faults"]] == ["gasket", "film"]
    assert [doubt["key"] for doubt in found["doubts"]] == ["scan[1].file"]


def test_gasket_seals_are_checked_on_the_one_plan_given(bench):
    text = (bench / "candidate.toml").read_text()
    (bench / "candidate.toml").write_text(text.replace('around = "bore 1"', 'around = "bore 9"'))
    assert run("joint", "check", "candidate.toml").exit_code == 0
    result = run("joint", "check", "candidate.toml", "deck.toml", "--json")
    answer = json.loads(result.stdout)
    assert result.exit_code == 2
    assert answer["sound"] is False
    assert [entry["key"] for entry in answer["files"][0]["faults"]] == ["seal[1].around"]
    assert answer["files"][1]["faults"] == []


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_show_sums_up_and_draws(bench, ending):
    picture = bench / f"plan.{ending}"
    result = run("joint", "show", "small.toml", "--out", picture)
    assert result.exit_code == 0
    assert "test deck, 2 bores, 200.0 x 158.0 mm" in result.stdout
    assert "fasteners: 6" in result.stdout
    assert re.search(r"bore 1 bead +full-bead +213\.6 mm long, band 6\.0 mm, encloses bore 1", result.stdout)
    assert picture.read_bytes().startswith(b"<?xml" if ending == "svg" else b"\x89PNG")


def test_show_with_a_gasket_shows_its_seals(bench):
    result = run("joint", "show", "deck.toml", "--gasket", "candidate.toml", "--json")
    summary = json.loads(result.stdout)
    assert summary["gasket"] == "candidate gasket B2"
    assert summary["size"] == [436.0, 190.0]
    assert summary["ports"]["coolant"] == sum(port.kind == "coolant" for port in engine_plan().ports)
    assert len(summary["seals"]) == len(candidate_gasket().seals)


def test_faults_are_told_plainly_and_end_with_two(bench):
    result = run("joint", "show", "small.toml", "--out", "plan.gif")
    assert result.exit_code == 2
    assert "plan.gif: pictures are written as SVG or PNG" in result.stderr
    assert "To mend:" in result.stderr
    assert result.stdout == ""


def test_json_is_all_there_is_even_for_faults(bench):
    result = run("joint", "show", "test.toml", "--json")
    assert result.exit_code == 2
    assert result.stderr == ""
    (fault,) = json.loads(result.stdout)["error"]["faults"]
    assert fault["key"] == "kind"


def test_own_faults_leave_a_log_and_no_traceback(bench, monkeypatch):
    monkeypatch.setattr(joint, "check_files", lambda files: 1 / 0)
    monkeypatch.setattr(shell.tempfile, "tempdir", str(bench))
    result = run("joint", "check", "deck.toml")
    assert result.exit_code == 3
    assert "Traceback" not in result.output
    (log,) = bench.glob("firedeck-fault-*.log")
    assert str(log) in result.stderr
    assert "ZeroDivisionError" in log.read_text()
    assert __version__ in log.read_text()


def test_stopping_from_the_keyboard(bench, monkeypatch):
    def stop(files):
        raise KeyboardInterrupt

    monkeypatch.setattr(joint, "check_files", stop)
    assert run("joint", "check", "deck.toml").exit_code == 130


def test_a_faulty_command_line_ends_with_two():
    for arguments in (["joint", "check"], ["joint", "show", "--none"], ["nothing"]):
        result = run(*arguments)
        assert result.exit_code == 2
        assert "Usage:" in result.stderr


def test_every_exit_code_is_explained():
    assert set(EXIT_CODES) == {0, 1, 2, 3, 130}
    assert {int(code) for code in shell.ExitCode} == set(EXIT_CODES)


def test_numbers_without_end_are_null_in_json(capsys):
    shell.print_json({"high": float("inf"), "at": (1.5, float("nan")), "file": Path("a/b")})
    assert json.loads(capsys.readouterr().out) == {"high": None, "at": [1.5, None], "file": "a/b"}


def test_progress_keeps_quiet_when_nobody_watches(capsys, monkeypatch):
    monkeypatch.setattr(shell, "_QUIET", 0.0)
    with shell.progress() as tell:
        tell("reading", 0.5)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with shell.progress() as tell:
        tell("reading the print", 0.5)
    assert "reading the print" in capsys.readouterr().err
    monkeypatch.setattr(shell, "_QUIET", 60.0)
    with shell.progress() as tell:
        tell("reading", 0.5)
    assert capsys.readouterr().err == ""


def test_starting_loads_nothing_heavy():
    heavy = "numpy pydantic pint matplotlib numba shapely xarray rich scipy"
    code = f"import sys, firedeck.cli; print([m for m in '{heavy}'.split() if m in sys.modules])"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


def test_version_and_help_are_told():
    assert run("--version").stdout == f"firedeck {__version__}\n"
    for arguments in (["--help"], ["joint", "--help"], ["joint", "check", "--help"], []):
        assert "Usage:" in run(*arguments).output

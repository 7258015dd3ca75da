"""The guide keeps step with the code: its files read, its words exist, its pages are whole."""

from __future__ import annotations

import importlib.util
import re
import tomllib
from pathlib import Path

import pytest

from firedeck.evidence import FLAGS
from firedeck.files.definition_file import read_any
from firedeck.files.definition_kinds import KINDS

DOCS = Path(__file__).parents[1] / "docs"
FILES_PAGE = (DOCS / "guide" / "files.md").read_text(encoding="utf-8")
EXAMPLE_FILES = re.findall(r"```toml\n(.+?)```", FILES_PAGE, flags=re.DOTALL)


def load_extension(name):
    spec = importlib.util.spec_from_file_location(name, DOCS / "_extensions" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("text", EXAMPLE_FILES, ids=[tomllib.loads(text)["kind"] for text in EXAMPLE_FILES])
def test_example_file_reads(text, tmp_path):
    path = tmp_path / "example.toml"
    path.write_text(text, encoding="utf-8")
    definition = read_any(path)
    assert isinstance(definition, KINDS[tomllib.loads(text)["kind"]])


def test_every_kind_of_file_has_an_example_and_a_schema():
    assert {tomllib.loads(text)["kind"] for text in EXAMPLE_FILES} == set(KINDS)
    schemas = (DOCS / "schema" / "index.md").read_text(encoding="utf-8")
    assert set(re.findall(r"{download}`([\w-]+)\.json`", schemas)) == set(KINDS)


def test_flags_named_in_the_guide_exist():
    report = (DOCS / "guide" / "reading-the-report.md").read_text(encoding="utf-8")
    table = report.split("## Flags")[1].split("## ")[0]
    named = re.findall(r"`([a-z-]+)`", table)
    assert named
    assert set(named) <= set(FLAGS)


def test_verdict_words_of_the_guide_are_those_of_the_code():
    from firedeck.verdict import State

    report = (DOCS / "guide" / "reading-the-report.md").read_text(encoding="utf-8")
    table = report.split("## The verdict comes first")[1].split("## ")[0]
    assert re.findall(r"^\| `([a-z ]+)` \|", table, flags=re.MULTILINE) == [
        State.GIVES, State.NOT_SHOWN, State.MARGINAL, State.HOLDS,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "loads"),
    [
        ('<script src="https://a.example/x.js"></script>', True),
        ("<script defer src='//a.example/x.js'></script>", True),
        ('<link href="https://a.example/x.css" rel="stylesheet">', True),
        ('<link rel="stylesheet" type="text/css" href="https://a.example/x.css">', True),
        ("@font-face { src: url(https://a.example/x.woff) }", True),
        ('@import "https://a.example/x.css";', True),
        ('<img src="https://a.example/x.png">', True),
        ('<a href="https://a.example/">a link to follow</a>', False),
        ('<script src="_static/x.js"></script><link rel="stylesheet" href="_static/x.css">', False),
        ('<link rel="author" href="https://a.example/">', False),
    ],
)
def test_pages_that_load_from_elsewhere_are_found(text, loads):
    assert load_extension("offline").loads_from_elsewhere(text) is loads


def test_decisions_are_numbered_without_gaps_and_titled_alike():
    records = sorted((DOCS / "decisions").glob("0*.md"))
    assert [int(path.name[:4]) for path in records] == list(range(1, len(records) + 1))
    for path in records:
        assert path.read_text(encoding="utf-8").startswith(f"# {int(path.name[:4])}. ")

"""Every example of the documentation runs and prints what it says it prints."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

EXAMPLES = sorted((Path(__file__).parents[1] / "docs" / "examples").glob("*.py"))

#: Lines of an example's end that hold its output.
MARK = "# > "


def expected_output(text: str) -> list[str]:
    return [line[len(MARK) :].rstrip() for line in text.splitlines() if line.startswith(MARK)]


def test_there_are_examples():
    assert EXAMPLES


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.stem for path in EXAMPLES])
def test_example_prints_what_it_says(path, capsys, monkeypatch, tmp_path):
    wanted = expected_output(path.read_text(encoding="utf-8"))
    assert wanted, f"end {path.name} with its output, each line behind {MARK!r}"
    monkeypatch.chdir(tmp_path)
    runpy.run_path(str(path), run_name="__main__")
    assert capsys.readouterr().out.splitlines() == wanted


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.stem for path in EXAMPLES])
def test_example_is_shown_in_the_documentation(path):
    pages = (Path(__file__).parents[1] / "docs").rglob("*.md")
    assert any(f"examples/{path.name}" in page.read_text(encoding="utf-8") for page in pages)

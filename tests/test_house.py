"""The house rules: layers, sizes, versions, targets, and what no file may hold."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import firedeck

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "firedeck"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CONTRACTS = {contract["id"]: contract for contract in PROJECT["tool"]["importlinter"]["contracts"]}

#: Layers that touch no file, page or picture.
PURE = {
    *("kernel", "evidence", "definition", "pressure_map", "film", "loading", "duty", "contact"),
    *("seal", "compare", "verdict"),
}


def kept_files() -> list[Path]:
    """Return every text file of the project that is no product of a tool."""
    ignored = {line.strip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").split()}
    ignored |= {".git"}
    found = []
    for path in sorted(ROOT.rglob("*")):
        parts = path.relative_to(ROOT).parts
        if any(part in ignored or part.endswith(".egg-info") for part in parts) or not path.is_file():
            continue
        if b"\0" not in path.read_bytes()[:4096]:
            found.append(path)
    return found


def modules() -> set[str]:
    """Return the names of what stands directly in the package."""
    return {path.stem for path in SOURCE.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}


def test_import_contracts_are_kept():
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command; lint_imports_command()",
    ]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stdout + result.stderr
    assert f"Contracts: {len(CONTRACTS)} kept, 0 broken." in result.stdout


def test_every_layer_exists():
    rows = CONTRACTS["floors"]["layers"]
    layers = [name.strip() for row in rows for name in row.split("|")]
    planned = {name.strip("()") for name in layers if name.startswith("(")}
    assert planned & modules() == set(), "they are there now: write them without parentheses"
    assert set(layers) - {f"({name})" for name in planned} == modules() - {"__init__"}


def test_contracts_name_all_pure_layers():
    named = set(CONTRACTS["core-is-pure"]["source_modules"])
    assert named == {f"firedeck.{name}" for name in PURE}


def test_the_generator_of_prints_is_kept_from_all_that_reads_them():
    kept_apart = PURE - {"evidence", "definition", "loading", "duty"} | {"study", "report", "drawing"}
    forbidden = set(CONTRACTS["truth-stays-apart"]["forbidden_modules"])
    assert {f"firedeck.{name}" for name in kept_apart} <= forbidden


def test_modules_are_short():
    sizes = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCE.rglob("*.py")}
    assert [path.name for path, lines in sizes.items() if lines > 500] == [], "split along what it is for"


def test_functions_are_short():
    long = []
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                doc = node.body[0] if ast.get_docstring(node) else None
                written = (doc.end_lineno - doc.lineno + 1) if doc else 0
                if node.end_lineno - node.lineno + 1 - written > 60:
                    long.append(f"{path.name}: {node.name}")
    assert long == [], "more than 60 lines without the docstring"


def test_one_version():
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    newest = re.search(r"^## (?:Unreleased \((.+)\)|(\S+), \d{4}-\d\d-\d\d)$", changes, flags=re.MULTILINE)
    assert newest, "the changelog's newest part is headed 'Unreleased (version)' or 'version, date'"
    assert {firedeck.__version__, PROJECT["project"]["version"], newest[1] or newest[2]} == {
        firedeck.__version__
    }


@pytest.mark.parametrize("page", ["README.md", "CONTRIBUTING.md", "docs/guide/getting-started.md"])
def test_make_targets_named_for_readers_exist(page):
    targets = set(
        re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.MULTILINE)
    )
    text = (ROOT / page).read_text(encoding="utf-8")
    named = set(re.findall(r"(?:`|^)make ([a-z]+)", text, flags=re.MULTILINE))
    assert named
    assert named <= targets


def test_ci_runs_the_test_command_of_the_readme():
    assert (ROOT / ".ci" / "run").read_text(encoding="utf-8").rstrip().endswith("exec make test")
    assert "\nmake test\n" in (ROOT / "README.md").read_text(encoding="utf-8")


# Written in pieces so that this file does not hold what it looks for.
MACHINE_PATH = re.compile(
    r"(?<![\w.~-])/(?:" + "|".join(["ho" + "me", "ro" + "ot", "wo" + "rk", "Us" + "ers"]) + r")/\w"
)
REGISTRY = re.compile(
    "|".join(
        re.escape(".".join(parts))
        for parts in [
            ("pypi", "org"), ("pythonhosted", "org"), ("npmjs", "org"), ("npmjs", "com"), ("crates", "io"),
            ("anaconda", "org"), ("deb", "debian", "org"), ("golang", "org"), ("ghcr", "io"),
        ]
    )
)  # fmt: skip


def test_no_file_names_a_machine_or_a_registry():
    found = {}
    for path in kept_files():
        text = path.read_text(encoding="utf-8")
        words = MACHINE_PATH.findall(text) + REGISTRY.findall(text)
        if words:
            found[path.relative_to(ROOT).as_posix()] = words
    assert found == {}


def test_forbidden_words_would_be_found():
    assert MACHINE_PATH.search("see " + "/ho" + "me/someone")
    assert not MACHINE_PATH.search("net" + "/wo" + "rk/ing")
    assert REGISTRY.search("https://py" + "pi.org/simple")


def test_licence_is_the_whole_text():
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License\n                           Version 2.0, January 2004" in text
    assert "END OF TERMS AND CONDITIONS" in text
    assert len(text.splitlines()) == 202
    assert PROJECT["project"]["license"] == "Apache-2.0"

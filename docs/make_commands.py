"""Write the commands page from the command line itself: every command, argument, option and exit code."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import typer

PAGE = Path(__file__).parent / "guide" / "commands.md"

_HEAD = """# Commands

This page is written by `make pages` from the command line itself. `firedeck COMMAND --help` shows
the same in the terminal.
"""


def walk(command: Any, name: str) -> Iterator[tuple[str, Any]]:
    """Go through a command and all below it; yield the words to type and the command."""
    yield name, command
    for inner in getattr(command, "commands", {}).values():
        if not inner.hidden:
            yield from walk(inner, f"{name} {inner.name}")


def parameters(command: Any) -> list[Any]:
    """Return the arguments and options that a reader should know of."""
    return [item for item in command.params if not getattr(item, "hidden", False) and item.name != "help"]


def spelling(parameter: Any) -> str:
    """Return how a parameter is typed: all spellings of an option, or the argument's name."""
    if parameter.param_type_name == "argument":
        return str(parameter.metavar or parameter.name).upper()
    return ", ".join([*parameter.opts, *parameter.secondary_opts])


def _prose(text: str) -> str:
    """Return help text without its terminal markup and forced breaks."""
    text = re.sub(r"\[/?[a-z ]+\]", "", inspect.cleandoc(text or "")).replace("\b", "")
    return text.strip()


def _row(parameter: Any) -> str:
    says = " ".join(_prose(getattr(parameter, "help", "") or "").split()).replace("|", "\\|")
    need = "yes" if parameter.required else "no"
    return f"| `{spelling(parameter)}` | {need} | {says} |"


def _section(name: str, command: Any) -> list[str]:
    lines = [f"## {name}", "", _prose(command.help or ""), ""]
    rows = [_row(parameter) for parameter in parameters(command)]
    if rows:
        lines += ["| argument or option | needed | meaning |", "|---|---|---|", *rows, ""]
    return lines


def page(app: typer.Typer, exit_codes: Mapping[int, str]) -> str:
    """Return the whole page for a command line and its exit codes."""
    lines = [_HEAD, "## Exit codes", "", "| code | meaning |", "|---|---|"]
    lines += [f"| {int(code)} | {meaning} |" for code, meaning in sorted(exit_codes.items())]
    lines += [""]
    for name, command in walk(typer.main.get_command(app), "firedeck"):
        lines += _section(name, command)
    return "\n".join(lines).rstrip() + "\n"

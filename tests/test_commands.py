"""The commands page is written from the command line, and holds all of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated

import pytest
import typer

from docs import make_commands
from firedeck import cli

COMMANDS = list(make_commands.walk(typer.main.get_command(cli.app), "firedeck"))


def test_page_is_in_step_with_the_command_line():
    written = make_commands.PAGE.read_text(encoding="utf-8")
    assert written == make_commands.page(cli.app, cli.EXIT_CODES), "run make pages"


@pytest.mark.parametrize(("name", "command"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_command_says_what_it_is_for(name, command):
    assert command.help, f"{name} has no help text"
    for parameter in make_commands.parameters(command):
        assert parameter.help, f"{name}: {make_commands.spelling(parameter)} has no help text"


def test_page_holds_every_command_parameter_and_exit_code():
    written = make_commands.PAGE.read_text(encoding="utf-8")
    for name, command in COMMANDS:
        section = written.split(f"\n## {name}\n")[1].split("\n## ")[0]
        for parameter in make_commands.parameters(command):
            assert f"| `{make_commands.spelling(parameter)}` |" in section
    for code, meaning in cli.EXIT_CODES.items():
        assert f"| {int(code)} | {meaning} |" in written


def test_page_of_a_small_command_line():
    app = typer.Typer(help="A tool.", add_completion=False)
    group = typer.Typer(help="A group.")
    app.add_typer(group, name="film")

    @group.command()
    def read(
        test: Annotated[str, typer.Argument(help="The [bold]file[/bold].")],
        out: Annotated[str, typer.Option("--out", "-o", help="This | that.")] = "",
    ) -> None:
        """Read it.

        All of it.
        """

    @app.command(hidden=True)
    def secret() -> None:
        """Not for readers."""

    written = make_commands.page(app, {4: "refused", 0: "done"})
    assert written.index("| 0 | done |") < written.index("| 4 | refused |")
    assert "## firedeck film read\n\nRead it.\n\nAll of it.\n" in written
    assert "| `TEST` | yes | The file. |\n| `--out, -o` | no | This \\| that. |" in written
    assert "secret" not in written


@pytest.mark.parametrize("page", ["README.md", "docs/guide/getting-started.md"])
def test_commands_shown_to_readers_exist(page):
    text = (Path(__file__).parents[1] / page).read_text(encoding="utf-8")
    shown = re.findall(r"^\s*(?:\.venv/bin/)?(firedeck .+)$", text, flags=re.MULTILINE)
    known = {name for name, command in COMMANDS if not hasattr(command, "commands")}
    assert shown
    assert [line for line in shown if not any(f"{line} ".startswith(f"{name} ") for name in known)] == []

"""What every command shares: exit codes, faults in plain words, JSON, progress."""

from __future__ import annotations

import dataclasses
import enum
import json
import math
import os
import platform
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from firedeck.errors import DefinitionError, FiredeckError

if TYPE_CHECKING:
    from rich.progress import Progress

__all__ = [
    "EXIT_CODES",
    "CommandGroup",
    "ExitCode",
    "JsonOption",
    "OverwriteOption",
    "ReportOption",
    "StrictOption",
    "Tell",
    "print_json",
    "print_table",
    "progress",
    "say",
]


class ExitCode(enum.IntEnum):
    """What the command's end tells a script."""

    OK = 0
    NOT_HOLDING = 1
    BAD_INPUT = 2
    INTERNAL_FAULT = 3
    INTERRUPTED = 130


#: Exit code -> what it means.
EXIT_CODES: dict[int, str] = {
    ExitCode.OK: "Done, whatever the verdict; with `--strict` the verdict is *holds*.",
    ExitCode.NOT_HOLDING: "Done with `--strict`, and the verdict is anything else than *holds*.",
    ExitCode.BAD_INPUT: "A file, a value or the command line is faulty; the message says what to mend.",
    ExitCode.INTERNAL_FAULT: "A fault in firedeck; the message names a log file with the details.",
    ExitCode.INTERRUPTED: "Stopped from the keyboard.",
}

_JSON_WANTED = "firedeck.json"


def _remember(context: typer.Context, wanted: bool) -> bool:
    context.find_root().meta[_JSON_WANTED] = wanted
    return wanted


#: Option that every command with a result has.
JsonOption = Annotated[
    bool,
    typer.Option("--json", help="Write the result as JSON and nothing else.", callback=_remember),
]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace the folder whatever it holds.")]
ReportOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder for report, pictures and tables; none by default."),
]
StrictOption = Annotated[bool, typer.Option("--strict", help="End with code 1 unless the verdict is holds.")]


class CommandGroup(TyperGroup):
    """The root of all commands: whatever goes wrong below becomes a plain message and an exit code."""

    def invoke(self, ctx: Any) -> Any:  # noqa: ANN401 - the library's own signature
        """Run the command line.

        Raises
        ------
        typer.Exit
            With one of `EXIT_CODES`.
        """
        try:
            return super().invoke(ctx)
        except FiredeckError as fault:
            _show_fault(fault, as_json=bool(ctx.meta.get(_JSON_WANTED)))
            raise typer.Exit(ExitCode.BAD_INPUT) from None
        except (KeyboardInterrupt, typer.Abort):
            say("Stopped.")
            raise typer.Exit(ExitCode.INTERRUPTED) from None
        except BrokenPipeError:
            _close_output()
            raise typer.Exit(ExitCode.OK) from None
        except Exception as fault:
            if isinstance(fault, typer.Exit) or hasattr(fault, "exit_code"):
                raise  # the command line library's own ends
            say(f"firedeck has a fault of its own ({type(fault).__name__}) and stopped.")
            say(f"  Nothing you did wrong. The details are in {_write_log()}; please pass them on.")
            raise typer.Exit(ExitCode.INTERNAL_FAULT) from None


def _show_fault(fault: FiredeckError, *, as_json: bool) -> None:
    if not as_json:
        say(str(fault))
        return
    parts: dict[str, object] = {"message": fault.message, "where": fault.where, "remedy": fault.remedy}
    if isinstance(fault, DefinitionError):
        parts["faults"] = fault.faults
    print_json({"error": parts})


def _close_output() -> None:
    """Let the interpreter end quietly although the reader of our output has gone."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _write_log() -> Path:
    """Write the traceback in flight to a file of its own and return where."""
    from firedeck import __version__

    handle, name = tempfile.mkstemp(prefix="firedeck-fault-", suffix=".log", text=True)
    with os.fdopen(handle, "w", encoding="utf-8") as log:
        log.write(f"firedeck {__version__}, Python {platform.python_version()}, {platform.platform()}\n")
        log.write(f"arguments: {sys.argv[1:]}\n\n{traceback.format_exc()}")
    return Path(name)


def say(text: str) -> None:
    """Write a line for a person, apart from the result."""
    typer.echo(text, err=True)


def print_json(value: object) -> None:
    """Write a value to the output as JSON: dataclasses as objects, numbers without end as null."""
    typer.echo(json.dumps(_plain(value), indent=2, ensure_ascii=False, allow_nan=False))


#: Width of tables where the output is no terminal [characters].
_PIPE_WIDTH = 120


def print_table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a table for a person; the first column is never broken."""
    from rich.console import Console
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    for place, name in enumerate(head):
        table.add_column(name, no_wrap=place == 0)
    for row in rows:
        table.add_row(*row)
    width = None if sys.stdout.isatty() else _PIPE_WIDTH
    Console(width=width, highlight=False, markup=False).print(table)


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if hasattr(value, "tolist"):  # an array, or a number out of one
        return _plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)


#: What a use case calls with the step in words and the share of the whole that is done [1].
Tell = Callable[[str, float], None]

#: Work shorter than this shows no progress [s].
_QUIET = 1.0


@contextmanager
def progress() -> Iterator[Tell]:
    """Show progress on a terminal once the work has taken over a second.

    Yields
    ------
    Tell
        To be handed to the use case.
    """
    start = time.monotonic()
    shown: list[Progress] = []

    def tell(step: str, share: float) -> None:
        if not shown and (time.monotonic() - start < _QUIET or not sys.stderr.isatty()):
            return
        if not shown:
            shown.append(_bar())
        shown[0].update(shown[0].task_ids[0], description=step, completed=share)

    try:
        yield tell
    finally:
        for bar in shown:
            bar.stop()


def _bar() -> Progress:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    bar.add_task("", total=1.0)
    bar.start()
    return bar

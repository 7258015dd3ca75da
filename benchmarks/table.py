"""Figures against their goals: the table for people and the file for machines."""

from __future__ import annotations

import json
import math
import os
import platform
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

import firedeck

__all__ = ["Figure", "as_figures", "failed_figure", "show_figures", "write_figures"]


@dataclass(frozen=True)
class Figure:
    """One measured figure and what it is measured against.

    Attributes
    ----------
    name : str
        What was measured.
    value : float
        What came out, in `unit`; NaN when it could not be measured.
    unit : str
        Unit of `value`.
    goal : str
        What should come out, as a reader writes it, for example ``<= 3 s``.
    met : bool or None
        Whether the goal was reached; None where there is no goal.
    against : str
        The alternative that was run beside it, or the source it is compared with.
    ratio : float or None
        How many times better than the alternative [1]; None where there is none.
    note : str
        What went wrong, or what a reader must know.
    """

    name: str
    value: float
    unit: str
    goal: str = ""
    met: bool | None = None
    against: str = ""
    ratio: float | None = None
    note: str = ""


def as_figures(rows: Iterable[Mapping[str, object]]) -> list[Figure]:
    """Turn the rows that a collector returns into figures; an unknown or missing key is an error."""
    return [Figure(**row) for row in rows]  # type: ignore[arg-type]


def failed_figure(name: str, fault: BaseException) -> Figure:
    """Return the figure of a measurement that did not come to its end: its goal is not met."""
    return Figure(name, math.nan, "", met=False, note=f"failed: {type(fault).__name__}: {fault}")


def _number(value: float | None, unit: str = "") -> str:
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.4g} {unit}".strip()


def _mark(figure: Figure) -> str:
    if figure.met is False and math.isnan(figure.value):
        return "FAILED"
    return {True: "met", False: "MISSED", None: ""}[figure.met]


def show_figures(title: str, figures: Iterable[Figure]) -> None:
    """Print the table: figure, goal, whether it was met, the alternative and the ratio to it."""
    figures = list(figures)
    table = Table(title=title)
    for heading in ("figure", "value", "goal", "", "against", "times better", "note"):
        table.add_column(heading, overflow="fold")
    for figure in figures:
        cells = (
            figure.name,
            _number(figure.value, "" if figure.unit == "1" else figure.unit),
            figure.goal,
            _mark(figure),
            figure.against,
            _number(figure.ratio),
            figure.note,
        )
        table.add_row(*map(escape, cells))
    console = Console(width=None if Console().is_terminal else 160)
    console.print(table)
    judged = [figure for figure in figures if figure.met is not None]
    console.print(f"{sum(bool(figure.met) for figure in judged)} of {len(judged)} goals met")


def _finite(figure: Figure) -> dict[str, object]:
    """Return the figure as plain data; a number that could not be measured becomes null."""
    return {
        key: None if isinstance(value, float) and not math.isfinite(value) else value
        for key, value in asdict(figure).items()
    }


def write_figures(path: Path, title: str, figures: Iterable[Figure]) -> None:
    """Write the figures with the version and machine they were measured on, as JSON."""
    record = {
        "title": title,
        "firedeck": firedeck.__version__,
        "python": platform.python_version(),
        "machine": f"{platform.system()} {platform.machine()}, {os.cpu_count()} processors",
        "figures": [_finite(figure) for figure in figures],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(record, indent=2, allow_nan=False) + "\n", encoding="utf-8")

"""Reports of duties on disk: page, pictures and tables, a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from firedeck.files.table_file import write_table
from firedeck.report.document import Document, Link
from firedeck.study.duty.cases import DutyComparison, LoadReading, ModelReading, RuleReading
from firedeck.study.duty.pages import duties_page, load_page, model_page, rule_page, trace_page
from firedeck.study.duty.tables import (
    DUTY_UNITS,
    Columns,
    comparison_columns,
    curve_columns,
    cycle_columns,
    duty_columns,
    fan_columns,
    model_columns,
)
from firedeck.study.duty.trace import TraceReading
from firedeck.study.folders import write_folder
from firedeck.study.prints.output import write_page

__all__ = ["DutyOutcome", "write_duty"]

#: Whatever a duty command finds out.
DutyOutcome = TraceReading | ModelReading | RuleReading | LoadReading | DutyComparison


def write_duty(
    outcome: DutyOutcome, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a duty with its pictures and tables.

    Parameters
    ----------
    outcome : TraceReading, ModelReading, RuleReading, LoadReading or DutyComparison
        What was found out.
    folder : Path
        Folder to write; an earlier output of firedeck there is replaced.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.
    links : sequence of Link
        Ways to other pages, relative to the report.

    Returns
    -------
    Path
        The report.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written; it is left as it was then.
    """

    def fill(draft: Path) -> None:
        write_page(draft, _page(outcome, tuple(links)))
        for name, columns in _tables(outcome).items():
            write_table(draft / name, columns, units=DUTY_UNITS)

    write_folder(folder, fill, overwrite=overwrite)
    return folder / "report.html"


def _page(outcome: DutyOutcome, links: tuple[Link, ...]) -> Document:
    makers: dict[type, Callable[..., Document]] = {
        TraceReading: trace_page,
        ModelReading: model_page,
        RuleReading: rule_page,
        LoadReading: load_page,
        DutyComparison: duties_page,
    }
    return makers[type(outcome)](outcome, links=links)


def _tables(outcome: DutyOutcome) -> dict[str, Columns]:
    if isinstance(outcome, LoadReading):
        return {"loads": curve_columns(outcome)}
    if isinstance(outcome, DutyComparison):
        return {"duties": comparison_columns(outcome)}
    tables = {"duty": duty_columns(outcome.duty)}
    if isinstance(outcome, TraceReading):
        tables |= {"cycles": cycle_columns(outcome), "fan": fan_columns(outcome)}
    if isinstance(outcome, ModelReading):
        tables["cycle"] = model_columns(outcome.worked)
    return tables

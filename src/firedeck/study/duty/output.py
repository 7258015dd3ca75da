"""Reports of duties on disk: page, pictures and tables, a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

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
from firedeck.study.report_folder import write_report

__all__ = ["DutyOutcome", "write_duty"]

#: Whatever a duty command finds out.
DutyOutcome = TraceReading | ModelReading | RuleReading | LoadReading | DutyComparison


def write_duty(
    outcome: DutyOutcome, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a duty with its pictures and tables; folder and faults as `write_report`."""

    def page() -> Document:
        return _page(outcome, tuple(links))

    return write_report(folder, page, tables=_tables(outcome), units=DUTY_UNITS, overwrite=overwrite)


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

"""Reports, cards, pictures and tables of a fastening on disk: a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.report.card import render_card_html, render_card_pdf
from firedeck.report.document import Document, Link
from firedeck.study.fastening.assessment import FasteningReading
from firedeck.study.fastening.pages import fastening_page
from firedeck.study.fastening.tables import (
    FASTENING_UNITS,
    cylinder_columns,
    fastener_columns,
    move_columns,
    round_columns,
    torque_columns,
)
from firedeck.study.fastening.torque import TorquePlan
from firedeck.study.fastening.torque_card import tightening_card
from firedeck.study.fastening.torque_pages import torque_page
from firedeck.study.report_folder import write_report

__all__ = ["write_fastening", "write_torque_plan"]


def write_fastening(
    reading: FasteningReading, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a fastening with its pictures and tables; folder and faults as `write_report`."""
    tables = {
        "fasteners": fastener_columns(reading),
        "moves": move_columns(reading),
        "cylinders": cylinder_columns(reading),
    }

    def page() -> Document:
        return fastening_page(reading, links=tuple(links))

    return write_report(folder, page, tables=tables, units=FASTENING_UNITS, overwrite=overwrite)


def write_torque_plan(
    plan: TorquePlan, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a torque plan, its tables and the tightening card; as `write_fastening`."""

    def page() -> Document:
        return torque_page(plan, links=tuple(links))

    def beside(draft: Path) -> None:
        card = tightening_card(plan)
        (draft / "card.html").write_text(render_card_html(card), encoding="utf-8")
        (draft / "card.pdf").write_bytes(render_card_pdf(card))

    tables = {"torques": torque_columns(plan), "turns": round_columns(plan)}
    return write_report(
        folder, page, tables=tables, units=FASTENING_UNITS, beside=beside, overwrite=overwrite
    )

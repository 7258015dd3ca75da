"""Reports, cards, pictures and tables of a fastening on disk: a whole folder or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firedeck.files.table_file import write_table
from firedeck.report.card import render_card_html, render_card_pdf
from firedeck.report.document import Link
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
from firedeck.study.folders import write_folder
from firedeck.study.prints.output import write_page

__all__ = ["write_fastening", "write_torque_plan"]


def write_fastening(
    reading: FasteningReading, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a fastening with its pictures and tables.

    Parameters
    ----------
    reading : FasteningReading
        The fastening assessed.
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
        write_page(draft, fastening_page(reading, links=tuple(links)))
        write_table(draft / "fasteners", fastener_columns(reading), units=FASTENING_UNITS)
        write_table(draft / "moves", move_columns(reading), units=FASTENING_UNITS)
        if reading.clamp.cylinders:
            write_table(draft / "cylinders", cylinder_columns(reading), units=FASTENING_UNITS)

    write_folder(folder, fill, overwrite=overwrite)
    return folder / "report.html"


def write_torque_plan(
    plan: TorquePlan, folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the report of a torque plan, its tables and the tightening card; as `write_fastening`."""

    def fill(draft: Path) -> None:
        write_page(draft, torque_page(plan, links=tuple(links)))
        card = tightening_card(plan)
        (draft / "card.html").write_text(render_card_html(card), encoding="utf-8")
        (draft / "card.pdf").write_bytes(render_card_pdf(card))
        write_table(draft / "torques", torque_columns(plan), units=FASTENING_UNITS)
        write_table(draft / "turns", round_columns(plan), units=FASTENING_UNITS)

    write_folder(folder, fill, overwrite=overwrite)
    return folder / "report.html"

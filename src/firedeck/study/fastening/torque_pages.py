"""The page of a torque plan: table, rounds and order, what each way leaves."""

from __future__ import annotations

import numpy as np

from firedeck.drawing.picture_file import to_png_bytes
from firedeck.report.cautions import fastener_limits_section
from firedeck.report.document import (
    Block,
    Document,
    Headline,
    Link,
    Notes,
    Paragraph,
    Picture,
    Section,
    Table,
)
from firedeck.report.fastener_tables import kilonewtons, part_table
from firedeck.report.record_tables import provenance_table
from firedeck.study.fastening.pictures import fan_picture, order_of
from firedeck.study.fastening.torque import GroupTorques, TorquePlan
from firedeck.study.fastening.torque_words import (
    TORQUE_HEAD,
    WAYS,
    action_words,
    each_rows,
    plan_title,
    round_rows,
    snug_line,
    torque_rows,
    yield_line,
)
from firedeck.study.fastening.ways import RoundStep
from firedeck.verdict import State
from firedeck.verdict.fasteners import unevenness

__all__ = ["torque_headline", "torque_page"]


def torque_page(plan: TorquePlan, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a torque plan together.

    Parameters
    ----------
    plan : TorquePlan
        The plan.
    links : tuple of Link
        Ways to pages that belong with it.
    """
    reading = plan.reading
    order = Picture("order", to_png_bytes(order_of(reading, title="Order of tightening")), _ORDER)
    sections = (
        Section("table", "Torque for preload", tuple(_tables(plan))),
        Section("plan", "Rounds and order", (_round_table(plan), *_each_table(plan), order)),
        Section("ways", "What each way leaves", (Paragraph(_HOW_EVEN), _way_table(plan), _final_table(plan))),
        Section("verdict", "Verdict on this tightening", (part_table(reading.verdict),)),
        Section("assumptions", "Assumptions that change the result", (Notes(reading.assumptions),)),
        Section("provenance", "Settings and provenance", (provenance_table(reading.files.provenance),)),
        fastener_limits_section(),
    )
    title = f"{plan_title(plan)}, on {reading.files.plan.name}"
    ways = (Link("tightening card", "card.html"), Link("card as PDF", "card.pdf"), *links)
    return Document(title, "Torque and tightening", torque_headline(plan), sections, ways)


def torque_headline(plan: TorquePlan) -> Headline:
    """Return the first line: the last torque and what it gives, and the verdict of the strength checks."""
    reading = plan.reading
    parts = []
    for group in reading.clamp.groups:
        last = group.place.tightening.stages[-1]
        amount = action_words(RoundStep("", last.kind, last.amount))
        other = f" ({amount[1]})" if amount[1] else ""
        parts.append(f"{amount[0]}{other}: {kilonewtons(group.spread.one)} kN")
    short = [part for part in reading.verdict.parts if part.state != State.HOLDS]
    lines = [
        *(yield_line(table) for table in plan.tables),
        *(f"{part.part}, {part.state}: {part.governing.text}." for part in short),
        *reading.verdict.remarks,
    ]
    return Headline("; ".join(parts), "", tuple(lines))


_ORDER = "Order of tightening, seen from the head; the cross is the plan's origin."

_HOW_EVEN = (
    "Tightening one fastener takes load off those that were tightened before. Reckoned for a rigid head on "
    "the gasket's springs, typical friction; a real head bows besides."
)


def _tables(plan: TorquePlan) -> list[Block]:
    blocks: list[Block] = []
    for place, table in enumerate(plan.tables, start=1):
        group = plan.reading.clamp.groups[place - 1]
        blocks.append(Table(TORQUE_HEAD, torque_rows(table), _table_caption(table)))
        blocks.append(Notes((snug_line(table),)))
        blocks.append(fan_picture(group, place))
    return blocks


def _table_caption(table: GroupTorques) -> str:
    lubricant = table.place.tightening.lubricant
    return (
        f"{table.place.group.name}, {table.place.fastener.turned_thread}, with {lubricant.name}. Preload as "
        "tightened; embedding and relaxation take off some of it. Torque at typical friction, over the range "
        "of friction beside it."
    )


def _round_table(plan: TorquePlan) -> Table:
    rows = tuple((row.number, row.what, row.action, row.other, row.note) for row in round_rows(plan))
    caption = f"{WAYS[plan.chosen.way].capitalize()}. Each round over the whole order."
    return Table(("round", "fasteners", "action", "or", "note"), rows, caption)


def _each_table(plan: TorquePlan) -> list[Table]:
    steps = tuple(step for one in plan.chosen.rounds for step in one.each)
    rows = tuple(
        (row.number, row.what, row.action, row.other, f"{step.preload / 1e3:.1f}")
        for row, step in zip(each_rows(steps), steps, strict=True)
    )
    head = ("turn", "fastener", "torque", "or", "brings it to [kN]")
    return [Table(head, rows, "Last round: every fastener at its own torque.")] if rows else []


def _way_table(plan: TorquePlan) -> Table:
    rows = tuple(
        (
            WAYS[way.way] + (" (on the card)" if way is plan.chosen else ""),
            str(sum(one.again for one in way.rounds)),
            f"{way.final.min() / 1e3:.1f} to {way.final.max() / 1e3:.1f}" if way.open else "not open",
            f"{100 * unevenness(way.final):.1f} %" if way.open else "",
            f"{way.highest / 1e3:.1f}" if way.open else "",
            way.remark,
        )
        for way in plan.ways
    )
    head = ("way", "rounds", "left in the fasteners [kN]", "apart", "highest passed through [kN]", "remark")
    return Table(head, rows, "Three ways to the same last torque.")


def _final_table(plan: TorquePlan) -> Table:
    ways = [way for way in plan.ways if way.open]
    final = np.array([way.final for way in ways]) / 1e3
    rows = tuple(
        (name, *(f"{force:.1f}" for force in column))
        for name, column in zip(plan.reading.clamp.joint.names, final.T, strict=True)
    )
    return Table(
        ("fastener", *(f"{WAYS[way.way]} [kN]" for way in ways)), rows, "Fastener by fastener.", folded=True
    )

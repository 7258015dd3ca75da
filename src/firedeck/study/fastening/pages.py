"""The page of a fastening: which part stands where."""

from __future__ import annotations

from firedeck.report.cautions import fastener_limits_section
from firedeck.report.document import Block, Document, Facts, Headline, Link, Notes, Paragraph, Section
from firedeck.report.fastener_tables import (
    bed_facts,
    clamp_reason_table,
    cylinder_table,
    fastener_table,
    group_facts,
    heat_table,
    part_table,
    round_table,
    scatter_table,
    seat_table,
    settling_table,
    thread_table,
    yield_table,
)
from firedeck.report.record_tables import provenance_table
from firedeck.study.fastening.assessment import FasteningReading
from firedeck.study.fastening.pictures import clamp_picture, fan_picture, preload_picture
from firedeck.verdict import State

__all__ = ["fastening_headline", "fastening_page"]

#: Parts named in the headline beyond which the others are counted.
_MOST_NAMED = 4


def fastening_headline(reading: FasteningReading) -> Headline:
    """Return the first line of a fastening's report: the verdict, and what led to it."""
    verdict = reading.verdict
    deciding = [part for part in verdict.parts if part.state == verdict.state]
    text = f"Verdict: {verdict.state}"
    lines: tuple[str, ...] = ()
    if verdict.state != State.HOLDS:
        named = ", ".join(part.part for part in deciding[:_MOST_NAMED])
        more = len(deciding) - _MOST_NAMED
        text += f" – {named}" + (f" and {more} more" if more > 0 else "")
        lines = tuple(f"{part.part}: {part.governing.text}." for part in deciding[:_MOST_NAMED])
    return Headline(text, str(verdict.state), (*lines, *verdict.remarks))


def fastening_page(reading: FasteningReading, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a fastening together.

    Parameters
    ----------
    reading : FasteningReading
        The fastening assessed.
    links : tuple of Link
        Ways to pages that belong with it.
    """
    clamp, groups = reading.clamp, reading.clamp.groups
    heat = heat_table(groups)
    cold = Paragraph("No temperatures are stated, so what heat does to the preload is not shown.")
    sections = [
        Section("parts", "Verdict", (part_table(reading.verdict), clamp_reason_table(reading.verdict))),
        _clamp(reading),
        Section(
            "preloads",
            "Preload of every fastener",
            (
                Paragraph(_HOW_TIGHTENED),
                preload_picture(reading),
                fastener_table(clamp),
                bed_facts(clamp),
                round_table(clamp),
            ),
        ),
        Section("torque", "Torque, friction and yield", _torque(reading)),
        Section("strength", "Seats and threads", (seat_table(groups), thread_table(groups))),
        Section("settling", "Settling", (settling_table(groups),)),
        Section("heat", "Heat", (heat if heat.rows else cold,)),
        Section("fastening", "What is fastened, and how", _facts(reading)),
        Section("assumptions", "Assumptions that change the result", (Notes(reading.assumptions),)),
        Section("provenance", "Settings and provenance", (provenance_table(reading.files.provenance),)),
        fastener_limits_section(),
    ]
    title = f"{reading.files.fastening.name}, on {reading.files.plan.name}"
    return Document(title, "Fasteners and clamp", fastening_headline(reading), tuple(sections), links)


_HOW_TIGHTENED = (
    "Tightened stage by stage in the sequence, each fastener at typical friction. When one is tightened the "
    "gasket gives, and those tightened before lose some of their preload; a head that rocks loads the ones "
    "on the far side. The bands are the scatter of one fastener."
)


def _clamp(reading: FasteningReading) -> Section:
    blocks: list[Block] = []
    picture = clamp_picture(reading)
    if picture is None:
        blocks.append(Paragraph("No cylinder pressure is stated, so clamp and gas load are not compared."))
    else:
        blocks += [picture, cylinder_table(reading.clamp, reading.verdict)]
    return Section("clamp", "Clamp over gas load", tuple(blocks))


def _torque(reading: FasteningReading) -> tuple[Block, ...]:
    groups = reading.clamp.groups
    fans = [
        fan_picture(group, place)
        for place, group in enumerate(groups, start=1)
        if group.place.tightening.method != "hydraulic"
    ]
    return (*fans, yield_table(groups), scatter_table(groups))


def _facts(reading: FasteningReading) -> tuple[Block, ...]:
    fastening, files = reading.files.fastening, reading.files
    about = [
        ("deck plan", files.plan.name),
        ("gasket", files.gasket or "seals of the deck plan"),
        ("sequence", " – ".join(reading.clamp.joint.sequence)),
        ("note", fastening.note),
    ]
    facts: list[Block] = [Facts(tuple(row for row in about if row[1]))]
    for group in reading.clamp.groups:
        facts += [Paragraph(group.place.group.name), group_facts(group)]
    return tuple(facts)

"""The tightening card of a torque plan."""

from __future__ import annotations

from firedeck.drawing.picture_file import to_svg_text
from firedeck.report.card import TighteningCard
from firedeck.report.cautions import FASTENER_CAUTIONS
from firedeck.report.fastener_tables import kilonewtons
from firedeck.study.fastening.pictures import order_of
from firedeck.study.fastening.torque import GroupTorques, TorquePlan
from firedeck.study.fastening.torque_words import each_rows, plan_title, round_rows
from firedeck.units import show_torque

__all__ = ["tightening_card"]


def tightening_card(plan: TorquePlan) -> TighteningCard:
    """Return the card for the bench.

    Parameters
    ----------
    plan : TorquePlan
        The plan.
    """
    reading = plan.reading
    files = reading.files
    gasket = f", {files.gasket}" if files.gasket else ""
    marks = [
        f"{key.removeprefix('sha256 ')} {value[:12]}"
        for key, value in files.provenance.items()
        if "sha" in key
    ]
    return TighteningCard(
        title=plan_title(plan),
        joint=f"{files.plan.name}{gasket}",
        facts=tuple(_card_facts(plan)),
        rounds=round_rows(plan),
        each=each_rows(tuple(step for one in plan.chosen.rounds for step in one.each)),
        stop=_stop(plan),
        after=_after(plan),
        cautions=FASTENER_CAUTIONS,
        picture=to_svg_text(order_of(reading), "order", label="Order of tightening on the deck plan"),
        origin=files.plan.origin,
        mark=" · ".join(marks),
    )


def _card_facts(plan: TorquePlan) -> list[tuple[str, str]]:
    rows = []
    several = len(plan.reading.clamp.groups) > 1
    for group in plan.reading.clamp.groups:
        place, fastener = group.place, group.place.fastener
        head = f"{place.group.name}, " if several else ""
        block = fastener.hole
        rows += [
            (f"{head}fasteners", f"{len(place.holes)} × {fastener.name}, {fastener.turned_thread}"),
            (f"{head}in the block", f"{block.thread}, {block.engagement:.4g} mm of full thread"),
            (f"{head}lubricant", f"{place.tightening.lubricant.name}: thread and under the turned face"),
            (f"{head}preload", f"{kilonewtons(group.spread.one)} kN as tightened, 95 of 100 fasteners"),
        ]
    return rows


def _stop(plan: TorquePlan) -> str:
    """Return the torque at which the first fasteners may yield, where torque is what is watched."""
    parts = []
    for table in plan.tables:
        if table.place.tightening.method == "torque":
            head = f"{table.place.group.name}: " if len(plan.tables) > 1 else ""
            parts.append(head + _limit(table))
    return " ".join(parts)


def _limit(table: GroupTorques) -> str:
    limit = table.rows[0].checks[0].yield_torque
    last = table.place.tightening.stages[-1].amount
    if last > limit:
        return (
            f"With the lowest friction they yield at {show_torque(limit)}, before the last torque: stop when "
            "one turns on without resisting more, and measure its length."
        )
    return f"Never past {show_torque(limit)}: with the lowest friction they yield there."


def _after(plan: TorquePlan) -> tuple[str, ...]:
    retorque = plan.chosen.way == "given" and any(
        place.tightening.retorque for place in plan.reading.clamp.joint.groups
    )
    lines = [
        "Holes clean, dry and chased; washers the right way round; studs as deep as their drawing says.",
        "The last round is repeated at once, cold; no further retorque is planned here."
        if retorque
        else "No retorque after running is planned here: follow the gasket maker's word.",
        "Write down what deviates: a fastener that turns far or hardly at all is not as planned.",
    ]
    if any(place.tightening.to_yield for place in plan.reading.clamp.joint.groups):
        lines.append("Turned to yield: throw these fasteners away when they come out.")
    return tuple(lines)

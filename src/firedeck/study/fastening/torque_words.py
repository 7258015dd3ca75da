"""A torque plan in words: the rows of its table, its rounds, what each way leaves."""

from __future__ import annotations

from firedeck.report.card import CardRow
from firedeck.report.document import Cell
from firedeck.report.words import share
from firedeck.study.fastening.torque import GroupTorques, PreloadRow, TorquePlan
from firedeck.study.fastening.ways import EachStep, Round, RoundStep, WayResult
from firedeck.units import show_torque, to_unit
from firedeck.verdict.fasteners import unevenness

__all__ = [
    "TORQUE_HEAD",
    "WAYS",
    "action_words",
    "each_rows",
    "plan_lines",
    "plan_title",
    "round_rows",
    "snug_line",
    "torque_rows",
    "yield_line",
]

#: Heads of the table of torques.
TORQUE_HEAD = (
    "preload [kN]",
    "torque [N·m]",
    "[lbf·ft]",
    "over the friction range [N·m]",
    "[lbf·ft]",
    "that torque gives [kN]",
    "of yield, typical",
    "of yield, low friction",
    "angle [°]",
    "stretch [mm]",
    "past yield",
)

#: What each way is called.
WAYS = {
    "given": "as the fastening states",
    "even": "last round with a torque for each",
    "passes": "last round repeated until even",
}


def newton_metres(torque: float) -> str:
    """Return a torque [N*mm] in whole N·m, unit left out."""
    return f"{torque / 1000.0:.0f}"


def pound_feet(torque: float) -> str:
    """Return a torque [N*mm] in whole lbf·ft, unit left out."""
    return f"{to_unit(torque, 'torque', 'force_pound * foot'):.0f}"


def torque_rows(table: GroupTorques) -> tuple[tuple[str | Cell, ...], ...]:
    """Return the rows under `TORQUE_HEAD`."""
    return tuple(_torque_row(row) for row in table.rows)


def _torque_row(row: PreloadRow) -> tuple[str | Cell, ...]:
    low, typical, high = row.torques
    state = {"yes": "gives", "at low friction": "marginal"}.get(row.yields, "")
    return (
        f"{row.preload / 1e3:.1f}",
        newton_metres(typical),
        pound_feet(typical),
        f"{newton_metres(low)} to {newton_metres(high)}",
        f"{pound_feet(low)} to {pound_feet(high)}",
        f"{row.least / 1e3:.0f} to {row.most / 1e3:.0f}",
        share(row.checks[1].utilisation),
        share(row.checks[0].utilisation),
        "" if row.angle is None else f"{row.angle:.0f}",
        f"{row.stretch:.2f}",
        Cell(row.yields or "no", state),
    )


def yield_line(table: GroupTorques) -> str:
    """Return at what torque the fasteners yield, in a sentence."""
    low, typical, high = table.rows[0].checks
    name = table.place.group.name
    return (
        f"{name} yield at {show_torque(typical.yield_torque)} and {typical.yield_preload / 1e3:.1f} kN with "
        f"typical friction; at {show_torque(low.yield_torque)} with the lowest, "
        f"{show_torque(high.yield_torque)} with the highest."
    )


def snug_line(table: GroupTorques) -> str:
    """Return from where angles are counted, in a sentence."""
    start = f"from {show_torque(table.snug)} on" if table.snug else "from touching on"
    return f"Angles count {start} and hold for a joint that is snug."


def action_words(step: RoundStep) -> tuple[str, str]:
    """Return a step's amount in the unit of the shop, and in the other one where there is one."""
    amounts = {
        "torque": (f"{newton_metres(step.amount)} N·m", f"{pound_feet(step.amount)} lbf·ft"),
        "angle": (f"{step.amount:.0f}° further", ""),
        "stretch": (f"{step.amount:.2f} mm longer", f"{step.amount / 25.4:.4f} in"),
        "tension": (
            f"pull {step.amount / 1e3:.1f} kN",
            f"{to_unit(step.amount, 'force', 'force_pound'):.0f} lbf",
        ),
        "loosen": (f"loosen {step.amount:.0f}°", ""),
    }
    return amounts[step.kind]


def round_rows(plan: TorquePlan) -> tuple[CardRow, ...]:
    """Return the rounds of the chosen way."""
    several = len(plan.reading.clamp.groups) > 1
    rows: list[CardRow] = []
    for number, one in enumerate(plan.chosen.rounds, start=1):
        rows += _rows_of_round(plan, number, one, several=several)
    return tuple(rows)


def _rows_of_round(plan: TorquePlan, number: int, one: Round, *, several: bool) -> list[CardRow]:
    if one.each:
        return [CardRow(str(number), "all", "each its own", "", "see the list below")]
    retorque = plan.chosen.way == "given" and number > 1 and one.steps == plan.chosen.rounds[number - 2].steps
    note = "once more" if retorque else ""
    if one.again > 1:
        note = f"{one.again} times over the whole order"
    return [
        CardRow(str(number), step.group if several else "all", *action_words(step), note)
        for step in one.steps
    ]


def each_rows(steps: tuple[EachStep, ...]) -> tuple[CardRow, ...]:
    """Return the torques of single fasteners in order."""
    return tuple(
        CardRow(
            str(turn), step.fastener, f"{newton_metres(step.torque)} N·m", f"{pound_feet(step.torque)} lbf·ft"
        )
        for turn, step in enumerate(steps, start=1)
    )


def plan_title(plan: TorquePlan) -> str:
    """Return the fastening's name, and what it is aimed at where that is not its own."""
    aim = f", aimed at {plan.aimed / 1e3:.4g} kN" if plan.aimed is not None else ""
    return f"{plan.reading.files.fastening.name}{aim}"


def plan_lines(plan: TorquePlan) -> tuple[str, ...]:
    """Return the rounds of the chosen way and what each way leaves, in lines."""
    lines = ["order: " + " – ".join(plan.reading.clamp.joint.sequence)]
    for row in round_rows(plan):
        parts = [row.action, f"({row.other})" if row.other else "", row.note]
        lines.append(f"round {row.number}, {row.what}: " + " ".join(part for part in parts if part))
    for one in plan.chosen.rounds:
        lines += [f"  {row.number} {row.what}: {row.action} ({row.other})" for row in each_rows(one.each)]
    lines += [f"{WAYS[way.way]}: {_left(way)}" for way in plan.ways]
    return tuple(lines)


def _left(way: WayResult) -> str:
    if not way.open:
        return f"not open, {way.remark}"
    least, most = float(way.final.min()), float(way.final.max())
    remark = f"; {way.remark}" if way.remark else ""
    apart = f"{100 * unevenness(way.final):.1f} % apart"
    return (
        f"{least / 1e3:.1f} to {most / 1e3:.1f} kN, {apart}, highest passed through "
        f"{way.highest / 1e3:.1f} kN{remark}"
    )

"""What the page of a prediction says of its seals: verdict, states, rules, and the way out for the gas."""

from __future__ import annotations

import math

from firedeck.report.document import Block, Cell, Paragraph, Section, Table
from firedeck.report.words import NOT_SHOWN, number
from firedeck.study.prediction.pictures import PredictionPictures
from firedeck.study.prediction.predicting import PredictionReading, SealAnswer

__all__ = ["gas_section", "seals_section"]


def seals_section(reading: PredictionReading, _: PredictionPictures) -> Section:
    """Return the verdict on every seal, what it carries in every state, and the rules that come nearest."""
    blocks = (Paragraph(_HOW_JUDGED), _margin_table(reading), _state_table(reading), _rule_table(reading))
    return Section("seals", "Seals", blocks)


_HOW_JUDGED = (
    "Every seal is held against its limits in every state; the state and limit with the least "
    "margin decide. “Times what it needs” below 1: it gives. Marginal: the lower end of the 95 % "
    "interval is below 1. Not shown: the seal's law is used far beyond its table, so nobody knows."
)


def _margin_table(reading: PredictionReading) -> Table:
    answers = {answer.seal: answer for answer in reading.seals}
    numbers = {answer.seal: place for place, answer in enumerate(reading.seals, start=1)}
    head = (
        "no.", "seal", "kind", "predicted", "mean line load, settled [N/mm]", "lowest, settled [N/mm]",
        "lowest of all states [N/mm]", "governed by", "has, needs", "times what it needs [1]",
    )  # fmt: skip
    rows = []
    for margin in reading.margins:
        settled, rule = answers[margin.seal].states["settled"], margin.governing
        lowest = min(answers[margin.seal].states.values(), key=lambda one: one.lowest)
        rows.append(
            (
                str(numbers[margin.seal]),
                margin.seal,
                margin.kind,
                Cell(str(margin.state), str(margin.state)),
                f"{number(settled.mean)} {_ends(reading.doubts[margin.seal].mean, settled.mean)}",
                f"{number(settled.lowest)} at {settled.weakest_angle:.0f}°",
                f"{number(lowest.lowest)} {_ends(reading.doubts[margin.seal].lowest, lowest.lowest)}",
                f"{rule.rule}, {rule.joint_state}",
                f"{number(rule.value)}, {rule.limit:g} {rule.unit}",
                f"{number(rule.ratio, 2)} (from {number(max(rule.low, 0.0), 2)})",
            )
        )
    return Table(
        head, tuple(rows), "The least margin on top; numbers as on the map. Brackets: 95 % interval."
    )


def _ends(reach: tuple[float, float], value: float) -> str:
    return f"({max(value - reach[0], 0.0):.0f} to {value + reach[1]:.0f})"


def _state_table(reading: PredictionReading) -> Table:
    names = list(reading.states.all)
    shown = [name for name in names if "firing" not in name]
    head = (
        "seal",
        *(f"{name}: mean, lowest [N/mm]" for name in shown),
        "own bore firing: mean, lowest [N/mm]",
        "worst firing: lowest [N/mm]",
        "opened most by gas [µm]",
        "beyond its table [% of length]",
    )
    rows = []
    for answer in reading.seals:
        firing = {name: one for name, one in answer.states.items() if "firing" in name}
        loads = {name: one.lowest for name, one in firing.items()}
        worst = min(loads, key=loads.__getitem__) if loads else ""
        opened = max(
            (one.opening for found in reading.swings.values() for one in found if one.seal == answer.seal),
            default=math.nan,
        )
        rows.append(
            (
                answer.seal,
                *(
                    f"{number(answer.states[name].mean)}, {number(answer.states[name].lowest)}"
                    for name in shown
                ),
                _own_firing(reading, answer),
                f"{number(firing[worst].lowest)} ({worst})" if worst else NOT_SHOWN,
                number(1e3 * opened, 2),
                f"{100 * max(one.beyond for one in answer.states.values()):.0f}",
            )
        )
    return Table(head, tuple(rows), "Every seal in its states, in the plan's order.", folded=True)


def _own_firing(reading: PredictionReading, answer: SealAnswer) -> str:
    own = next(seal.enclosed for seal in reading.files.plan.seals if seal.name == answer.seal)
    named = [name for name in answer.states if name.startswith(("hot firing", "firing"))]
    fired = [name for name in named if name.partition(", ")[2] in own]
    if len(own) != 1 or not fired:
        return "–"
    carried = answer.states[fired[-1]]
    return f"{number(carried.mean)}, {number(carried.lowest)}"


def _rule_table(reading: PredictionReading) -> Table:
    head = ("seal", "rule", "state", "has", "needs", "unit", "times what it needs [1]", "leads to")
    rows = tuple(
        (
            margin.seal, rule.rule, rule.joint_state, number(rule.value), number(rule.limit), rule.unit,
            f"{number(rule.ratio, 3)} (from {number(max(rule.low, 0.0), 2)})",
            Cell(str(rule.state), str(rule.state)),
        )
        for margin in reading.margins
        for rule in margin.rules[:6]
    )  # fmt: skip
    return Table(head, rows, "The rules that come nearest, six for each seal.", folded=True)


def gas_section(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    """Return the clamp over gas load of every cylinder, and the way that its gas would take out."""
    if not reading.gas.pressures:
        text = "No cylinder pressure is stated, so nothing is predicted under gas."
        return Section("gas", "Gas", (Paragraph(text),))
    bores = list(reading.gas.pressures)
    head = ("cylinder", "gas [bar]", *(f"clamp over gas load, {name} [1]" for name in reading.ratios))
    rows = tuple(
        (bore, number(10 * reading.gas.pressures[bore]),
         *(f"{found[bore]:.2f}" for found in reading.ratios.values()))
        for bore in bores
    )  # fmt: skip
    caption = "Force on the bore's own seals without gas, over the gas load that lifts the head."
    blocks: list[Block | None] = [
        Table(head, rows, caption), Paragraph(_HOW_BREACH), _breach_table(reading), pictures.leaks(),
    ]  # fmt: skip
    return Section("gas", "Gas, clamp and leak paths", tuple(block for block in blocks if block is not None))


_HOW_BREACH = (
    "While a cylinder fires, the way its gas would take first is the one on which the highest "
    "contact pressure met is lowest. The breach pressure is the gas pressure at which that way "
    "opens, the clamp held at what it is while firing. As pressure rises the clamp falls further, "
    "so the pressure at which the seal gives is lower: firedeck predict giveway raises the "
    "pressure until it does."
)


def _breach_table(reading: PredictionReading) -> Table:
    head = ("cylinder", "fires at [bar]", "way out to", "across", "place x, y [mm]", "breach pressure [bar]",
            "over gas pressure [1]")  # fmt: skip
    rows = tuple(
        (
            one.bore, number(10 * one.gas), one.path.b if one.path.a == one.bore else one.path.a,
            one.path.seal or "no seal", f"{one.path.point[0]:.0f}, {one.path.point[1]:.0f}",
            f"{10 * one.breach.value:.0f} ({10 * one.breach.low:.0f} to {10 * one.breach.high:.0f})",
            f"{one.ratio:.2f}",
        )
        for one in reading.breaches
    )  # fmt: skip
    return Table(head, rows, "The least margin on top. Brackets: 95 % interval.")

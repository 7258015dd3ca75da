"""The page of a prediction: which part stands where."""

from __future__ import annotations

import math

from firedeck.contact import Bow
from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import (
    Block,
    Cell,
    Document,
    Facts,
    Headline,
    Link,
    Notes,
    Paragraph,
    Section,
    Table,
)
from firedeck.report.record_tables import provenance_table
from firedeck.report.words import NOT_SHOWN, number, percent
from firedeck.study.prediction.pictures import PredictionPictures
from firedeck.study.prediction.predicting import PredictionReading, SealAnswer
from firedeck.study.progress import Progress, silent
from firedeck.verdict import State, judge_margins

__all__ = ["prediction_headline", "prediction_page"]

_MOST_NAMED = 4


def prediction_headline(reading: PredictionReading) -> Headline:
    """Return the first line of a prediction: what is predicted, and what governs."""
    state = judge_margins(reading.margins)
    deciding = [margin for margin in reading.margins if margin.state == state]
    text = f"Predicted: {state}"
    lines: tuple[str, ...] = ()
    if state != State.HOLDS:
        named = ", ".join(margin.seal for margin in deciding[:_MOST_NAMED])
        more = len(deciding) - _MOST_NAMED
        text += f" – {named}" + (f" and {more} more" if more > 0 else "")
        lines = tuple(f"{margin.seal}: {margin.words}." for margin in deciding[:_MOST_NAMED])
    elif reading.margins:
        lines = (f"Least margin: {reading.margins[0].seal}, {reading.margins[0].words}.",)
    generic = (
        "Head and block are generic: their sizes are assumptions until drawings or prints say otherwise."
    )
    return Headline(text, str(state), (*lines, generic))


def prediction_page(
    reading: PredictionReading, *, links: tuple[Link, ...] = (), progress: Progress = silent
) -> Document:
    """Put the report of a prediction together.

    Parameters
    ----------
    reading : PredictionReading
        The prediction.
    links : tuple of Link
        Ways to pages that belong with it.
    progress : callable
        Told how far the drawing is.
    """
    progress("laying the maps", 0.0)
    pictures = PredictionPictures(reading)
    makers = (_seals, _maps, _strips, _gas, _faces, _fasteners, _bores, _doubts, _checks, _setup)
    sections = []
    for place, make in enumerate(makers, start=1):
        progress("drawing the report", place / (len(makers) + 1))
        sections.append(make(reading, pictures))
    sections += [
        Section("assumptions", "Assumptions that change the result", (Notes(reading.assumptions),)),
        Section("provenance", "Settings and provenance", (provenance_table(reading.files.provenance),)),
        prediction_limits_section(),
    ]
    title = f"{reading.files.prediction.name}, on {reading.files.plan.name}"
    return Document(title, "Prediction of a joint", prediction_headline(reading), tuple(sections), links)


def _seals(reading: PredictionReading, _: PredictionPictures) -> Section:
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


def _maps(_: PredictionReading, pictures: PredictionPictures) -> Section:
    worst = pictures.worst()
    blocks = [pictures.map(pictures.settled), *([pictures.map(worst)] if worst is not None else [])]
    return Section("map", "Predicted pressure", tuple(blocks))


def _strips(_: PredictionReading, pictures: PredictionPictures) -> Section:
    drawn = (pictures.polar(), *pictures.strips(), pictures.curves())
    return Section("strips", "Line load along the seals", tuple(one for one in drawn if one is not None))


def _gas(reading: PredictionReading, pictures: PredictionPictures) -> Section:
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


def _faces(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    states = [name for name in reading.bows if "firing" not in name]
    pairs = [bow.fasteners for bow in reading.bows["settled"]]
    by = {name: {bow.fasteners: bow for bow in reading.bows[name]} for name in states}
    head = ("between", *(f"{name}: head, gap [µm]" for name in states))
    rows = tuple((f"{a} and {b}", *(_bow_cell(by[name].get((a, b))) for name in states)) for a, b in pairs)
    caption = (
        "How far the head's face and the gap stand up midway between two fasteners, against beside them. "
        "The largest gap on top."
    )
    heights = Table(head, rows, caption) if rows else Paragraph(_NO_BOW)
    return Section("bow", "Bow of the head", (*pictures.bow(), heights))


_NO_BOW = "Between no two fasteners is the face known closely enough to tell a bow; use smaller elements."


def _bow_cell(bow: Bow | None) -> str:
    if bow is None:
        return NOT_SHOWN
    return f"{1e3 * bow.head:+.0f}, {1e3 * bow.opening:+.0f}"


def _fasteners(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    states = [name for name in reading.states.all if "firing" not in name]
    ranges = reading.tension_range()
    head: tuple[str, ...] = (
        "fastener",
        *(f"{name} [kN]" for name in states),
        "over a cycle [kN]",
        "range of a cycle [kN]",
        "highest over yield [%]",
    )
    limit = reading.files.prediction.fatigue
    if limit is not None:
        head = (*head, "of the limit [%]", "fatigue")
    rows = []
    for k, seat in enumerate(reading.joint.seats):
        low, high = ranges[seat.name]
        row: tuple[str | Cell, ...] = (
            seat.name,
            *(f"{reading.states.all[name].tension[k] / 1e3:.1f}" for name in states),
            f"{low / 1e3:.1f} to {high / 1e3:.1f}",
            f"{(high - low) / 1e3:.2f}",
            _of_yield(reading, seat.name, high),
        )
        if limit is not None:
            state = State.HOLDS if high - low <= limit.load_range else State.GIVES
            row = (*row, f"{100 * (high - low) / limit.load_range:.0f}", Cell(str(state), str(state)))
        rows.append(row)
    return Section(
        "fasteners", "Fasteners", (Table(head, tuple(rows), _fatigue_words(reading)), pictures.diagrams())
    )


def _of_yield(reading: PredictionReading, name: str, tension: float) -> str:
    """Return a tension over the one at which the fastener yields when pulled straight, in per cent."""
    fastener = reading.files.clamp.joint.group_of(name).fastener
    strength = fastener.material.yield_strength
    if strength is None:
        return NOT_SHOWN
    hot = reading.files.prediction.hot
    warm = hot.fasteners if hot is not None else 20.0
    return f"{100 * tension / (fastener.smallest_area * strength.at(warm)):.0f}"


def _fatigue_words(reading: PredictionReading) -> str:
    limit = reading.files.prediction.fatigue
    if not reading.gas.pressures:
        return "No gas is stated, so there is no cycle."
    if limit is None:
        return (
            "Range: what one fastener sees as one cylinder after another fires. No limit is stated, so "
            "fatigue is "
            "not judged; add a fatigue table with a limit from your fastener's maker or a test."
        )
    range_words = f"{limit.load_range / 1e3:.1f} kN ({limit.source})"
    return f"Range: as one cylinder after another fires, against {range_words}."


def _bores(reading: PredictionReading, _: PredictionPictures) -> Section:
    head = (
        "state",
        "bore",
        "depth [mm]",
        *(f"order {order} [µm]" for order in range(9)),
        "out of round [µm]",
    )
    rows = tuple(
        (
            name, shape.bore, f"{shape.depth:g}",
            *(f"{1e3 * value:+.1f}" if order == 0 else f"{1e3 * value:.1f}"
              for order, value in enumerate(shape.amplitude)),
            f"{1e3 * shape.out_of_round:.0f}",
        )
        for name, shapes in reading.shapes.items()
        for shape in shapes
        if "firing" not in name or name.endswith(f", {shape.bore}")
    )  # fmt: skip
    words = (
        "Radial displacement of the cylinder wall against the untightened block, by Fourier order: "
        "0 is growth, 1 a shift, 2 an oval, 4 the print of four fasteners. Out of round: orders 2 "
        "to 8 together, peak to valley at most. A bore honed with a torque plate starts from its "
        "shape under clamp, not from round."
    )
    settled = tuple(row for row in rows if row[0] == "settled" and row[2] == "10")
    tables = (
        Table(head, settled, "Settled, 10 mm below the deck."),
        Table(head, rows, "All states and depths.", folded=True),
    )
    return Section("bores", "Shape of the bores", (Paragraph(words), *tables))


def _doubts(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    names = [one.name for one in next(iter(reading.doubts.values())).variants]
    head = ("seal", *(f"{name}: mean settled, lowest under gas [N/mm]" for name in names))
    rows = tuple(
        (seal, *(f"{one.mean:+.0f}, {one.lowest:+.0f}".replace("-", "−") for one in doubt.variants))
        for seal, doubt in reading.doubts.items()
        if seal in {answer.seal for answer in pictures.bore_answers} or seal == reading.margins[0].seal
    )
    words = (
        "The joint predicted again with each doubt at its end, everything else the same. The intervals "
        "beside the "
        "numbers join these with what the idealised geometry itself may be off."
    )
    return Section("doubts", "How sure, and what moves it", (Paragraph(words), Table(head, rows)))


def _checks(reading: PredictionReading, _: PredictionPictures) -> Section:
    head = ("state", "unbalanced force, largest [1]", "force balance [1]", "moment balance [1]", "lowest "
    "point load [N]",
            "steps", "sound")  # fmt: skip
    rows = tuple(
        (
            name, f"{one.certificate.residual:.1e}", f"{one.certificate.force_error:.1e}",
            f"{one.certificate.moment_error:.1e}", f"{one.certificate.lowest_load:.2g}",
            str(one.certificate.steps), "yes" if one.certificate.sound else "no",
        )
        for name, one in reading.states.all.items()
    )  # fmt: skip
    blocks: list[Block] = [Table(head, rows, "What was checked of every balance after it was found.")]
    if reading.levels:
        levels = tuple((one.seal, percent(one.mean), percent(one.lowest)) for one in reading.levels)
        blocks.append(
            Table(
                ("seal", "mean line load", "lowest line load"),
                levels,
                f"Patches (fast) against every gasket point (the answers here), "
                f"{reading.margins[0].governing.joint_state}.",
                folded=True,
            )
        )
    else:
        blocks.append(
            Paragraph("Solved on patches of the gasket only; without --fast every point is solved too.")
        )
    return Section("checks", "Checks of the calculation", tuple(blocks))


def _setup(reading: PredictionReading, _: PredictionPictures) -> Section:
    joint, files = reading.joint, reading.files
    rows = (
        ("deck plan", files.plan.name),
        ("gasket", f"{files.gasket.name} {files.gasket.revision}".strip()),
        ("fastening", files.fastening.fastening.name),
        ("gas", reading.gas.origin or "none stated"),
        ("elements in plan", f"{joint.grid.pitch:.3g} mm"),
        ("freedoms of head and block", f"{joint.head.freedoms} and {joint.block.freedoms}"),
        ("nodes kept on the sealing plane", str(len(joint.kept_places))),
        ("gasket points and patches", f"{len(joint.laid.places)} and {int(joint.laid.patch.max()) + 1}"),
        ("closure laws", "; ".join(dict.fromkeys(one.origin for one in files.laws.values()))),
        ("note", files.prediction.note),
    )
    return Section("setup", "What was predicted", (Facts(tuple(row for row in rows if row[1])),))

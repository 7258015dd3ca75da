"""What the page of a prediction says of the metal: bow of the head, fasteners, shape of the bores."""

from __future__ import annotations

from firedeck.contact import Bow
from firedeck.report.document import Cell, Paragraph, Section, Table
from firedeck.report.words import NOT_SHOWN
from firedeck.study.prediction.pictures import PredictionPictures
from firedeck.study.prediction.predicting import PredictionReading
from firedeck.verdict import State

__all__ = ["bores_section", "faces_section", "fasteners_section"]


def faces_section(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    """Return how far head and gap bow between the fasteners."""
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


def fasteners_section(reading: PredictionReading, pictures: PredictionPictures) -> Section:
    """Return what every fastener holds, over a cycle and against yield and fatigue."""
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


def bores_section(reading: PredictionReading, _: PredictionPictures) -> Section:
    """Return the shape of every bore by Fourier order."""
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

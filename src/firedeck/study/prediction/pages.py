"""The page of a prediction: which part stands where."""

from __future__ import annotations

from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import (
    Block,
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
from firedeck.report.words import percent
from firedeck.study.prediction.page_metal import bores_section, faces_section, fasteners_section
from firedeck.study.prediction.page_seals import gas_section, seals_section
from firedeck.study.prediction.pictures import PredictionPictures
from firedeck.study.prediction.predicting import PredictionReading
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
    makers = (
        seals_section, _maps, _strips, gas_section, faces_section, fasteners_section, bores_section,
        _doubts, _checks, _setup,
    )  # fmt: skip
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


def _maps(_: PredictionReading, pictures: PredictionPictures) -> Section:
    worst = pictures.worst()
    blocks = [pictures.map(pictures.settled), *([pictures.map(worst)] if worst is not None else [])]
    return Section("map", "Predicted pressure", tuple(blocks))


def _strips(_: PredictionReading, pictures: PredictionPictures) -> Section:
    drawn = (pictures.polar(), *pictures.strips(), pictures.curves())
    return Section("strips", "Line load along the seals", tuple(one for one in drawn if one is not None))


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

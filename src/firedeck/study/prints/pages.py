"""The pages of a reading, a comparison and a calibration: which part stands where."""

from __future__ import annotations

import math

from firedeck.compare import ONE_ASSEMBLY_EACH, SealDifference
from firedeck.film.response import density_of
from firedeck.report.cautions import flag_section, limits_section
from firedeck.report.document import (
    Block,
    Cell,
    Document,
    Headline,
    Link,
    Notes,
    Paragraph,
    Section,
    Table,
)
from firedeck.report.record_tables import (
    balance_facts,
    criteria_tables,
    film_facts,
    provenance_table,
    record_facts,
    registration_table,
    response_facts,
)
from firedeck.report.seal_tables import leak_table, reason_table, seal_share_table, seal_table
from firedeck.report.words import difference, estimate, number
from firedeck.seal.leak import LENGTH_SCALE_MM
from firedeck.study.prints.calibrating import CalibrationResult
from firedeck.study.prints.found_pieces import standings
from firedeck.study.prints.pictures import (
    ReadingPictures,
    calibration_picture,
    comparison_names,
    comparison_pictures,
    leak_marks,
    pieces_picture,
)
from firedeck.study.prints.reading import Comparison, PrintReading
from firedeck.study.progress import Progress, silent
from firedeck.verdict import State

__all__ = ["calibration_page", "comparison_page", "reading_headline", "reading_page"]

#: Pairs of media listed beyond the first path of every seal.
_MOST_PAIRS = 12


def reading_headline(reading: PrintReading) -> Headline:
    """Return the first line of a reading: the verdict, and that the forces do not fit where they do not."""
    verdict = reading.verdict
    open_seals = [judged for judged in verdict.seals if judged.state == verdict.state]
    count = len(open_seals)
    text = f"Verdict: {verdict.state}"
    if verdict.state != State.HOLDS:
        named = ", ".join(judged.seal for judged in open_seals[:4])
        more = f" and {count - 4} more" if count > 4 else ""
        text += f" – {named}{more}"
    lines = []
    if reading.balance is not None and not reading.balance.fits:
        lines.append(reading.balance.text)
    if verdict.state != State.HOLDS:
        lines += [f"{judged.seal}: {judged.governing.text}." for judged in open_seals[:4]]
    return Headline(text, str(verdict.state), tuple(lines))


def reading_page(
    reading: PrintReading, *, links: tuple[Link, ...] = (), progress: Progress = silent
) -> Document:
    """Put the report of one print together.

    Parameters
    ----------
    reading : PrintReading
        The reading.
    links : tuple of Link
        Ways to pages that belong with it.
    progress : callable
        Told how far the drawing is.

    Returns
    -------
    Document
        The page.
    """
    pictures = ReadingPictures(reading)
    files = reading.files
    makers = (_record, _seals, _map, _strips, _leaks, _balance, _film, _registration, _criteria, _assumptions)
    sections = []
    for place, make in enumerate(makers):
        progress("drawing the report", place / len(makers))
        sections.append(make(reading, pictures))
    sections += [_provenance(reading), limits_section(), flag_section()]
    title = f"{files.test.name}, on {files.plan.name}"
    return Document(title, "Reading of one print", reading_headline(reading), tuple(sections), links)


def _record(reading: PrintReading, _: ReadingPictures) -> Section:
    files = reading.files
    return Section("record", "What was tested", (record_facts(files.test, files.plan, files.gasket),))


def _seals(reading: PrintReading, _: ReadingPictures) -> Section:
    blocks = (
        Notes(reading.verdict.remarks),
        seal_table(reading.summaries, reading.verdict),
        seal_share_table(reading.summaries),
        reason_table(reading.verdict),
    )
    return Section("seals", "Seals", blocks)


def _map(_: PrintReading, pictures: ReadingPictures) -> Section:
    return Section("map", "Pressure map", (pictures.map(),))


def _strips(_: PrintReading, pictures: ReadingPictures) -> Section:
    drawn = (*pictures.strips(), pictures.polar(), pictures.curves())
    return Section("strips", "Line load along the seals", tuple(one for one in drawn if one is not None))


def _leaks(reading: PrintReading, pictures: ReadingPictures) -> Section:
    files, leaks = reading.files, pictures.leaks
    factor = files.criteria.contact_factor
    words = (
        "Between two media the path is taken along which the highest contact pressure met is "
        f"lowest. Before the search the map is averaged over {LENGTH_SCALE_MM:g} mm along every "
        "seal and not at all across it. A path opens when the fluid pressure reaches the contact "
        f"pressure over {factor:g}. “As the film felt it” is what the print shows; “in the joint” "
        "undoes the film's spreading of narrow crowns, with its doubt."
    )
    if not leaks:
        return Section(
            "leaks",
            "Leak paths",
            (Paragraph(words), Paragraph("No leak path crosses a seal that the print shows.")),
        )
    first = leak_table(
        files.plan,
        files.criteria,
        leaks,
        marks=leak_marks(leaks),
        caption="The first path of every seal, lowest first.",
    )
    picture = pictures.leak_paths()
    lowest = reading.leaks[:_MOST_PAIRS]
    pairs = leak_table(
        files.plan,
        files.criteria,
        lowest,
        marks=[str(k + 1) for k in range(len(lowest))],
        caption="The pairs of media that open first; “no seal” where none stands between them.",
    )
    blocks: tuple[Block | None, ...] = (Paragraph(words), first, picture, pairs)
    return Section("leaks", "Leak paths", tuple(block for block in blocks if block is not None))


def _balance(reading: PrintReading, _: ReadingPictures) -> Section:
    balance = reading.balance
    if balance is None:
        text = (
            "The record states no preload, so the force on the print was not checked. Add a clamp table "
            "to the test."
        )
        return Section("balance", "Clamp balance", (Paragraph(text),))
    return Section("balance", "Clamp balance", (Paragraph(balance.text), balance_facts(balance)))


def _film(reading: PrintReading, pictures: ReadingPictures) -> Section:
    batch = reading.files.batch
    picture = pictures.response()
    blocks: list[Block] = [film_facts(batch)]
    if batch.response is not None and picture is not None:
        blocks += [picture, response_facts(batch.response)]
    return Section("film", "Film and its calibration", tuple(blocks))


def _registration(reading: PrintReading, _: ReadingPictures) -> Section:
    table = registration_table([(sheet.scan.file, sheet.registration) for sheet in reading.sheets])
    return Section("registration", "How the print lies on the plan", (table,))


def _criteria(reading: PrintReading, _: ReadingPictures) -> Section:
    return Section("criteria", "Measured against", criteria_tables(reading.files.criteria))


def _assumptions(reading: PrintReading, _: ReadingPictures) -> Section:
    notes = reading.notes or ("None beyond what the files state.",)
    return Section("assumptions", "Assumptions and notes", (Notes(notes),))


def _provenance(reading: PrintReading) -> Section:
    return Section("provenance", "Settings and provenance", (provenance_table(reading.map.provenance),))


def comparison_page(comparison: Comparison, *, links: tuple[Link, ...] = ()) -> Document:
    """Put the report of a comparison together."""
    first, second = comparison_names(comparison)
    difference_picture, *overlays = comparison_pictures(comparison)
    shown = [seal for seal in comparison.seals if _is_shown(seal.mean.low, seal.mean.high)]
    text = (
        f"{second} against {first}: the mean line load differs on {len(shown)} of "
        f"{len(comparison.seals)} seals"
    )
    sections = [
        Section("seals", "Seals", (Paragraph(_HOW_TO_READ), _difference_table(comparison))),
        Section("map", "Difference of the maps", (difference_picture,)),
        Section("strips", "Line load, one over the other", tuple(overlays)),
        Section("tests", "The two tests", _tests(comparison)),
        limits_section(),
    ]
    if not overlays:
        del sections[2]
    headline = Headline(text, "", (ONE_ASSEMBLY_EACH, *comparison.notes))
    return Document(f"{second} minus {first}", "Comparison of two prints", headline, tuple(sections), links)


_HOW_TO_READ = (
    "A difference is shown when its interval does not hold zero. Where it does, the answer is that these "
    "two prints "
    "cannot tell, and the smallest difference they could have told stands beside it."
)


def _is_shown(low: float, high: float) -> bool:
    return low > 0 or high < 0


def _difference_table(comparison: Comparison) -> Table:
    first, second = comparison_names(comparison)
    before = {one.name: one for one in comparison.first.summaries}
    after = {one.name: one for one in comparison.second.summaries}
    head = (
        "seal",
        f"mean, {first} [N/mm]",
        f"mean, {second} [N/mm]",
        "difference of the means [N/mm]",
        "mean",
        "difference of the weakest [N/mm]",
        "weakest",
        "smallest difference of means that could be told [N/mm]",
        "sectors that differ",
    )
    rows = tuple(
        (
            seal.name,
            estimate(before[seal.name].mean),
            estimate(after[seal.name].mean),
            difference(seal.mean),
            _shown_cell(seal.mean.low, seal.mean.high),
            difference(seal.weakest),
            _shown_cell(seal.weakest.low, seal.weakest.high),
            _smallest(seal),
            _sectors(seal),
        )
        for seal in comparison.seals
    )
    return Table(head, rows, f"{second} minus {first}. Brackets: 95 % interval.")


def _sectors(seal: SealDifference) -> str:
    return f"{int(seal.shown.sum())} of {len(seal.shown)}"


def _smallest(seal: SealDifference) -> str:
    if not (math.isfinite(seal.mean.low) and math.isfinite(seal.mean.high)):
        return "none: saturated"
    return number(seal.smallest, 2)


def _shown_cell(low: float, high: float) -> Cell:
    if not _is_shown(low, high):
        return Cell("not shown", "not shown")
    return Cell("more" if low > 0 else "less")


def _tests(comparison: Comparison) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for which, reading in (("first", comparison.first), ("second", comparison.second)):
        files = reading.files
        blocks += [
            record_facts(files.test, files.plan, files.gasket),
            Paragraph(f"Verdict: {reading.verdict.state}."),
        ]
        name = f"the {which} print, {files.test.name}"
        blocks.append(provenance_table(reading.map.provenance, name))
    return tuple(blocks)


def calibration_page(result: CalibrationResult) -> Document:
    """Put the page of a film calibration together."""
    batch, response = result.batch, result.batch.response
    assert response is not None
    rows = tuple(
        (
            str(place),
            f"{piece.pressure:g}",
            number(piece.signal[result.channel]),
            number(float(density_of(piece.signal[result.channel]))),
            standing,
        )
        for place, (piece, standing) in enumerate(zip(result.pieces, standings(result), strict=True), start=1)
    )
    pieces = Table(
        (
            "piece",
            "pressure [MPa]",
            "share of light taken away [1]",
            "density above blank [1]",
            "in the curve",
        ),
        rows,
        "Pieces in reading order.",
        folded=True,
    )
    drawn = pieces_picture(result)
    text = (
        f"{batch.name}, lot {batch.lot}: reads from {number(response.pressure[0])} to "
        f"{number(response.pressure[-1])} MPa"
    )
    sections = (
        Section(
            "curve",
            "Response curve",
            (calibration_picture(result), response_facts(response), film_facts(batch)),
        ),
        Section("pieces", "Pieces", (*([drawn] if drawn else []), pieces)),
        Section("assumptions", "Assumptions and notes", (Notes(result.notes or ("None.",)),)),
    )
    return Document(f"Film lot {batch.lot}", "Calibration of a film", Headline(text), sections)

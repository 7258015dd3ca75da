"""The demonstration worked through: prints, comparison, duty, fasteners, and a page to all."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from firedeck.report.document import Document, Headline, Link, Links, Paragraph, Picture, Section
from firedeck.report.render import render_html
from firedeck.study.cache import KeptBodies
from firedeck.study.duty.cases import DutyComparison, compare_duties
from firedeck.study.duty.output import write_duty
from firedeck.study.duty.pages import duty_headline
from firedeck.study.duty.trace import TraceReading
from firedeck.study.fastening.assessment import FasteningReading
from firedeck.study.fastening.output import write_fastening, write_torque_plan
from firedeck.study.fastening.torque import plan_torque
from firedeck.study.prediction.beside import ForeseenSeals, PrintBeside, write_beside
from firedeck.study.prediction.film_print import predict_print
from firedeck.study.prediction.film_print_output import write_print
from firedeck.study.prediction.output import write_prediction
from firedeck.study.prediction.predicting import predict_joint
from firedeck.study.prediction.read_seals import read_seals
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.prints.output import write_calibration, write_comparison, write_reading
from firedeck.study.prints.reading import PrintReading, compare_readings, read_print
from firedeck.study.progress import Progress, silent
from firedeck.verdict import judge_margins

__all__ = ["work_demonstration"]

_PRINTS = ("factory", "candidate")


def work_demonstration(folder: Path, *, progress: Progress = silent) -> tuple[str, ...]:
    """Calibrate, read and compare what the demonstration's files hold, and write all reports.

    Parameters
    ----------
    folder : Path
        Folder with the demonstration's files; reports go into folders of it, and `index.html`.
    progress : callable
        Told how far the work is.

    Returns
    -------
    tuple of str
        First lines of the reports.
    """
    progress("calibrating the film", 0.02)
    write_calibration(calibrate_film(folder / "calibration.toml"), folder / "calibration")
    # What no print is needed for is worked through beside the prints, on a processor of its own.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        beside = pool.submit(_without_prints, folder)
        readings = _prints(folder, progress)
        progress("waiting for cylinder pressures, clamp and predictions", 0.95)
        design = beside.result()
    pairs = [PrintBeside(name, read_seals(readings[name]), design.prints[name]) for name in _PRINTS]
    write_beside(pairs, folder / "beside", links=(_START,))
    page = _index(readings, design, _maps(folder))
    (folder / "index.html").write_text(render_html(page), encoding="utf-8")
    progress("done", 1.0)
    prints = (f"{name}: {_verdict(reading)}" for name, reading in readings.items())
    return (*prints, f"fasteners: {design.clamp}", f"predicted at the power target: {design.predicted}")


@dataclass(frozen=True)
class _Design:
    """First words of the reports that need no print, and what the prints should show."""

    pressure: str
    clamp: str
    predicted: str
    prints: dict[str, ForeseenSeals]


def _without_prints(folder: Path) -> _Design:
    """Write all reports that need no print."""
    duties = _duties(folder)
    fastening = _fasten(folder)
    kept = KeptBodies()
    target = predict_joint(folder / "prediction.toml", check=False, store=kept)
    write_prediction(target, folder / "prediction", links=(_BESIDE, _START))
    pressure = duty_headline(duties.duties[0]).text
    judged = str(judge_margins(target.margins))
    return _Design(pressure, str(fastening.verdict.state), judged, _predict_prints(folder, kept))


def _prints(folder: Path, progress: Progress) -> dict[str, PrintReading]:
    """Read both prints and compare them."""
    readings = {name: _read(folder, name, progress) for name in _PRINTS}
    progress("comparing the prints", 0.9)
    links = [Link(f"the {name} print", f"../{name}-report/report.html") for name in _PRINTS]
    comparison = compare_readings(readings["factory"], readings["candidate"])
    write_comparison(comparison, folder / "comparison", links=[*links, _START])
    return readings


def _fasten(folder: Path) -> FasteningReading:
    """Write the report of the fasteners and the tightening card."""
    plan = plan_torque(folder / "fastening.toml")
    report = Link("fasteners and clamp", "../fasteners/report.html")
    card = Link("torque and tightening card", "../tightening/report.html")
    write_fastening(plan.reading, folder / "fasteners", links=(card, _START))
    write_torque_plan(plan, folder / "tightening", links=(report, _START))
    return plan.reading


def _predict_prints(folder: Path, kept: KeptBodies) -> dict[str, ForeseenSeals]:
    """Predict both prints, and write the report of the candidate's."""
    foreseen = {}
    for name in _PRINTS:
        predicted = predict_print(folder / f"prediction-{name}.toml", store=kept)
        if name == "candidate":
            write_print(predicted, folder / f"{name}-predicted-print", links=(_BESIDE, _START))
        foreseen[name] = ForeseenSeals.of(predicted)
    return foreseen


_BESIDE = Link("predicted and read", "../beside/report.html")
_START = Link("start of the demonstration", "../index.html")


def _read(folder: Path, name: str, progress: Progress) -> PrintReading:
    start = 0.05 + 0.42 * _PRINTS.index(name)

    def part(what: str, share: float) -> None:
        progress(f"{name} print: {what}", start + 0.3 * share)

    reading = read_print(folder / f"{name}-print.toml", progress=part)
    progress(f"{name} print: writing the report", start + 0.3)
    links = (Link("comparison of both prints", "../comparison/report.html"), _START)
    write_reading(reading, folder / f"{name}-report", links=links)
    return reading


def _duties(folder: Path) -> DutyComparison:
    """Write what the duty's three sources say, and the trace's own report."""
    duties = compare_duties([folder / f"duty-{kind}.toml" for kind in ("trace", "model", "rule")])
    write_duty(
        duties, folder / "duty-comparison", links=[Link("the trace", "../trace-report/report.html"), _START]
    )
    links = [Link("all sources side by side", "../duty-comparison/report.html"), _START]
    trace = next(reading for reading in duties.readings if isinstance(reading, TraceReading))
    write_duty(trace, folder / "trace-report", links=links)
    return duties


def _verdict(reading: PrintReading) -> str:
    count = sum(judged.state == reading.verdict.state for judged in reading.verdict.seals)
    return f"{reading.verdict.state} ({count} of {len(reading.verdict.seals)} seals)"


def _ways(readings: dict[str, PrintReading], design: _Design) -> tuple[Link, ...]:
    """Return the ways to all reports."""
    return (
        Link("Calibration of the film", "calibration/report.html", "pieces of known pressure, and the curve"),
        Link(
            "Print of the factory gasket",
            "factory-report/report.html",
            f"verdict: {_verdict(readings['factory'])}",
        ),
        Link(
            "Print of the candidate",
            "candidate-report/report.html",
            f"verdict: {_verdict(readings['candidate'])}",
        ),
        Link("Candidate against factory", "comparison/report.html", "what differs, and what cannot be told"),
        Link("Measured cylinder pressure", "trace-report/report.html", design.pressure),
        Link(
            "Trace, cycle model and rule side by side",
            "duty-comparison/report.html",
            "which to trust, and whether they contradict each other",
        ),
        Link(
            "Fasteners and clamp",
            "fasteners/report.html",
            f"tighter studs for the power target; verdict: {design.clamp}",
        ),
        Link("Torque and rounds", "tightening/report.html", "what torque, and what it leaves in each stud"),
        Link(
            "Candidate predicted at the power target",
            "prediction/report.html",
            f"cold, hot and firing, from generic castings; predicted: {design.predicted}",
        ),
        Link(
            "Prediction beside print",
            "beside/report.html",
            "line load along every combustion seal, predicted and read",
        ),
        Link(
            "Predicted print of the candidate",
            "candidate-predicted-print/report.html",
            "what the film should look like before it is exposed",
        ),
        Link("Tightening card", "tightening/card.html", "one page for the bench, also as PDF beside it"),
    )


def _maps(folder: Path) -> tuple[Picture, ...]:
    """Return the maps of both prints as their reports have them."""
    maps = []
    for name in _PRINTS:
        png = (folder / f"{name}-report" / "map.png").read_bytes()
        words = f"The {name} print as read. Triangles: weakest place of each seal; diamonds: first leaks."
        maps.append(Picture(f"{name}-map", png, words))
    return tuple(maps)


def _index(readings: dict[str, PrintReading], design: _Design, maps: tuple[Picture, ...]) -> Document:
    plan = readings["factory"].files.plan
    ways = _ways(readings, design)
    story = (
        f"{plan.name} is an engine that does not exist. Its deck plan, two gaskets, a film with its "
        "calibration and the scans of two prints were made by a program that knows the true "
        "pressure and shares nothing with the one that reads the prints. One seal of the candidate "
        "is weak at one place; see whether you find it."
    )
    files = (
        "The text files beside this page are what a real test needs: deck.toml, factory.toml and "
        "candidate.toml, film.toml, calibration.toml, criteria.toml, factory-print.toml and "
        "candidate-print.toml; for the cylinder pressure duty-trace.toml, duty-model.toml, "
        "duty-rule.toml and trace-mapping.toml; fastening.toml for the fasteners; prediction.toml, "
        "prediction-factory.toml and prediction-candidate.toml with their closure laws for the "
        "predictions. Change one, such as the preload in a print's clamp table, and read that "
        "print again into another folder with: firedeck film read factory-print.toml --out again"
    )
    sections = (
        Section("reports", "Reports", (Paragraph(story), Links(ways))),
        Section("maps", "Both prints", maps),
        Section("files", "Files", (Paragraph(files),)),
    )
    return Document(
        "Demonstration", "An invented engine", Headline("Two prints, read and compared"), sections
    )

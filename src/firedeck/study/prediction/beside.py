"""A prediction beside the prints that were read: line load along every combustion seal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import seal_line
from firedeck.drawing.beside_picture import BesideSeal, beside_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.evidence import Estimate
from firedeck.report.cautions import prediction_limits_section
from firedeck.report.document import Document, Headline, Link, Notes, Paragraph, Picture, Section, Table
from firedeck.report.words import NOT_SHOWN, estimate, number, percent
from firedeck.study.columns import Columns, columns_of, estimate_columns
from firedeck.study.prediction.film_print import FilmPrint, SealPrint
from firedeck.study.prediction.read_seals import ReadSeal
from firedeck.study.report_folder import write_report

__all__ = ["ForeseenSeals", "PrintBeside", "beside_columns", "beside_page", "write_beside"]

#: A weakest place that the print does not show.
_UNSEEN = Estimate(float("nan"), float("nan"), float("nan"))

_UNITS = {
    **{f"read_{what}_{end}_N_per_mm": "N/mm" for what in ("mean", "lowest") for end in ("low", "high")},
    **{f"{who}_{what}_N_per_mm": "N/mm" for who in ("read", "predicted") for what in ("mean", "lowest")},
    "read_angle_deg": "degree",
    "predicted_angle_deg": "degree",
}


@dataclass(frozen=True)
class ForeseenSeals:
    """What a predicted print says about its seals, its maps left out.

    Attributes
    ----------
    plan : DeckPlan
        The plan with the gasket's seals.
    seals : tuple of SealPrint
        The seals, in the plan's order.
    assumptions : tuple of str
        Assumptions that change the prediction.
    """

    plan: DeckPlan
    seals: tuple[SealPrint, ...]
    assumptions: tuple[str, ...]

    @classmethod
    def of(cls, predicted: FilmPrint) -> ForeseenSeals:
        """Return what a predicted print says about its seals."""
        return cls(predicted.files.plan, predicted.seals, predicted.assumptions)


@dataclass(frozen=True)
class PrintBeside:
    """One print with its prediction.

    Attributes
    ----------
    name : str
        What the print is called [text].
    read : tuple of ReadSeal
        The print's seals as read, in the plan's order.
    predicted : ForeseenSeals
        What its seals were predicted to show, without looking at the print.
    """

    name: str
    read: tuple[ReadSeal, ...]
    predicted: ForeseenSeals

    @property
    def curves(self) -> list[BesideSeal]:
        """What is drawn of the seals that enclose bores only."""
        plan = self.predicted.plan
        return [
            BesideSeal(
                one.seal,
                seal_line(plan, plan.seals[place]),
                self.read[place].loads.at,
                self.read[place].loads,
                one.film.arc,
                one.film.line_load,
            )
            for place, one in self.bore_seals()
        ]

    def bore_seals(self) -> list[tuple[int, SealPrint]]:
        """Return the seals that enclose bores only, with their places in the plan."""
        plan = self.predicted.plan
        bores = {bore.name for bore in plan.bores}
        return [
            (place, one)
            for place, (seal, one) in enumerate(zip(plan.seals, self.predicted.seals, strict=True))
            if set(seal.enclosed) <= bores
        ]


def beside_columns(pairs: Sequence[PrintBeside]) -> Columns:
    """Return one row a print and combustion seal."""
    rows: list[dict[str, object]] = []
    for pair in pairs:
        for place, one in pair.bore_seals():
            read = pair.read[place]
            rows.append(
                {
                    "print": pair.name,
                    "seal": one.seal,
                    **estimate_columns("read_mean", read.mean, "N_per_mm"),
                    "predicted_mean_N_per_mm": one.film.mean,
                    **estimate_columns("read_lowest", read.lowest or _UNSEEN, "N_per_mm"),
                    "predicted_lowest_N_per_mm": one.film.lowest,
                    "read_angle_deg": read.angle,
                    "predicted_angle_deg": one.film.weakest_angle,
                    "correlation": _alike(pair, place, one),
                }
            )
    return columns_of(rows)


def _alike(pair: PrintBeside, place: int, one: SealPrint) -> float:
    """Return how alike the two run along the seal: the correlation of their line loads [1]."""
    read = pair.read[place]
    load = read.loads.line_load
    predicted = np.interp(read.loads.at, one.film.arc, one.film.line_load, period=read.length)
    seen = np.isfinite(load)
    if seen.sum() < 3 or np.ptp(load[seen]) == 0.0 or np.ptp(predicted[seen]) == 0.0:
        return float("nan")
    return float(np.corrcoef(load[seen], predicted[seen])[0, 1])


def beside_page(pairs: Sequence[PrintBeside], *, links: tuple[Link, ...] = ()) -> Document:
    """Put the page of prediction beside print together."""
    plan = pairs[0].predicted.plan
    columns = [(pair.name, pair.curves) for pair in pairs]
    caption = (
        "Line load along every combustion seal: read from the print with its 95 % interval, and predicted "
        "for the "
        "same film, torque and sequence. Hatched: no upper end, the crown is saturated."
    )
    picture = Picture("beside", to_png_bytes(beside_figure(plan, columns)), caption)
    sections = (
        Section("beside", "Predicted and read", (Paragraph(_HOW), picture, _table(pairs))),
        Section(
            "assumptions", "Assumptions that change the prediction", (Notes(pairs[0].predicted.assumptions),)
        ),
        prediction_limits_section(),
    )
    return Document(
        f"Predicted and read, on {plan.name}", "Prediction beside print", _headline(pairs), sections, links
    )


_HOW = (
    "The prediction knows the torque, the friction, the film, the gasket's closure laws and "
    "generic castings, and has not seen the print. Where the two run apart, look first at the "
    "friction and the closure law (both lift or lower a whole seal), then at the castings (they "
    "tilt it between fasteners), and at a single dip in the gasket itself."
)


def _headline(pairs: Sequence[PrintBeside]) -> Headline:
    lines = []
    for pair in pairs:
        found = [one.film.mean / pair.read[place].mean.value - 1.0 for place, one in pair.bore_seals()]
        lines.append(
            f"{pair.name}: mean line loads of the combustion seals predicted {100 * min(found):+.0f} to "
            f"{100 * max(found):+.0f} % against the print".replace("-", "−")
            + (", whose means are lower bounds where it is saturated." if _saturated(pair) else ".")
        )
    return Headline("Prediction beside print", "", tuple(lines))


def _saturated(pair: PrintBeside) -> bool:
    return any(pair.read[place].saturated > 0.0 for place, _ in pair.bore_seals())


def _table(pairs: Sequence[PrintBeside]) -> Table:
    head = ("print", "seal", "mean read [N/mm]", "mean predicted [N/mm]", "predicted against read",
            "lowest read [N/mm]", "lowest predicted [N/mm]", "alike along the seal [1]")  # fmt: skip
    rows = []
    for pair in pairs:
        for place, one in pair.bore_seals():
            read = pair.read[place]
            rows.append(
                (
                    pair.name, one.seal, estimate(read.mean), number(one.film.mean),
                    percent(one.film.mean / read.mean.value - 1.0),
                    f"{estimate(read.lowest)} at {read.angle:.0f}°" if read.lowest else NOT_SHOWN,
                    f"{number(one.film.lowest)} at {one.film.weakest_angle:.0f}°",
                    number(_alike(pair, place, one), 2),
                )
            )  # fmt: skip
    return Table(
        head, tuple(rows), "Alike: correlation of the two line loads round the seal; 1 is the same course."
    )


def write_beside(
    pairs: Sequence[PrintBeside], folder: Path, *, overwrite: bool = False, links: Sequence[Link] = ()
) -> Path:
    """Write the page of predictions beside prints with picture and table; as `write_report`."""
    tables = {"beside": beside_columns(pairs)}

    def page() -> Document:
        return beside_page(pairs, links=tuple(links))

    return write_report(folder, page, tables=tables, units=_UNITS, overwrite=overwrite)

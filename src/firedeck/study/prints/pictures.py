"""The pictures of a reading, a comparison and a calibration."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from matplotlib.figure import Figure

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.leak_picture import DrawnLeak, leak_figure
from firedeck.drawing.map_picture import Mark, difference_figure, map_figure
from firedeck.drawing.picture_file import to_png_and_svg
from firedeck.drawing.pieces_picture import pieces_figure
from firedeck.drawing.polar_picture import polar_figure
from firedeck.drawing.response_picture import response_figure
from firedeck.drawing.strip_picture import SealView, curves_figure, overlay_figure, strip_figure
from firedeck.report.document import Picture
from firedeck.report.seal_tables import first_leaks
from firedeck.seal.leak import LeakPath
from firedeck.study.prints.calibrating import CalibrationResult
from firedeck.study.prints.found_pieces import piece_marks
from firedeck.study.prints.reading import Comparison, PrintReading
from firedeck.verdict import State

__all__ = ["ReadingPictures", "calibration_picture", "comparison_pictures", "leak_marks", "pieces_picture"]

#: Leak paths drawn from end to end; of the others only the place that decides is marked.
_DRAWN_PATHS = 6

_FASTENERS = "⌀ marks the nearest place to a fastener."


def leak_marks(leaks: Sequence[LeakPath]) -> list[str]:
    """Return the numbers that leak paths carry in tables and pictures."""
    return [f"L{place}" for place in range(1, len(leaks) + 1)]


class ReadingPictures:
    """Pictures of one reading, each drawn when asked for.

    Parameters
    ----------
    reading : PrintReading
        The reading.
    """

    def __init__(self, reading: PrintReading) -> None:
        self.reading = reading
        self.plan = reading.files.plan
        self.views = seal_views(reading)
        self.leaks = first_leaks(self.plan, reading.leaks)

    @property
    def bore_views(self) -> list[SealView]:
        """The seals that enclose bores only."""
        return [view for view in self.views if is_bore_seal(self.plan, view)]

    @property
    def other_views(self) -> list[SealView]:
        """All other seals."""
        return [view for view in self.views if not is_bore_seal(self.plan, view)]

    def map(self) -> Picture:
        """Draw the pressure map with the weakest place of every seal and the crossings that open first."""
        reading = self.reading
        failing = {judged.seal for judged in reading.verdict.seals if judged.state != State.HOLDS}
        weakest = [
            Mark(str(place), one.weakest.point, one.name in failing)
            for place, one in enumerate(reading.summaries, start=1)
            if one.weakest is not None
        ]
        crossings = [
            Mark(mark, path.point) for mark, path in zip(leak_marks(self.leaks), self.leaks, strict=True)
        ][:_DRAWN_PATHS]
        figure = map_figure(
            self.plan, reading.map, weakest=weakest, crossings=crossings, title=reading.files.test.name
        )
        return _picture(
            "map",
            figure,
            "Contact pressure over the deck plan. Triangles: weakest place of each seal, numbered "
            "as in the table of seals, orange where the seal does not hold. Diamonds: the leak "
            "paths that open first, numbered as in the table of leak paths.",
        )

    def strips(self) -> Iterator[Picture]:
        """Draw the strip of every bore seal."""
        for view in self.bore_views:
            figure = strip_figure(self.plan, self.reading.map, view)
            yield _picture(
                f"strip {view.profile.name}",
                figure,
                f"{view.profile.name} unrolled. Above: the print along and across the seal. Below: "
                "line load with its 95 % band; hatched where the crown is saturated and the load "
                f"may be any amount more. {_FASTENERS}",
            )

    def polar(self) -> Picture | None:
        """Draw the line load round the bores."""
        if not any(view.profile.strip.line.is_round for view in self.bore_views):
            return None
        return _picture(
            "polar",
            polar_figure(self.plan, self.bore_views),
            "Line load [N/mm] round the bores as seen from the head, with 95 % band; broken "
            f"circle: least line load asked for; orange arcs: saturated. {_FASTENERS}",
        )

    def curves(self) -> Picture | None:
        """Draw the line load of all other seals."""
        if not self.other_views:
            return None
        return _picture(
            "curves",
            curves_figure(self.plan, self.other_views),
            "Line load [N/mm] of the other seals along their length or round their angle, with 95 % band; "
            "triangle: weakest place; broken line: least line load asked for; dotted: nearest to a fastener.",
        )

    def leak_paths(self) -> Picture | None:
        """Draw the leak paths."""
        if not self.leaks:
            return None
        failing = {judged.seal for judged in self.reading.verdict.seals if judged.state == State.GIVES}
        drawn = [
            DrawnLeak(
                Mark(mark, path.point, path.seal in failing),
                self.reading.leak_trace(path) if place < _DRAWN_PATHS else np.zeros((0, 2)),
            )
            for place, (mark, path) in enumerate(zip(leak_marks(self.leaks), self.leaks, strict=True))
        ]
        figure = leak_figure(self.plan, self.reading.map, drawn, title="Leak paths that open first")
        return _picture(
            "leaks", figure, "The leak path of each seal that opens first, numbered as in the table."
        )

    def response(self) -> Picture | None:
        """Draw the response curve of the film."""
        batch = self.reading.files.batch
        if batch.response is None:
            return None
        figure = response_figure(batch, batch.response)
        return _picture("response", figure, "Response curve of the film, with the 95 % band of the pressure.")


def _picture(name: str, figure: Figure, caption: str) -> Picture:
    png, svg = to_png_and_svg(figure)
    return Picture(name.replace(" ", "-"), png, caption, svg)


def seal_views(reading: PrintReading) -> list[SealView]:
    """Return the seals of a reading as they are drawn."""
    rules = {one.kind: reading.files.criteria.seal_rule(one.kind) for one in reading.summaries}
    least = {kind: rule.line_load_min if rule else None for kind, rule in rules.items()}
    return [
        SealView(profile, summary, least[summary.kind])
        for profile, summary in zip(reading.profiles, reading.summaries, strict=True)
    ]


def is_bore_seal(plan: DeckPlan, view: SealView) -> bool:
    """Tell whether a seal encloses bores and nothing else."""
    return set(view.profile.strip.seal.enclosed) <= {bore.name for bore in plan.bores}


def comparison_pictures(comparison: Comparison) -> tuple[Picture, ...]:
    """Draw the difference map and the overlaid curves of every seal that both prints have."""
    first, second = comparison.first, comparison.second
    names = comparison_names(comparison)
    plan = second.files.plan
    figure = difference_figure(
        plan, comparison.difference, first=names[0], second=names[1], title="Difference of the maps"
    )
    pictures = [
        _picture(
            "difference",
            figure,
            f"{names[1]} minus {names[0]}, on the seals of {names[1]}. A line that has "
            "moved shows as a pair of stripes of opposite sign.",
        )
    ]
    others = {view.profile.name: view for view in seal_views(second)}
    own = {view.profile.name: view for view in seal_views(first)}
    for seal in comparison.seals:
        if not is_bore_seal(plan, own[seal.name]):
            continue
        figure = overlay_figure(own[seal.name], others[seal.name], seal, names=names)
        pictures.append(
            _picture(
                f"overlay {seal.name}",
                figure,
                f"{seal.name}: line load of both prints with 95 % bands, and their difference "
                "sector by sector; dotted where saturation leaves the difference without an end.",
            )
        )
    return tuple(pictures)


def comparison_names(comparison: Comparison) -> tuple[str, str]:
    """Return what to call the two prints: by gasket, or by test where the gaskets' names do not differ."""
    gaskets = comparison.first.files.gasket.name, comparison.second.files.gasket.name
    tests = comparison.first.files.test.name, comparison.second.files.test.name
    return gaskets if gaskets[0] != gaskets[1] else tests


def calibration_picture(result: CalibrationResult) -> Picture:
    """Draw the calibration pieces with the response curve."""
    assert result.batch.response is not None
    figure = response_figure(result.batch, result.batch.response, result.pieces, result.channel)
    return _picture(
        "response",
        figure,
        "Calibration pieces and response curve, with the 95 % band of the pressure. Left: density; "
        "right: the share of light that the dye takes away, which is what adds up over areas.",
    )


def pieces_picture(result: CalibrationResult) -> Picture | None:
    """Draw the calibration scan with the pieces found on it; None where the curve comes from a table."""
    if result.picture is None:
        return None
    marks = piece_marks(result.found, [piece.pressure for piece in result.pieces])
    return _picture(
        "pieces",
        pieces_figure(result.picture, marks),
        "The scan with its pieces in reading order, each with the level that it was taken for. Letters, with "
        "a broken edge: not taken for a piece.",
    )

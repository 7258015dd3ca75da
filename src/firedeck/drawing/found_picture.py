"""What was found on a scan that could not be laid onto the plan."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import opening_polygon
from firedeck.drawing.scan_ground import scan_ground
from firedeck.drawing.style import FAULT_COLOUR, SERIES, styled
from firedeck.film.constellation import Candidate
from firedeck.film.picture import ScanPicture
from firedeck.film.sheet import SheetFinding
from firedeck.pressure_map import FloatArray

__all__ = ["found_figure"]


@styled
def found_figure(
    plan: DeckPlan, picture: ScanPicture, sheet: SheetFinding, candidate: Candidate | None, *, message: str
) -> Figure:
    """Draw the scan with the sheet's edge and holes as found, and the plan's openings as they came nearest.

    Parameters
    ----------
    plan : DeckPlan
        The plan that does not fit.
    picture : ScanPicture
        The scan.
    sheet : SheetFinding
        Edge and holes.
    candidate : Candidate or None
        The pose that came nearest.
    message : str
        Why it was refused.

    Returns
    -------
    Figure
        The picture, upright as scanned.
    """
    figure, axes = scan_ground(picture, [message], extra=1.1)
    axes.add_patch(
        Polygon(
            sheet.outline,
            closed=True,
            fill=False,
            edgecolor=SERIES[0],
            linewidth=1.6,
            label=f"edge of the sheet, on {sheet.backing} backing",
        )
    )
    for number, hole in enumerate(sheet.holes):
        axes.add_patch(
            Circle(
                hole.centre,
                hole.radius,
                fill=False,
                edgecolor=SERIES[2],
                linewidth=1.4,
                label="" if number else f"holes found: {len(sheet.holes)}",
            )
        )
    if candidate is not None:
        _draw_plan(axes, plan, candidate.fit.matrix, candidate.matched)
    axes.set_xlabel("scan x [mm]")
    axes.set_ylabel("scan y, downwards [mm]")
    axes.set_title(f"{picture.name}: found on the scan")
    high = axes.get_position().height * figure.get_figheight()
    axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.42 / high), ncols=2, borderaxespad=0.0)
    return figure


def _draw_plan(axes: Axes, plan: DeckPlan, matrix: FloatArray, matched: int) -> None:
    for number, opening in enumerate(plan.openings):
        edge = np.asarray(opening_polygon(plan, opening.name).exterior.coords)
        places = np.linalg.solve(matrix[:, :2], (edge - matrix[:, 2]).T).T
        label = "" if number else f"the plan as it came nearest, {matched} holes fit"
        axes.add_patch(
            Polygon(
                places,
                closed=True,
                fill=False,
                edgecolor=FAULT_COLOUR,
                linewidth=0.9,
                linestyle=(0, (3, 2)),
                label=label,
            )
        )

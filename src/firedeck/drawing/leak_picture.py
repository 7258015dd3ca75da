"""Leak paths drawn over a pale map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.map_picture import Mark, draw_marks, finish_ground, map_ground
from firedeck.drawing.plan_lines import line_points
from firedeck.drawing.style import FAULT_COLOUR, INK, styled
from firedeck.pressure_map import FloatArray, PressureMap

__all__ = ["DrawnLeak", "leak_figure"]


@dataclass(frozen=True)
class DrawnLeak:
    """A leak path as drawn.

    Attributes
    ----------
    mark : Mark
        Its decisive place, numbered as in the table; urgent where it opens too early.
    path : ndarray, shape (n, 2)
        Points from one medium to the other [mm]; empty where only the place is drawn.
    """

    mark: Mark
    path: FloatArray


@styled
def leak_figure(
    plan: DeckPlan, pressure_map: PressureMap, leaks: Sequence[DrawnLeak], *, title: str = ""
) -> Figure:
    """Draw leak paths over the plan, each with its number where it crosses the seal.

    Parameters
    ----------
    plan : DeckPlan
        The plan.
    pressure_map : PressureMap
        Map for the ground, drawn pale.
    leaks : sequence of DrawnLeak
        The paths.
    title : str
        Title of the picture.

    Returns
    -------
    Figure
        The picture.
    """
    figure, axes, scale = map_ground(plan, pressure_map, title=title, entries=4)
    for leak in leaks:
        colour = FAULT_COLOUR if leak.mark.urgent else INK
        if not len(leak.path):
            continue
        axes.plot(*leak.path.T, color="white", linewidth=2.8, zorder=6, solid_capstyle="round")
        axes.plot(*leak.path.T, color=colour, linewidth=1.4, zorder=7, solid_capstyle="round")
    draw_marks(axes, [([leak.mark for leak in leaks], "D")], scale, line_points(plan))
    legend = [
        Line2D([], [], color=colour, linewidth=1.4, marker="D", markersize=4.5, label=words)
        for colour, words in (
            (INK, "leak path, with the place that decides"),
            (FAULT_COLOUR, "leak path of a seal that does not hold"),
        )
        if colour == INK or any(leak.mark.urgent for leak in leaks)
    ]
    finish_ground(
        figure,
        axes,
        legend,
        "Each path is the easiest way between two media: the highest contact pressure on it is the lowest.\n"
        "Paths are drawn for those that open first; of the others only the place that decides is marked.",
    )
    return figure

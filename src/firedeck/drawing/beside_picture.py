"""Line load along seals, predicted and read, side by side for several prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import SealLine
from firedeck.drawing.curve_marks import (
    DrawnLoads,
    closed,
    draw_curve,
    draw_saturated,
    load_top,
    near_fasteners,
)
from firedeck.drawing.map_cells import SATURATED_COLOUR
from firedeck.drawing.style import FULL_WIDTH, MUTED, SERIES, styled
from firedeck.pressure_map import FloatArray

__all__ = ["BesideSeal", "beside_figure"]


@dataclass(frozen=True)
class BesideSeal:
    """One seal of one print.

    Attributes
    ----------
    name : str
        The seal [text].
    line : SealLine
        Its line.
    read_at : ndarray, shape (k,)
        Arc length of the places read [mm].
    read : DrawnLoads
        Line load there, as the print was read.
    at : ndarray, shape (n,)
        Arc length of the predicted points [mm].
    predicted : ndarray, shape (n,)
        Line load predicted there [N/mm].
    """

    name: str
    line: SealLine
    read_at: FloatArray
    read: DrawnLoads
    at: FloatArray
    predicted: FloatArray


@styled
def beside_figure(plan: DeckPlan, columns: Sequence[tuple[str, Sequence[BesideSeal]]]) -> Figure:
    """Draw a column of panels for every print, a panel for every seal.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners.
    columns : sequence of (str, sequence of BesideSeal)
        Name of each print and its seals.
    """
    rows = max(len(seals) for _, seals in columns)
    figure = Figure(figsize=(FULL_WIDTH, 1.45 * rows + 0.7), layout="constrained")
    panels = figure.subplots(rows, len(columns), squeeze=False, sharey=True)
    top = max(_top(one) for _, seals in columns for one in seals)
    for column, (name, seals) in enumerate(columns):
        for row, one in enumerate(seals):
            axes = panels[row, column]
            _panel(axes, plan, one, top)
            axes.set_title(f"{name}, {one.name}", fontsize=7)
        for axes in panels[len(seals) :, column]:
            axes.set_visible(False)
        panels[len(seals) - 1, column].set_xlabel(
            "angle [degree] or arc length [mm]", fontsize=6.5, labelpad=1
        )
    figure.supylabel("line load [N/mm]", fontsize=7)
    figure.legend(handles=_legend(), loc="outside lower center", ncols=5)
    return figure


def _top(one: BesideSeal) -> float:
    return max(load_top([one.read], 0.0), 1.08 * float(one.predicted.max()))


def _panel(axes: Axes, plan: DeckPlan, one: BesideSeal, top: float) -> None:
    span = 360.0 if one.line.is_round else one.line.length
    scale = span / one.line.length
    axes.set_xlim(0, span)
    axes.set_ylim(0, top)
    axes.grid(axis="y")
    if one.line.is_round:
        axes.set_xticks([0, 90, 180, 270, 360])
    for fastener in near_fasteners(plan, one.line):
        axes.axvline(fastener.at * scale, color=MUTED, linewidth=0.4, linestyle=(0, (2, 2)))
    at = one.read_at * scale
    draw_curve(axes, at, one.read, span, top)
    draw_saturated(axes, at, one.read, span / len(at))
    where, load = closed(one.at * scale, span, one.predicted)
    axes.plot(where, load, color=SERIES[1], linestyle=(0, (5, 1.5)), linewidth=1.4)
    axes.tick_params(labelsize=6, length=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _legend() -> list[Line2D | Patch]:
    return [
        Line2D([], [], color=SERIES[0], label="read from the print"),
        Patch(facecolor=SERIES[0], alpha=0.22, label="its 95 % interval"),
        Line2D([], [], color=SERIES[1], linestyle=(0, (5, 1.5)), label="predicted for the print"),
        Line2D([], [], color=SATURATED_COLOUR, linewidth=4.0, label="saturated"),
        Line2D([], [], color=MUTED, linewidth=0.6, linestyle=(0, (2, 2)), label="fastener"),
    ]

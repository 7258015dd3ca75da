"""Polar axes round bores, one bore a pane, all to one scale: what pictures of prints and of states share."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.curve_marks import near_fasteners
from firedeck.drawing.style import FULL_WIDTH, INK, THRESHOLD_LINE
from firedeck.seal.profile import SealProfile

__all__ = ["dress_round", "polar_panes"]

_MOST_ACROSS = 4


def polar_panes(
    count: int, *, title_height: float = 0.3, foot: float = 0.0
) -> tuple[Figure, Iterator[PolarAxes]]:
    """Return a figure of page width with `count` polar panes in rows.

    Parameters
    ----------
    count : int
        Number of panes.
    title_height : float
        Height of a pane's title [inch].
    foot : float
        Height left below for a legend [inch].
    """
    across = max(2, min(_MOST_ACROSS, count))
    rows = max(1, -(-count // across))
    height = (FULL_WIDTH / across + title_height) * rows + foot
    figure = Figure(figsize=(FULL_WIDTH, height), layout="constrained")
    return figure, _panes(figure, rows, across, count)


def _panes(figure: Figure, rows: int, across: int, count: int) -> Iterator[PolarAxes]:
    for number in range(1, count + 1):
        axes = figure.add_subplot(rows, across, number, projection="polar")
        assert isinstance(axes, PolarAxes)
        yield axes


def dress_round(
    axes: PolarAxes, plan: DeckPlan, profile: SealProfile, top: float, least: float | None
) -> None:
    """Give a pane its scale, title, threshold and the fasteners' directions.

    Parameters
    ----------
    axes : PolarAxes
        The pane, its curves drawn.
    plan : DeckPlan
        Plan, for the fasteners.
    profile : SealProfile
        The seal.
    top : float
        End of the scale [N/mm].
    least : float or None
        Line load that is asked for [N/mm].
    """
    if least:
        axes.plot(np.linspace(0, 2 * np.pi, 181), np.full(181, least), **THRESHOLD_LINE)
    axes.set_ylim(0, top)
    axes.set_title(profile.name, loc="center", pad=10)
    axes.tick_params(labelsize=5.5, pad=-1)
    axes.set_rlabel_position(22.5)
    axes.set_rticks(_ticks(top))
    for label in axes.get_yticklabels():
        label.set_bbox({"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3})
    axes.set_xticks(np.radians([0, 90, 180, 270]), ["0°", "90°", "180°", "270°"])
    for fastener in near_fasteners(plan, profile.strip.line):
        angle = np.radians(fastener.angle)
        axes.plot([angle, angle], [0.88 * top, top], color=INK, linewidth=1.0)
        axes.text(angle, 1.1 * top, f"⌀{fastener.name}", size=6, ha="center", va="center")


def _ticks(top: float) -> list[float]:
    """Return two or three round values below the top of the axis."""
    power = 10.0 ** np.floor(np.log10(top))
    step = next(step * power for step in (0.2, 0.5, 1.0, 2.0, 5.0) if top / (step * power) < 4.0)
    return [float(value) for value in np.arange(step, 0.95 * top, step)]

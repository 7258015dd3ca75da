"""Line load round the bores, as seen from the head."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.curve_marks import closed, load_top, near_fasteners, runs
from firedeck.drawing.map_cells import SATURATED_COLOUR
from firedeck.drawing.strip_picture import SealView
from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, INK, SERIES, THRESHOLD_LINE, styled

__all__ = ["polar_figure"]

_MOST_ACROSS = 4


@styled
def polar_figure(plan: DeckPlan, views: Sequence[SealView]) -> Figure:
    """Draw the line load of round seals against the angle, all to one scale.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners' directions.
    views : sequence of SealView
        The seals; those that are not circles are passed over.

    Returns
    -------
    Figure
        The picture.
    """
    round_views = [view for view in views if view.profile.strip.line.is_round]
    across = max(1, min(_MOST_ACROSS, len(round_views)))
    rows = max(1, -(-len(round_views) // across))
    side = FULL_WIDTH / max(across, 2)
    figure = Figure(figsize=(FULL_WIDTH, (side + 0.3) * rows), layout="constrained")
    top = load_top(
        [view.profile.sliding for view in round_views], max((v.least or 0.0 for v in round_views), default=0)
    )
    for number, view in enumerate(round_views, start=1):
        axes = figure.add_subplot(rows, max(across, 2), number, projection="polar")
        assert isinstance(axes, PolarAxes)
        _draw(axes, plan, view, top)
    return figure


def _draw(axes: PolarAxes, plan: DeckPlan, view: SealView, top: float) -> None:
    profile, table = view.profile, view.profile.sliding
    turn = 2 * np.pi / profile.length
    at, load, low, high = closed(table.at * turn, 2 * np.pi, table.line_load, table.low, table.high)
    open_ended = np.isinf(high)
    axes.fill_between(
        at, np.maximum(low, 0), np.where(open_ended, top, high), color=SERIES[0], alpha=0.2, linewidth=0
    )
    axes.plot(at, load, color=SERIES[0], linewidth=1.2)
    if view.least is not None:
        axes.plot(np.linspace(0, 2 * np.pi, 181), np.full(181, view.least), **THRESHOLD_LINE)
    for begin, end in runs(table.has("saturated")):
        axes.plot(at[begin:end], np.full(end - begin, 0.97 * top), color=SATURATED_COLOUR, linewidth=3)
    weakest = view.summary.weakest
    if weakest is not None:
        axes.plot(
            weakest.at * turn,
            weakest.line_load.value,
            marker="v",
            color=FAULT_COLOUR,
            markersize=6,
            markeredgecolor="white",
            zorder=7,
        )
    axes.set_ylim(0, top)
    axes.set_title(profile.name, loc="center", pad=10)
    axes.tick_params(labelsize=5.5, pad=-1)
    axes.set_rlabel_position(22.5)
    axes.set_rticks(_ticks(top))
    for label in axes.get_yticklabels():
        label.set_bbox({"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3})
    axes.set_xticks(np.radians([0, 90, 180, 270]), ["0°", "90°", "180°", "270°"])
    for fastener in near_fasteners(plan, profile):
        angle = np.radians(fastener.angle)
        axes.plot([angle, angle], [0.88 * top, top], color=INK, linewidth=1.0)
        axes.text(angle, 1.1 * top, f"⌀{fastener.name}", size=6, ha="center", va="center")


def _ticks(top: float) -> list[float]:
    """Return two or three round values below the top of the axis."""
    power = 10.0 ** np.floor(np.log10(top))
    step = next(step * power for step in (0.2, 0.5, 1.0, 2.0, 5.0) if top / (step * power) < 4.0)
    return [float(value) for value in np.arange(step, 0.95 * top, step)]

"""Line load round the bores, as seen from the head."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.curve_marks import closed, load_top, runs
from firedeck.drawing.map_cells import SATURATED_COLOUR
from firedeck.drawing.polar_axes import dress_round, polar_panes
from firedeck.drawing.strip_picture import SealView
from firedeck.drawing.style import FAULT_COLOUR, SERIES, styled

__all__ = ["polar_figure"]


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
    figure, panes = polar_panes(len(round_views))
    top = load_top(
        [view.profile.sliding for view in round_views], max((v.least or 0.0 for v in round_views), default=0)
    )
    for view, axes in zip(round_views, panes, strict=True):
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
    dress_round(axes, plan, profile, top, view.least)

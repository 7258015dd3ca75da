"""The order in which fasteners are tightened, drawn on the deck plan."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.plan_lines import draw_openings, draw_outline, frame_plan
from firedeck.drawing.plan_picture import draw_frame_notes
from firedeck.drawing.style import FULL_WIDTH, INK, styled

__all__ = ["order_figure"]

#: Shapes behind the numbers, one for each group of fasteners.
_SHAPES = ("o", "s", "D", "h")

_ARROW = "#9aa5b0"

#: Room about the deck over its greater side [1], tallest picture, and room for notes [inch].
_MARGIN_SHARE, _TALLEST, _ABOVE, _BELOW = 0.02, 6.0, 0.26, 0.4


@styled
def order_figure(
    plan: DeckPlan, sequence: Sequence[str], groups: Mapping[str, int], *, title: str = ""
) -> Figure:
    """Draw the order of tightening.

    Parameters
    ----------
    plan : DeckPlan
        The plan.
    sequence : sequence of str
        Fastener holes in order.
    groups : mapping of str to int
        Which group each fastener belongs to, counted from 0; groups differ in the number's outline.
    title : str
        Title; empty where it stands beside the picture.

    Returns
    -------
    Figure
        The picture: numbers at the fasteners, joined in order.
    """
    figure, axes = _bare_axes(plan)
    axes.set_title(title)
    draw_outline(axes, plan, fill="#fbfaf6")
    draw_openings(axes, plan)
    centres = {hole.name: np.asarray(hole.centre) for hole in plan.fastener_holes}
    for before, after in itertools.pairwise(sequence):
        _draw_arrow(axes, centres[before], centres[after])
    size = _disc_size(plan, axes)
    for number, name in enumerate(sequence, start=1):
        _draw_number(axes, centres[name], number, groups.get(name, 0), size)
    _mark_origin(axes)
    draw_frame_notes(figure, axes)
    return figure


def _bare_axes(plan: DeckPlan) -> tuple[Figure, Axes]:
    """Return axes as wide as the page, without frame and ticks, with room for the notes."""
    spans = np.ptp(np.asarray(plan.outline), axis=0)
    margin = _MARGIN_SHARE * float(spans.max())
    width_mm, height_mm = spans + 2 * margin
    height = min(FULL_WIDTH * float(height_mm / width_mm), _TALLEST)
    total = height + _ABOVE + _BELOW
    figure = Figure(figsize=(FULL_WIDTH, total))
    axes = figure.add_axes((0.0, _BELOW / total, 1.0, height / total))
    frame_plan(axes, plan, margin)
    axes.set_axis_off()
    return figure, axes


def _mark_origin(axes: Axes) -> None:
    """Mark the plan's origin where it is in sight."""
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    if west <= 0.0 <= east and south <= 0.0 <= north:
        axes.plot(0.0, 0.0, marker="+", color=INK, markersize=7, markeredgewidth=0.9, zorder=6)
        axes.annotate("0, 0", (0.0, 0.0), (4, -3), textcoords="offset points", size=6, ha="left", va="top")


def _draw_arrow(axes: Axes, start: np.ndarray, end: np.ndarray) -> None:
    axes.annotate(
        "",
        tuple(end),
        tuple(start),
        arrowprops={
            "arrowstyle": "-|>,head_width=0.22,head_length=0.45",
            "color": _ARROW,
            "linewidth": 0.7,
            "shrinkA": 9,
            "shrinkB": 9,
            "connectionstyle": "arc3,rad=0.06",
        },
        zorder=6,
    )


def _disc_size(plan: DeckPlan, axes: Axes) -> float:
    """Return the size of the numbers' discs [pt]: over the holes' cross hairs, and large enough to read."""
    west, east = axes.get_xlim()
    per_mm = 72.0 * FULL_WIDTH / (east - west)
    widest = max(hole.diameter for hole in plan.fastener_holes)
    return float(np.clip(1.5 * widest * per_mm, 15.0, 26.0))


def _draw_number(axes: Axes, at: np.ndarray, number: int, group: int, size: float) -> None:
    x, y = float(at[0]), float(at[1])
    axes.plot(
        x,
        y,
        marker=_SHAPES[group % len(_SHAPES)],
        markersize=size,
        color=INK,
        markeredgecolor="white",
        markeredgewidth=0.9,
        zorder=7,
    )
    axes.text(
        x,
        y,
        str(number),
        size=0.55 * size,
        weight="bold",
        color="white",
        ha="center",
        va="center_baseline",
        zorder=8,
    )

"""The order in which fasteners are tightened, drawn on the deck plan."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.plan_lines import draw_openings, draw_outline
from firedeck.drawing.plan_picture import draw_frame_notes, plan_axes
from firedeck.drawing.style import INK, styled

__all__ = ["order_figure"]

#: Shapes behind the numbers, one for each group of fasteners.
_SHAPES = ("o", "s", "D", "h")

_ARROW = "#9aa5b0"


@styled
def order_figure(plan: DeckPlan, sequence: Sequence[str], groups: Mapping[str, int], *, title: str) -> Figure:
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
        Title.

    Returns
    -------
    Figure
        The picture: numbers at the fasteners, joined in order.
    """
    figure, axes, _ = plan_axes(plan, extra=0.12)
    axes.set_title(title)
    draw_outline(axes, plan, fill="#fbfaf6")
    draw_openings(axes, plan)
    centres = {hole.name: np.asarray(hole.centre) for hole in plan.fastener_holes}
    for before, after in itertools.pairwise(sequence):
        _draw_arrow(axes, centres[before], centres[after])
    for number, name in enumerate(sequence, start=1):
        _draw_number(axes, centres[name], number, groups.get(name, 0))
    axes.set_xlabel("")
    axes.set_ylabel("")
    axes.tick_params(left=False, bottom=False, labelleft=False, labelbottom=False)
    draw_frame_notes(figure, axes)
    return figure


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


def _draw_number(axes: Axes, at: np.ndarray, number: int, group: int) -> None:
    x, y = float(at[0]), float(at[1])
    axes.plot(
        x,
        y,
        marker=_SHAPES[group % len(_SHAPES)],
        markersize=17,
        color=INK,
        markeredgecolor="white",
        markeredgewidth=0.9,
        zorder=7,
    )
    axes.text(
        x, y, str(number), size=10, weight="bold", color="white", ha="center", va="center_baseline", zorder=8
    )

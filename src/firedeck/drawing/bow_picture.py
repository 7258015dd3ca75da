"""How far a face stands up or the gap opens, as a surface over the deck plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.path import Path as Outline
from matplotlib.ticker import MaxNLocator
from matplotlib.tri import Triangulation

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.map_picture import dress_plan
from firedeck.drawing.plan_lines import draw_seals
from firedeck.drawing.plan_picture import draw_frame_notes, plan_axes
from firedeck.drawing.style import DIFFERENCE_MAP, INK, styled
from firedeck.pressure_map import FloatArray

__all__ = ["BowMark", "surface_figure"]

_ROOM = 0.85
_LEVELS = 16


@dataclass(frozen=True)
class BowMark:
    """A height written at a place.

    Attributes
    ----------
    at : tuple of float
        Place [mm].
    text : str
        What is written there.
    """

    at: tuple[float, float]
    text: str


@styled
def surface_figure(
    plan: DeckPlan,
    place: FloatArray,
    height: FloatArray,
    *,
    label: str,
    title: str,
    marks: Sequence[BowMark] = (),
) -> Figure:
    """Draw a surface over the plan in micrometres.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    place : ndarray, shape (n, 2)
        Places where the height is known [mm].
    height : ndarray, shape (n,)
        Height there [mm].
    label : str
        What the scale shows, with its unit.
    title : str
        Title.
    marks : sequence of BowMark
        Heights written at places.
    """
    figure, axes, _ = plan_axes(plan, extra=0.12, right=_ROOM)
    axes.set_title(title)
    micro = 1e3 * height
    low, high = np.quantile(micro, (0.005, 0.995))
    norm = _scale(float(low), float(high))
    levels = MaxNLocator(_LEVELS, symmetric=True).tick_values(norm.vmin or 0.0, norm.vmax or 1.0)
    triangles = Triangulation(place[:, 0], place[:, 1])
    axes.tricontourf(triangles, micro, levels=levels, cmap=DIFFERENCE_MAP, norm=norm, extend="both", zorder=0)
    lines = axes.tricontour(triangles, micro, levels=levels[::2], colors=INK, linewidths=0.35, zorder=1)
    axes.clabel(lines, fontsize=5.5, fmt="%.0f")
    dress_plan(axes, plan)
    _clip(axes, plan)
    draw_seals(axes, plan, faint=True)
    for mark in marks:
        axes.text(
            *mark.at, mark.text, size=6.2, weight="bold", ha="center", va="center", zorder=9,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
        )  # fmt: skip
    draw_frame_notes(figure, axes)
    box = axes.get_position()
    width = figure.get_size_inches()[0]
    room = figure.add_axes((box.x1 + 0.1 / width, box.y0, 0.13 / width, box.height))
    bar = figure.colorbar(ScalarMappable(norm, DIFFERENCE_MAP), cax=room)
    bar.set_label(label, labelpad=2)
    bar.ax.tick_params(length=2)
    bar.outline.set_linewidth(0.5)
    return figure


def _scale(low: float, high: float) -> Normalize:
    """Return a scale about nought where the surface has both signs, else from nought to its far end."""
    reach = max(abs(low), abs(high), 0.5)
    return Normalize(-reach, reach)


def _clip(axes: Axes, plan: DeckPlan) -> None:
    outline = Outline(np.vstack([plan.outline, plan.outline[:1]]), closed=True)
    for collection in axes.collections:
        collection.set_clip_path(outline, axes.transData)

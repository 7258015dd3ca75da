"""Clamp over gas load of every cylinder on the deck plan, and which fasteners it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.plan_lines import draw_openings, draw_outline, draw_seals, short_names
from firedeck.drawing.plan_picture import draw_frame_notes, plan_axes
from firedeck.drawing.style import FAULT_COLOUR, INK, MUTED, PRESSURE_MAP, styled
from firedeck.evidence import Estimate
from firedeck.pressure_map import FloatArray

__all__ = ["CylinderShare", "clamp_figure"]

_KILO = 1e-3

#: Room beside the plan for the scale of ratios [inch].
_SCALE_ROOM = 0.62

#: Ratios at the light and the dark end of the scale [1].
_LEAST, _MOST = 0.8, 3.0


@dataclass(frozen=True)
class CylinderShare:
    """One cylinder.

    Attributes
    ----------
    bore : str
        Its bore in the plan.
    ratio : Estimate
        Clamp over gas load, settled and cold [1].
    hot : float or None
        The same in operation [1].
    share : ndarray
        Share of every fastener that it owns, in the plan's order [1].
    holds : bool
        Whether the verdict on it is that it holds.
    """

    bore: str
    ratio: Estimate
    hot: float | None
    share: FloatArray
    holds: bool


@styled
def clamp_figure(
    plan: DeckPlan, cylinders: Sequence[CylinderShare], preload: FloatArray, *, title: str
) -> Figure:
    """Draw clamp over gas load on the plan.

    Parameters
    ----------
    plan : DeckPlan
        The plan.
    cylinders : sequence of CylinderShare
        One for each bore.
    preload : ndarray
        Settled preload of every fastener, in the plan's order [N].
    title : str
        Title.

    Returns
    -------
    Figure
        The picture: bores darker as the ratio rises, lines to the fasteners as thick as what they give.
    """
    figure, axes, _ = plan_axes(plan, extra=0.12, right=_SCALE_ROOM)
    axes.set_title(title)
    draw_outline(axes, plan, fill="#fbfaf6")
    draw_openings(axes, plan)
    draw_seals(axes, plan, faint=True)
    scale = Normalize(_LEAST, _MOST)
    bores = {bore.name: bore for bore in plan.bores}
    for one in cylinders:
        _draw_shares(axes, plan, one, preload)
    for one in cylinders:
        bore = bores[one.bore]
        _draw_bore(axes, one, bore.centre, bore.diameter, scale)
    _draw_fasteners(axes, plan, preload)
    draw_frame_notes(figure, axes)
    _draw_scale(figure, axes, scale)
    return figure


def _draw_shares(axes: Axes, plan: DeckPlan, one: CylinderShare, preload: FloatArray) -> None:
    centre = next(bore.centre for bore in plan.bores if bore.name == one.bore)
    given = one.share * preload
    for hole, force in zip(plan.fastener_holes, given, strict=True):
        if force > 0.0:
            width = 4.5 * force / max(float(preload.max()), 1.0)
            ends = np.array([centre, hole.centre])
            axes.plot(*ends.T, color=MUTED, linewidth=width, alpha=0.55, zorder=4, solid_capstyle="butt")


def _draw_bore(
    axes: Axes, one: CylinderShare, centre: tuple[float, float], diameter: float, scale: Normalize
) -> None:
    colour = PRESSURE_MAP(scale(one.ratio.value))
    edge = INK if one.holds else FAULT_COLOUR
    axes.add_patch(
        Circle(
            centre,
            diameter / 2,
            facecolor=colour,
            edgecolor=edge,
            linewidth=0.8 if one.holds else 2.4,
            zorder=5,
        )
    )
    dark = scale(one.ratio.value) > 0.45
    lines = [(0.16, f"{one.ratio.value:.2f}", 13, "bold"), (-0.06, _band(one.ratio), 6.8, "normal")]
    if one.hot is not None:
        lines.append((-0.22, f"in operation {one.hot:.2f}", 6.4, "normal"))
    lines.append((0.33, one.bore, 6.8, "normal"))
    for up, text, size, weight in lines:
        axes.text(
            centre[0], centre[1] + up * diameter, text, size=size, weight=weight, ha="center", va="center",
            color="white" if dark else INK, zorder=6,
        )  # fmt: skip


def _band(ratio: Estimate) -> str:
    return f"{ratio.low:.2f} to {ratio.high:.2f}"


def _draw_fasteners(axes: Axes, plan: DeckPlan, preload: FloatArray) -> None:
    names = short_names([hole.name for hole in plan.fastener_holes])
    for hole, force in zip(plan.fastener_holes, preload, strict=True):
        axes.text(
            *hole.centre,
            f"{names.get(hole.name, hole.name)}\n{force * _KILO:.0f} kN",
            size=6.2,
            ha="center",
            va="center",
            linespacing=1.1,
            zorder=7,
            bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": INK, "linewidth": 0.7},
        )


def _draw_scale(figure: Figure, axes: Axes, scale: Normalize) -> None:
    box = axes.get_position()
    room = figure.add_axes((box.x1 + 0.012, box.y0, 0.014, box.height))
    bar = figure.colorbar(ScalarMappable(scale, PRESSURE_MAP), cax=room)
    bar.set_label("clamp over gas load [1]", labelpad=2)
    bar.ax.tick_params(length=2)

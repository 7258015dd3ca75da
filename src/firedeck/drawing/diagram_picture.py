"""Joint diagrams: tension of every fastener over its stretch, and the line along which the joint gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from firedeck.drawing.plan_lines import short_names
from firedeck.drawing.style import FULL_WIDTH, MUTED, SERIES, THRESHOLD_LINE, styled

__all__ = ["DiagramState", "FastenerDiagram", "diagram_figure"]

_KILO, _MICRO = 1e-3, 1e3
_ACROSS = 5
_MARKS = ("o", "D", "s", "^", "v")


@dataclass(frozen=True)
class DiagramState:
    """One state of one fastener.

    Attributes
    ----------
    name : str
        The state.
    tension : float
        Its tension [N].
    """

    name: str
    tension: float


@dataclass(frozen=True)
class FastenerDiagram:
    """One fastener.

    Attributes
    ----------
    name : str
        Its name.
    stiffness : float
        Its stiffness [N/mm].
    joint_stiffness : float
        What head, gasket and block answer it with, neighbours at work [N/mm].
    states : tuple of DiagramState
        Its states, the settled one first.
    yields_at : float
        Tension at which it yields when pulled without twist [N].
    """

    name: str
    stiffness: float
    joint_stiffness: float
    states: tuple[DiagramState, ...]
    yields_at: float


@styled
def diagram_figure(fasteners: Sequence[FastenerDiagram]) -> Figure:
    """Draw a small joint diagram for every fastener, all to one scale.

    Parameters
    ----------
    fasteners : sequence of FastenerDiagram
        In the plan's order.
    """
    across = min(_ACROSS, len(fasteners))
    rows = -(-len(fasteners) // across)
    figure = Figure(figsize=(FULL_WIDTH, 1.5 * rows + 0.75), layout="constrained")
    panels = figure.subplots(rows, across, squeeze=False, sharex=True, sharey=True)
    names = short_names([one.name for one in fasteners])
    top = 1.2 * max(state.tension for one in fasteners for state in one.states)
    far = max(top / one.stiffness + 0.25 * top / one.joint_stiffness for one in fasteners)
    for axes, one in zip(panels.flat, fasteners, strict=False):
        _draw(axes, one, top)
        axes.set_title(f"fastener {names.get(one.name, one.name)}" if names else one.name, fontsize=7)
        axes.set_xlim(0.0, _MICRO * far)
        axes.set_ylim(0.0, _KILO * top)
        axes.tick_params(length=2, labelsize=6)
        axes.grid(linewidth=0.4)
    for axes in panels.flat[len(fasteners) :]:
        axes.set_visible(False)
    for axes in panels[-1]:
        axes.set_xlabel("stretch [µm]", fontsize=6.5, labelpad=1)
    figure.supylabel("tension [kN]", fontsize=7)
    figure.legend(handles=_legend(fasteners[0]), loc="outside lower center", ncols=4)
    return figure


def _draw(axes: Axes, one: FastenerDiagram, top: float) -> None:
    first = one.states[0].tension
    stretch = first / one.stiffness
    axes.plot([0.0, _MICRO * top / one.stiffness], [0.0, _KILO * top], color=SERIES[0], linewidth=1.0)
    run = np.array([0.0, first / one.joint_stiffness])
    axes.plot(
        _MICRO * (stretch + run), _KILO * (first - one.joint_stiffness * run), color=MUTED, linewidth=0.9,
        linestyle=(0, (4, 1.5)),
    )  # fmt: skip
    if one.yields_at < top:
        axes.axhline(_KILO * one.yields_at, **THRESHOLD_LINE)
    for place, state in enumerate(one.states):
        axes.plot(
            _MICRO * state.tension / one.stiffness, _KILO * state.tension, marker=_MARKS[place % len(_MARKS)],
            color=SERIES[(place + 1) % len(SERIES)], markersize=3.8, markeredgecolor="white",
            markeredgewidth=0.4, zorder=5,
        )  # fmt: skip


def _legend(one: FastenerDiagram) -> list[Line2D]:
    lines = [
        Line2D([], [], color=SERIES[0], label="fastener"),
        Line2D([], [], color=MUTED, linestyle=(0, (4, 1.5)), label="joint, unloading about settled"),
    ]
    lines.append(Line2D([], [], label="yields, pulled straight", **THRESHOLD_LINE))
    return lines + [
        Line2D([], [], linestyle="", marker=_MARKS[place % len(_MARKS)], markersize=4,
               color=SERIES[(place + 1) % len(SERIES)], label=state.name)
        for place, state in enumerate(one.states)
    ]  # fmt: skip

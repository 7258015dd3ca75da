"""One seal in several states of the joint: line load along it, straight and round the bore."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.curve_marks import closed, draw_threshold, mark_fasteners, near_fasteners
from firedeck.drawing.polar_axes import dress_round, polar_panes
from firedeck.drawing.strip_picture import draw_strip
from firedeck.drawing.style import FULL_WIDTH, SERIES, styled
from firedeck.pressure_map import FloatArray, PressureMap
from firedeck.seal.profile import SealProfile

__all__ = ["SealStates", "StateCurve", "state_polar_figure", "state_strip_figure"]

_DASHES = ("-", (0, (5, 1.5)), (0, (2, 1)), (0, (6, 1.5, 1, 1.5)), (0, (1, 1.2)))


@dataclass(frozen=True)
class StateCurve:
    """Line load of one seal in one state.

    Attributes
    ----------
    name : str
        The state.
    at : ndarray, shape (n,)
        Arc length [mm].
    line_load : ndarray, shape (n,)
        Line load there [N/mm].
    low, high : ndarray or None
        Ends of its 95 % interval [N/mm], where it is to be drawn.
    """

    name: str
    at: FloatArray
    line_load: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None


@dataclass(frozen=True)
class SealStates:
    """One seal with its states.

    Attributes
    ----------
    profile : SealProfile
        The seal, for its line and name.
    curves : tuple of StateCurve
        The states.
    least : float
        Least line load under gas; 0 where there is none [N/mm].
    """

    profile: SealProfile
    curves: tuple[StateCurve, ...]
    least: float


def _top(seals: Sequence[SealStates]) -> float:
    peaks = [float(np.nanmax(curve.line_load)) for one in seals for curve in one.curves]
    highs = [float(np.nanmax(curve.high)) for one in seals for curve in one.curves if curve.high is not None]
    return 1.08 * max([1.0, *peaks, *highs, *(1.1 * one.least for one in seals)])


@styled
def state_strip_figure(
    plan: DeckPlan, one: SealStates, pressure_map: PressureMap, *, above: str, title: str = ""
) -> Figure:
    """Draw one seal unrolled, and under it its line load, one curve a state.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners.
    one : SealStates
        The seal.
    pressure_map : PressureMap
        Map of the state that is shown unrolled.
    above : str
        That state's name.
    title : str
        Title; the seal's name by default.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.5))
    width = 1 - (_LEFT + _RIGHT) / FULL_WIDTH
    upper = figure.add_axes((_LEFT / FULL_WIDTH, 0.70, width, 0.23))
    lower = figure.add_axes((_LEFT / FULL_WIDTH, 0.20, width, 0.48))
    upper.set_title(f"{title or one.profile.name}; above: {above}")
    line = one.profile.strip.line
    span = 360.0 if line.is_round else line.length
    draw_strip(figure, upper, one.profile, pressure_map, span)
    upper.tick_params(labelbottom=False, length=2)
    _draw_states(lower, plan, one, span)
    words = "angle, anticlockwise from the plan's x axis [degree]"
    lower.set_xlabel(words if line.is_round else "arc length, anticlockwise [mm]", labelpad=1)
    handles, labels = lower.get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower center", ncols=min(5, len(labels)), borderaxespad=0.3)
    return figure


_LEFT, _RIGHT = 0.62, 0.72


def _draw_states(axes: Axes, plan: DeckPlan, one: SealStates, span: float) -> None:
    scale = span / one.profile.strip.line.length
    axes.set_xlim(0.0, span)
    axes.set_ylim(0.0, _top([one]))
    axes.grid(axis="y")
    if span == 360.0:
        axes.set_xticks(np.arange(0, 361, 45))
    axes.set_ylabel("line load [N/mm]")
    mark_fasteners(axes, [(near.at * scale, near) for near in near_fasteners(plan, one.profile.strip.line)])
    for place, curve in enumerate(one.curves):
        _draw_curve(axes, curve, scale, span, place)
    draw_threshold(axes, one.least or None)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _draw_curve(axes: Axes, curve: StateCurve, scale: float, span: float, place: int) -> None:
    at, load = closed(curve.at * scale, span, curve.line_load)
    colour = SERIES[place % len(SERIES)]
    if curve.low is not None and curve.high is not None:
        _, low, high = closed(curve.at * scale, span, curve.low, curve.high)
        axes.fill_between(at, low, high, color=colour, alpha=0.18, linewidth=0)
    axes.plot(at, load, color=colour, linestyle=_DASHES[place % len(_DASHES)], label=curve.name)


@styled
def state_polar_figure(plan: DeckPlan, seals: Sequence[SealStates]) -> Figure:
    """Draw the line load round the bores, one curve a state, all to one scale.

    Parameters
    ----------
    plan : DeckPlan
        Plan, for the fasteners' directions.
    seals : sequence of SealStates
        The seals; those that are not circles are passed over.
    """
    circles = [one for one in seals if one.profile.strip.line.is_round]
    figure, panes = polar_panes(len(circles), title_height=0.35, foot=0.25)
    top = _top(circles)
    for one, axes in zip(circles, panes, strict=True):
        _draw_round(axes, plan, one, top)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=min(5, len(labels)))
    return figure


def _draw_round(axes: PolarAxes, plan: DeckPlan, one: SealStates, top: float) -> None:
    turn = 2 * np.pi / one.profile.strip.line.length
    for place, curve in enumerate(one.curves):
        at, load = closed(curve.at * turn, 2 * np.pi, curve.line_load)
        axes.plot(
            at, load, color=SERIES[place % len(SERIES)], linestyle=_DASHES[place % len(_DASHES)],
            linewidth=1.1, label=curve.name,
        )  # fmt: skip
    dress_round(axes, plan, one.profile, top, one.least)

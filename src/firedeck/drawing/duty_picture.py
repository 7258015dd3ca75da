"""Pictures of a modelled cycle, of power against peak pressure, and of duties side by side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, GRID, INK, MUTED, SERIES, THRESHOLD_LINE, styled
from firedeck.drawing.trace_picture import psi_axis, scales
from firedeck.duty.inverse import LoadAtPeak
from firedeck.duty.modelled import Contribution, ModelledCycle
from firedeck.duty.result import Duty
from firedeck.units import to_unit

__all__ = ["duties_figure", "load_figure", "model_figure"]

_BAR = to_unit(1.0, "pressure", "bar")
_HP = to_unit(1.0, "power", "hp")

#: Crank angles shown of a modelled cycle [deg].
_NEAR = (-90.0, 120.0)


def _plain(axes: Axes) -> None:
    axes.grid(color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)


@styled
def model_figure(worked: ModelledCycle) -> Figure:
    """Draw the modelled cycle with its band, and what each input's doubt moves.

    Parameters
    ----------
    worked : ModelledCycle
        The cycle.

    Returns
    -------
    Figure
        Pressure over crank angle; beside it, where doubts were stated, bars of their effect.
    """
    stated = bool(worked.contributions)
    figure = Figure(figsize=(FULL_WIDTH, 3.5), layout="constrained")
    panels = figure.subplots(1, 2 if stated else 1, width_ratios=(3, 2) if stated else None, squeeze=False)[0]
    _cycle(panels[0], worked)
    if stated:
        _bars(panels[1], worked)
    return figure


def _cycle(axes: Axes, worked: ModelledCycle) -> None:
    one = worked.nominal
    near = (one.angle >= _NEAR[0]) & (one.angle <= _NEAR[1])
    angle = one.angle[near]
    axes.fill_between(
        angle,
        _BAR * worked.low[near],
        _BAR * worked.high[near],
        color=SERIES[0],
        alpha=0.25,
        linewidth=0,
        label="95 % band: inputs and model",
    )
    axes.plot(angle, _BAR * one.pressure[near], color=SERIES[0], label="cycle for the inputs as stated")
    axes.plot(one.peak_angle, _BAR * one.peak, "o", color=INK, markersize=3.5)
    axes.annotate(
        f"{_BAR * one.peak:.0f} bar at {one.peak_angle:.0f}°",
        (one.peak_angle, _BAR * one.peak),
        (10, 2),
        textcoords="offset points",
        size=7.0,
        weight="bold",
    )
    axes.axvline(0.0, color=MUTED, linewidth=0.6, linestyle=(0, (3, 2)))
    axes.set_xlim(*_NEAR)
    axes.set_ylim(0.0, 1.28 * _BAR * float(worked.high.max()))
    axes.set_xlabel("crank angle after firing top dead centre [degree]")
    axes.set_ylabel("absolute pressure [bar]")
    _plain(axes)
    psi_axis(axes)
    axes.legend(loc="upper right")


def _bars(axes: Axes, worked: ModelledCycle) -> None:
    rows = list(reversed(worked.contributions))
    moves = np.array([_BAR * row.peak for row in rows])
    axes.barh(np.arange(len(rows)), moves, height=0.6, color=SERIES[0], alpha=0.6)
    axes.set_yticks(np.arange(len(rows)), [f"{row.words}\n+{_half(row)}" for row in rows], size=6.3)
    axes.axvline(0.0, color=MUTED, linewidth=0.6)
    axes.set_xlabel("moves the peak by [bar]")
    _plain(axes)


def _half(row: Contribution) -> str:
    if row.unit == "MPa":
        return f"{_BAR * row.half:.3g} bar"
    return f"{row.half:.3g}" if row.unit == "1" else f"{row.half:.3g} {row.unit}"


@styled
def load_figure(load: LoadAtPeak) -> Figure:
    """Draw power, or mean pressure where no speed is known, against peak pressure.

    Parameters
    ----------
    load : LoadAtPeak
        The load found.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.6), layout="constrained")
    axes = figure.subplots()
    curve, known = load.curve, load.power is not None
    across = curve.power if known else _BAR * curve.bmep
    axes.fill_between(
        across,
        _BAR * curve.low,
        _BAR * curve.high,
        color=SERIES[0],
        alpha=0.22,
        linewidth=0,
        label="95 % band of the peak at that load",
    )
    which = "mean peak" if load.statistic == "mean" else "largest peak of the duty's cycles"
    axes.plot(across, _BAR * curve.peak, color=SERIES[0], label=which)
    axes.axhline(_BAR * load.peak, **THRESHOLD_LINE, label=f"asked for: {_BAR * load.peak:.0f} bar")
    found = load.power if load.power is not None else load.bmep
    scale = 1.0 if known else _BAR
    high = found.high if found.bounded_above else float(across.max()) / scale
    axes.axvspan(scale * found.low, scale * high, color=FAULT_COLOUR, alpha=0.12, linewidth=0)
    axes.plot(scale * found.value, _BAR * load.peak, "o", color=INK, markersize=4, zorder=5)
    axes.set_xlim(float(across.min()), max(float(across.max()), 1.04 * scale * high))
    axes.set_ylim(bottom=0.0)
    axes.set_ylabel("peak pressure [bar]")
    axes.set_xlabel("brake power [kW]" if known else "brake mean effective pressure [bar]")
    _plain(axes)
    psi_axis(axes)
    if known:
        top = axes.secondary_xaxis("top", functions=scales(_HP))
        top.set_xlabel("[hp]")
        top.tick_params(colors=MUTED, labelcolor=INK, length=2)
    axes.legend(loc="upper left")
    return figure


@styled
def duties_figure(named: Sequence[tuple[str, Duty]]) -> Figure:
    """Draw duties side by side: mean peak, largest peak and what the joint must survive, with intervals.

    Parameters
    ----------
    named : sequence of tuple
        Name and duty, most trusted first.
    """
    figure = Figure(figsize=(FULL_WIDTH, 1.0 + 0.62 * len(named)), layout="constrained")
    axes = figure.subplots()
    parts = (("mean peak", "o"), ("largest peak", "s"), ("joint must survive, knock with it", "D"))
    for place, (_, duty) in enumerate(named):
        hardest = duty.hardest
        for part, one in enumerate((hardest.mean, hardest.extreme, hardest.design_pressure)):
            row = place + 0.22 * (part - 1)
            high = _BAR * one.high if one.bounded_above else _BAR * one.low * 1.5
            axes.plot([_BAR * one.low, high], [row, row], color=SERIES[part], linewidth=2.0, alpha=0.55)
            axes.plot(
                _BAR * one.value,
                row,
                parts[part][1],
                color=SERIES[part],
                markersize=4.5,
                label=parts[part][0] if place == 0 else "",
            )
    axes.set_yticks(range(len(named)), [_broken(name) for name, _ in named], size=7.0)
    axes.set_ylim(len(named) - 0.5, -0.5)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("pressure in the hardest cylinder [bar]")
    _plain(axes)
    figure.legend(loc="outside upper center", ncols=3)
    return figure


def _broken(name: str) -> str:
    return name.replace(", ", ",\n", 1)

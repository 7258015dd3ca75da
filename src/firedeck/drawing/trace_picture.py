"""Pictures of a measured trace: the fan of its cycles, its peaks, and its polytropic lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, GRID, INK, MUTED, SERIES, styled
from firedeck.duty.geometry import Cylinder
from firedeck.duty.indicator import PolytropicFit, PressureFan
from firedeck.duty.trace import TraceResult
from firedeck.units import to_unit

__all__ = ["fan_figure", "peaks_figure", "polytropic_figure", "psi_axis", "scales"]

_BAR = to_unit(1.0, "pressure", "bar")
_PSI_PER_BAR = to_unit(1.0, "pressure", "psi") / _BAR

#: Crank angles shown in the fan's close view [deg].
_NEAR = (-60.0, 100.0)


def scales(factor: float) -> tuple[Callable[[Any], Any], Callable[[Any], Any]]:
    """Return the way from one unit to another `factor` times as many, and back, as an axis wants it."""

    def there(values: Any) -> Any:  # noqa: ANN401 - numbers or arrays, as the drawing library hands them
        return np.asarray(values) * factor

    def back(values: Any) -> Any:  # noqa: ANN401 - as above
        return np.asarray(values) / factor

    return there, back


def psi_axis(axes: Axes) -> None:
    """Put a scale in psi on the right of axes in bar."""
    right = axes.secondary_yaxis("right", functions=scales(_PSI_PER_BAR))
    right.set_ylabel("[psi]")
    right.tick_params(colors=MUTED, labelcolor=INK, length=2)


@styled
def fan_figure(fan: PressureFan) -> Figure:
    """Draw pressure against crank angle: mean, middle half, 95 in 100 cycles, and the worst cycle.

    Parameters
    ----------
    fan : PressureFan
        The cycles.

    Returns
    -------
    Figure
        About the peak, where the cycles differ.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.6), layout="constrained")
    axes = figure.subplots()
    near = (fan.angle >= _NEAR[0]) & (fan.angle <= _NEAR[1])
    angle = fan.angle[near]
    low, quarter, upper, high = (
        _BAR * values[near] for values in (fan.low, fan.quarter, fan.three_quarters, fan.high)
    )
    axes.fill_between(angle, low, high, color=SERIES[0], alpha=0.18, linewidth=0, label="95 of 100 cycles")
    axes.fill_between(angle, quarter, upper, color=SERIES[0], alpha=0.35, linewidth=0, label="middle half")
    axes.plot(angle, _BAR * fan.mean[near], color=SERIES[0], label="mean cycle")
    axes.plot(
        angle,
        _BAR * fan.worst[near],
        color=FAULT_COLOUR,
        linewidth=0.9,
        label=f"cycle {fan.worst_number}, the highest",
    )
    axes.axvline(0.0, color=MUTED, linewidth=0.6, linestyle=(0, (3, 2)))
    axes.set_xlim(*_NEAR)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("crank angle after firing top dead centre [degree]")
    axes.set_ylabel("absolute pressure [bar]")
    _plain(axes)
    psi_axis(axes)
    axes.legend(loc="upper right")
    return figure


def _plain(axes: Axes) -> None:
    axes.grid(color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)


@styled
def peaks_figure(result: TraceResult) -> Figure:
    """Draw the peaks cycle by cycle, and their distribution with the largest to expect.

    Parameters
    ----------
    result : TraceResult
        The worked-up trace.

    Returns
    -------
    Figure
        Two panels with one pressure scale.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.3), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    peaks = _BAR * result.cycles.peak
    left.plot(
        np.arange(1, peaks.size + 1),
        peaks,
        "o",
        markersize=2.6,
        color=SERIES[0],
        alpha=0.8,
        label="peak of a cycle",
    )
    left.set_xlabel("cycle")
    left.set_ylabel("peak pressure [bar]")
    bins = max(8, round(np.sqrt(peaks.size)))
    right.hist(peaks, bins=bins, density=True, orientation="horizontal", color=SERIES[0], alpha=0.35)
    grid = np.linspace(peaks.min() - 0.1 * np.ptp(peaks), peaks.max() + 0.2 * np.ptp(peaks), 200)
    spread = peaks.std(ddof=1)
    normal = np.exp(-0.5 * ((grid - peaks.mean()) / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
    right.plot(normal, grid, color=SERIES[0], linewidth=1.0)
    right.set_xlabel("share of cycles by pressure [1/bar]")
    for axes in (left, right):
        _extreme(axes, result)
        _plain(axes)
    figure.legend(*left.get_legend_handles_labels(), loc="outside upper left", ncols=2)
    psi_axis(right)
    return figure


def _extreme(axes: Axes, result: TraceResult) -> None:
    extreme = result.extreme
    one = extreme.estimate
    axes.axhspan(_BAR * one.low, _BAR * one.high, color=FAULT_COLOUR, alpha=0.15, linewidth=0)
    cycles = f"{extreme.cycles:,}".replace(",", " ")
    axes.axhline(
        _BAR * one.value,
        color=FAULT_COLOUR,
        linewidth=1.0,
        label=f"largest of {cycles} cycles, {extreme.law} law, 95 % band",
    )


@styled
def polytropic_figure(result: TraceResult, cylinder: Cylinder, fits: Sequence[PolytropicFit]) -> Figure:
    """Draw the mean cycle as pressure over volume, both logarithmic, with the polytropic lines.

    Parameters
    ----------
    result : TraceResult
        The worked-up trace.
    cylinder : Cylinder
        The cylinder.
    fits : sequence of PolytropicFit
        The lines.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.9), layout="constrained")
    axes = figure.subplots()
    volume = 1e-3 * cylinder.volume(result.angle)
    mean = _BAR * np.maximum(result.mean_pressure, 1e-4)
    axes.plot(volume, mean, color=SERIES[0], linewidth=1.0, label="mean cycle")
    for place, (fit, style) in enumerate(zip(fits, ((0, (5, 1.5)), (0, (2, 1))), strict=False), start=1):
        axes.plot(
            1e-3 * fit.volume,
            _BAR * fit.pressure,
            color=SERIES[place],
            linewidth=2.2,
            linestyle=style,
            label=f"{fit.stretch}: n = {fit.exponent:.3f}, misfit {100 * fit.misfit:.1f} %",
        )
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(10, (1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("gas volume [cm³]")
    axes.set_ylabel("absolute pressure [bar]")
    _plain(axes)
    axes.legend(loc="upper right")
    return figure

"""The order in which seals give: cylinder pressure, and power where it is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from firedeck.drawing.style import FULL_WIDTH, GRID, INK, MUTED, SERIES, THRESHOLD_LINE, styled
from firedeck.evidence import Estimate
from firedeck.pressure_map import FloatArray

__all__ = ["GiveBar", "giveway_figure"]

_BAR = 10.0
_HATCHES = ("", "////", "....", "xxxx")


@dataclass(frozen=True)
class GiveBar:
    """One seal.

    Attributes
    ----------
    name : str
        Its name, with the bore that fires.
    pressure : Estimate
        Cylinder pressure at which it gives [MPa]; infinite where it holds to the end.
    reason : str
        Which limit governs.
    """

    name: str
    pressure: Estimate
    reason: str


@styled
def giveway_figure(
    bars: Sequence[GiveBar],
    *,
    highest: float,
    gas: float | None = None,
    power: tuple[FloatArray, FloatArray] | None = None,
    title: str = "",
) -> Figure:
    """Draw the pressure at which each seal gives, the first on top.

    Parameters
    ----------
    bars : sequence of GiveBar
        The seals, the first to give on top.
    highest : float
        End of the search [MPa].
    gas : float, optional
        Pressure that the joint is to stand [MPa].
    power : tuple of ndarray, optional
        Peak pressure [MPa] and brake power [kW] of the engine, for a second scale.
    title : str
        Title.
    """
    figure = Figure(figsize=(FULL_WIDTH, 0.24 * len(bars) + 1.7), layout="constrained")
    axes = figure.subplots()
    axes.set_title(title)
    reasons = list(dict.fromkeys(bar.reason for bar in bars if math.isfinite(bar.pressure.value)))
    for place, bar in enumerate(bars):
        _draw(axes, place, bar, highest, reasons)
    axes.set_yticks(np.arange(len(bars)), [bar.name for bar in bars], fontsize=6.5)
    axes.set_ylim(len(bars) - 0.4, -0.6)
    axes.set_xlim(0.0, _BAR * highest * 1.04)
    axes.set_xlabel("pressure of the firing cylinder [bar]")
    axes.grid(axis="x", color=GRID)
    handles: list[Patch | Line2D] = [
        Patch(
            facecolor=SERIES[k % len(SERIES)], alpha=0.45, hatch=_HATCHES[k % 4], edgecolor=INK, label=words
        )
        for k, words in enumerate(reasons)
    ]
    if gas is not None:
        axes.axvline(_BAR * gas, **THRESHOLD_LINE, zorder=6)
        handles.append(Line2D([], [], label=f"to stand: {_BAR * gas:.0f} bar", **THRESHOLD_LINE))
    if power is not None:
        _power_scale(axes, power)
    figure.legend(handles=handles, loc="outside lower center", ncols=2)
    for side in ("right",) if power is not None else ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure


def _draw(axes: Axes, place: int, bar: GiveBar, highest: float, reasons: list[str]) -> None:
    one = bar.pressure
    if not math.isfinite(one.value):
        axes.barh(place, _BAR * highest, 0.55, color="none", edgecolor=MUTED, linewidth=0.6, linestyle=":")
        axes.text(_BAR * highest, place, " holds to the end of the search  ", size=6, ha="right", va="center")
        return
    k = reasons.index(bar.reason)
    axes.barh(
        place, max(_BAR * one.value, 0.5), 0.6, color=SERIES[k % len(SERIES)], alpha=0.45,
        hatch=_HATCHES[k % 4], edgecolor=INK, linewidth=0.5,
    )  # fmt: skip
    high = min(one.high, highest * 1.04)
    axes.plot([_BAR * one.low, _BAR * high], [place, place], color=INK, linewidth=1.1, zorder=5)
    axes.plot(_BAR * one.value, place, marker="D", markersize=3.4, color=INK, zorder=6)
    axes.text(_BAR * high, place, f"  {_BAR * one.value:.0f}", size=6.4, va="center", zorder=7)


def _power_scale(axes: Axes, power: tuple[FloatArray, FloatArray]) -> None:
    order = np.argsort(power[0])
    peak, kilowatts = _BAR * power[0][order], power[1][order]
    if not np.isfinite(kilowatts).all() or np.any(np.diff(kilowatts) <= 0.0):
        return
    steps = np.arange(0.0, kilowatts[-1], _round_step(float(kilowatts[-1] - kilowatts[0])))
    steps = steps[(steps >= kilowatts[0]) & (steps <= kilowatts[-1])]
    upper = axes.twiny()
    upper.set_xlim(axes.get_xlim())
    upper.set_xticks(np.interp(steps, kilowatts, peak), [f"{value:.0f}" for value in steps])
    upper.set_xlabel("brake power at which the largest cycle of the duty reaches it [kW]")
    upper.tick_params(length=2)


def _round_step(span: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(span, 1e-9)))
    return next(step * power for step in (0.1, 0.2, 0.5, 1.0, 2.0) if span / (step * power) <= 8.0)

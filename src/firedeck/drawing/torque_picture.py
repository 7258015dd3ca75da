"""The fan of preloads that a torque gives over the range of friction, and where the fastener yields."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, GRID, INK, MUTED, SERIES, THRESHOLD_LINE, styled
from firedeck.pressure_map import FloatArray
from firedeck.units import to_unit

__all__ = ["TorqueFan", "torque_figure"]

_KILO = 1e-3


@dataclass(frozen=True)
class TorqueFan:
    """What torque gives what preload, for one kind of fastener.

    Attributes
    ----------
    low, typical, high : float
        Preload per torque at the lowest, typical and highest friction [1/mm].
    less, more : float
        The same with 10 % less and 10 % more than typical friction [1/mm].
    yield_torque, yield_preload : ndarray
        Torque [N*mm] and preload [N] at which it yields, from lowest to highest friction.
    torques : tuple of float
        Torques of the stages, the last one last [N*mm]; empty where none is a torque.
    """

    low: float
    typical: float
    high: float
    less: float
    more: float
    yield_torque: FloatArray
    yield_preload: FloatArray
    torques: tuple[float, ...]


@styled
def torque_figure(fan: TorqueFan, *, title: str) -> Figure:
    """Draw preload against torque.

    Parameters
    ----------
    fan : TorqueFan
        The fan.
    title : str
        Title.

    Returns
    -------
    Figure
        The picture; torque in N·m below and lbf·ft above.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.9), layout="constrained")
    axes = figure.subplots()
    top = 1.12 * max(float(fan.yield_torque.max()), *fan.torques, 0.0)
    ends = np.array([0.0, top])
    axes.fill_between(
        ends * _KILO,
        ends * fan.high * _KILO,
        ends * fan.low * _KILO,
        color=SERIES[0],
        alpha=0.18,
        linewidth=0,
        label="range of friction (95 %)",
    )
    for slope, label in ((fan.less, "friction ± 10 %"), (fan.more, "")):
        axes.plot(
            ends * _KILO,
            ends * slope * _KILO,
            color=SERIES[0],
            linewidth=0.9,
            linestyle=(0, (4, 2)),
            label=label,
        )
    axes.plot(
        ends * _KILO, ends * fan.typical * _KILO, color=SERIES[0], linewidth=1.6, label="typical friction"
    )
    axes.plot(fan.yield_torque * _KILO, fan.yield_preload * _KILO, **THRESHOLD_LINE, label="yields", zorder=4)
    _mark_stages(axes, fan)
    axes.set_xlim(0.0, top * _KILO)
    axes.set_ylim(0.0, 1.12 * float(fan.yield_preload.max()) * _KILO)
    _frame(axes, title)
    return figure


def _mark_stages(axes: Axes, fan: TorqueFan) -> None:
    """Mark what the last stage gives, and where the earlier stages stand."""
    for place, torque in enumerate(fan.torques, start=1):
        last = place == len(fan.torques)
        low, high = torque * fan.high * _KILO, torque * fan.low * _KILO
        axes.plot(
            [torque * _KILO] * 2, [low, high], color=INK if last else MUTED, linewidth=2.0 if last else 1.1
        )
        axes.plot(
            torque * _KILO, torque * fan.typical * _KILO, "o", color=INK if last else MUTED, markersize=4.5,
            markeredgecolor="white", zorder=6,
        )  # fmt: skip
    if not fan.torques:
        return
    torque = fan.torques[-1]
    axes.annotate(
        f"{torque * _KILO:.0f} N·m: {torque * fan.typical * _KILO:.0f} kN\n"
        f"({torque * fan.high * _KILO:.0f} to {torque * fan.low * _KILO:.0f} kN)",
        (torque * _KILO, torque * fan.high * _KILO),
        (4, -4),
        textcoords="offset points",
        size=7,
        weight="bold",
        ha="left",
        va="top",
        bbox={"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.8},
        zorder=7,
    )


def _frame(axes: Axes, title: str) -> None:
    axes.set_title(title, pad=26)
    axes.set_xlabel("torque [N·m]")
    axes.set_ylabel("preload [kN]")
    above = axes.secondary_xaxis("top", functions=(_to_feet, _to_metres))
    above.set_xlabel("torque [lbf·ft]")
    above.tick_params(length=2)
    axes.grid(color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)
    axes.spines["right"].set_visible(False)
    legend = axes.legend(loc="upper left")
    legend.get_texts()[-1].set_color(FAULT_COLOUR)


def _to_feet(metres: ArrayLike) -> ArrayLike:
    return np.asarray(metres, dtype=np.float64) * _feet()


def _to_metres(feet: ArrayLike) -> ArrayLike:
    return np.asarray(feet, dtype=np.float64) / _feet()


def _feet() -> float:
    """Pound-feet to a newton-metre."""
    return to_unit(1000.0, "torque", "force_pound * foot")

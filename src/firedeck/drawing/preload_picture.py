"""Preload of every fastener with its scatter: as tightened, settled, in operation."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from firedeck.drawing.plan_lines import short_names
from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, GRID, INK, MUTED, SERIES, THRESHOLD_LINE, styled
from firedeck.evidence import Estimate

__all__ = ["PreloadBar", "preload_figure"]

_KILO = 1e-3

#: Width of a bar, and how far the later states stand beside its middle, in steps from one to the next [1].
_BAR, _ASIDE = 0.62, 0.17


@dataclass(frozen=True)
class PreloadBar:
    """One fastener.

    Attributes
    ----------
    name : str
        Name.
    tightened, settled : Estimate
        Preload after the last move, and after settling [N].
    hot : Estimate or None
        Preload in operation [N].
    peak : float
        Highest preload that it passed through [N].
    yields_at : float
        Preload at which it yields while being tightened [N].
    """

    name: str
    tightened: Estimate
    settled: Estimate
    hot: Estimate | None
    peak: float
    yields_at: float


@styled
def preload_figure(bars: Sequence[PreloadBar], *, title: str) -> Figure:
    """Draw the preload of every fastener with its 95 % band.

    Parameters
    ----------
    bars : sequence of PreloadBar
        Fasteners in the plan's order.
    title : str
        Title.

    Returns
    -------
    Figure
        The picture.
    """
    figure = Figure(figsize=(FULL_WIDTH, 3.4), layout="constrained")
    axes = figure.subplots()
    axes.set_title(title)
    at = np.arange(len(bars), dtype=np.float64)
    names = short_names([bar.name for bar in bars])
    heights = [bar.tightened.value * _KILO for bar in bars]
    axes.bar(at, heights, _BAR, color=SERIES[0], alpha=0.35, edgecolor=SERIES[0], linewidth=0.8, zorder=2)
    _whiskers(axes, at - _ASIDE, [bar.tightened for bar in bars], SERIES[0], "o")
    _whiskers(axes, at, [bar.settled for bar in bars], SERIES[1], "D")
    warm = [(place, bar.hot) for place, bar in zip(at, bars, strict=True) if bar.hot is not None]
    _whiskers(axes, np.array([place for place, _ in warm]) + _ASIDE, [one for _, one in warm], SERIES[2], "s")
    for place, bar in zip(at, bars, strict=True):
        axes.plot(
            place + np.array([-0.5, 0.5]) * _BAR, [bar.peak * _KILO] * 2, color=INK, linewidth=0.8, zorder=3
        )
    _draw_yield(axes, [bar.yields_at * _KILO for bar in bars])
    _frame(axes, at, [names.get(bar.name, bar.name) for bar in bars])
    handles = _legend(bool(warm))
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles), handletextpad=0.4)
    return figure


def _whiskers(axes: Axes, at: np.ndarray, values: Sequence[Estimate], colour: str, marker: str) -> None:
    if not values:
        return
    middle = np.array([one.value for one in values])
    reach = np.array([[one.value - one.low for one in values], [one.high - one.value for one in values]])
    axes.errorbar(
        at,
        middle * _KILO,
        reach * _KILO,
        fmt=marker,
        color=colour,
        markersize=3.6,
        markeredgecolor="white",
        markeredgewidth=0.5,
        elinewidth=1.1,
        capsize=2.0,
        zorder=5,
    )


def _draw_yield(axes: Axes, limits: Sequence[float]) -> None:
    """Draw where fasteners yield, one line over neighbours that share it."""
    for limit, places in itertools.groupby(range(len(limits)), key=lambda place: round(limits[place], 3)):
        run = list(places)
        axes.plot([run[0] - 0.5, run[-1] + 0.5], [limit, limit], **THRESHOLD_LINE, zorder=4)
        axes.text(
            run[-1] + 0.52, limit, f"{limit:.0f} kN", size=6.4, color=FAULT_COLOUR, va="center", zorder=6
        )


def _frame(axes: Axes, at: np.ndarray, names: Sequence[str]) -> None:
    axes.set_xticks(at, names)
    axes.set_xlim(-0.6, len(at) - 0.05)
    axes.set_ylim(0.0, 1.06 * axes.get_ylim()[1])
    axes.set_xlabel("fastener")
    axes.set_ylabel("preload [kN]")
    axes.grid(axis="y", color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _legend(warm: bool) -> list[Line2D | Patch]:
    def mark(place: int, marker: str, label: str) -> Line2D:
        return Line2D([], [], color=SERIES[place], marker=marker, markersize=4, linewidth=1.1, label=label)

    entries: list[Line2D | Patch] = [
        mark(0, "o", "tightened"),
        mark(1, "D", "settled"),
        *([mark(2, "s", "in operation")] if warm else []),
        Line2D([], [], color=INK, linewidth=0.8, label="highest passed through"),
        Line2D([], [], label="yields while turned", **THRESHOLD_LINE),
    ]
    return entries

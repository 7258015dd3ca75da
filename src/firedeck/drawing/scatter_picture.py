"""What seals have over what they need, from assembly to assembly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from firedeck.drawing.style import FULL_WIDTH, GRID, INK, SERIES, THRESHOLD_LINE, styled
from firedeck.evidence import Estimate

__all__ = ["ScatterBar", "scatter_figure"]

#: Ratios beyond this are drawn at the edge [1].
_FAR = 12.0


@dataclass(frozen=True)
class ScatterBar:
    """One seal.

    Attributes
    ----------
    name : str
        Its name.
    ratio : Estimate
        Times what it needs: the middle of all assemblies, and the band that 95 % lie in [1].
    short : float
        Share of the assemblies in which it has less than it needs [1].
    """

    name: str
    ratio: Estimate
    short: float


@styled
def scatter_figure(bars: Sequence[ScatterBar], *, title: str = "") -> Figure:
    """Draw what each seal has over what it needs, the one that comes nearest on top.

    Parameters
    ----------
    bars : sequence of ScatterBar
        The seals.
    title : str
        Title.
    """
    figure = Figure(figsize=(FULL_WIDTH, 0.24 * len(bars) + 1.6), layout="constrained")
    axes = figure.subplots()
    axes.set_title(title)
    for place, bar in enumerate(bars):
        low, middle, high = np.minimum([bar.ratio.low, bar.ratio.value, bar.ratio.high], _FAR)
        colour = SERIES[1] if bar.short > 0.0 else SERIES[0]
        axes.plot([low, high], [place, place], color=colour, linewidth=5.0, alpha=0.5, solid_capstyle="butt")
        axes.plot(middle, place, marker="D", markersize=3.6, color=INK)
        told = f"  short in {100 * bar.short:.2g} %" if bar.short > 0.0 else ""
        axes.text(high, place, told, size=6.4, va="center")
    axes.set_yticks(np.arange(len(bars)), [bar.name for bar in bars], fontsize=6.5)
    axes.set_ylim(len(bars) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.margins(x=0.12)
    axes.set_xlabel("times what it needs [1]")
    axes.grid(axis="x", color=GRID)
    axes.axvline(1.0, **THRESHOLD_LINE, zorder=1)
    handles = [
        Line2D([], [], color=SERIES[0], linewidth=5.0, alpha=0.5, label="95 % of the assemblies"),
        Line2D([], [], color=SERIES[1], linewidth=5.0, alpha=0.5, label="the same, some of them short"),
        Line2D([], [], label="what it needs", **THRESHOLD_LINE),
    ]
    figure.legend(handles=handles, loc="outside lower center", ncols=3)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure

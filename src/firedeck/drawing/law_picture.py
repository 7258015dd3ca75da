"""Load over closure of a law, with the ways back."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.contact.law import SHARES, ClosureLaw
from firedeck.drawing.style import FULL_WIDTH, GRID, INK, MUTED, SERIES, styled

__all__ = ["law_figure"]

#: Shares of the drawn closure from which a way back is drawn [1].
_PEAKS = (0.25, 0.5, 0.75, 1.0)

#: Load over the usual one at which the drawing ends: a flat bead or a stopper goes on for ever [1].
_TOP = 2.5

#: Load up to which every law is drawn, if it goes so far [N/mm or MPa].
_WORKING = 350.0


@styled
def law_figure(law: ClosureLaw) -> Figure:
    """Draw load over closure, first loading with its band and ways back.

    Parameters
    ----------
    law : ClosureLaw
        The law.

    Returns
    -------
    Figure
        One panel; where the law ends very steep, the steepest part is left out.
    """
    figure = Figure(figsize=(0.72 * FULL_WIDTH, 3.2), layout="constrained")
    axes = figure.subplots()
    end = _drawn_end(law)
    at = np.unique(np.append(law.closure[law.closure < end], end))
    load = np.interp(at, law.closure, law.load)
    if law.spread > 0.0:
        label = f"plus or minus {100.0 * law.spread:.0f} %"
        low, high = load * (1.0 - law.spread), load * (1.0 + law.spread)
        axes.fill_between(at, low, high, color=SERIES[0], alpha=0.2, linewidth=0, label=label)
    axes.plot(at, load, color=SERIES[0], label="first loading")
    for number, peak in enumerate(end * np.array(_PEAKS)):
        recovery = np.array([np.interp(peak, law.closure, column) for column in law.recovery.T])
        top = float(np.interp(peak, law.closure, law.load))
        label = "way back" if number == 0 else ""
        axes.plot(peak - recovery, SHARES * top, color=SERIES[1], linestyle="--", linewidth=1.0, label=label)
    _frame(axes, law, end)
    return figure


def _drawn_end(law: ClosureLaw) -> float:
    """Return the closure at which the drawing ends."""
    usual = float(np.interp(0.85 * law.closure[-1], law.closure, law.load))
    top = max(_TOP * usual, _WORKING)
    past = law.load > top
    if not past.any():
        return float(law.closure[-1])
    row = int(np.argmax(past))
    return float(np.interp(top, law.load[row - 1 : row + 1], law.closure[row - 1 : row + 1]))


def _frame(axes: Axes, law: ClosureLaw, end: float) -> None:
    per = "N/mm" if law.width > 0.0 else "MPa"
    axes.set_title(law.name, loc="left", color=INK)
    axes.set_xlabel("closure from first touch [mm]")
    axes.set_ylabel(f"load [{per}]")
    axes.set_xlim(0.0, 1.02 * end)
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="upper left")
    axes.grid(color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)

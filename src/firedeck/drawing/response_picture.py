"""The response curve of a film with the calibration pieces behind it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator

from firedeck.definition.film import FilmBatch, Response
from firedeck.drawing.style import FULL_WIDTH, GRID, INK, MUTED, SERIES, styled
from firedeck.film.response import PieceReading, density_of, signal_of
from firedeck.pressure_map import FloatArray

__all__ = ["response_figure"]


@styled
def response_figure(
    batch: FilmBatch, response: Response, pieces: Sequence[PieceReading] = (), channel: int = 0
) -> Figure:
    """Draw net density and signal against pressure, with band and stated range.

    Parameters
    ----------
    batch : FilmBatch
        The film, for its stated range.
    response : Response
        Its curve.
    pieces : sequence of PieceReading
        What every calibration piece showed, where known.
    channel : int
        Index of the measuring channel in their signals.

    Returns
    -------
    Figure
        Two panels: net density, and the signal that is averaged.
    """
    figure = Figure(figsize=(FULL_WIDTH, 2.9), layout="constrained")
    left, right = figure.subplots(1, 2)
    pressure = np.asarray(response.pressure)
    sd = np.sqrt(np.clip(np.diag(np.asarray(response.log_covariance)), 0, None))
    density = np.asarray(response.net_density)
    loaded = [piece for piece in pieces if piece.pressure > 0]
    at = np.array([piece.pressure for piece in loaded])
    shown = np.array([piece.signal[channel] for piece in loaded])
    for axes, values, points, label in (
        (left, density, density_of(shown), "density above the blank film [1]"),
        (right, signal_of(density), shown, "share of light taken away by the dye [1]"),
    ):
        _panel(axes, batch, pressure, sd, values)
        axes.plot(
            at,
            points,
            "o",
            color=SERIES[1],
            markersize=4,
            markeredgecolor="white",
            markeredgewidth=0.6,
            label="calibration piece" if loaded else "",
            zorder=5,
        )
        axes.set_ylabel(label)
        _frame(axes, np.concatenate([pressure, at, [batch.range_low, batch.range_high]]))
    left.legend(loc="upper left")
    return figure


def _panel(axes: Axes, batch: FilmBatch, pressure: FloatArray, sd: FloatArray, values: FloatArray) -> None:
    axes.axvspan(
        batch.range_low,
        batch.range_high,
        color=GRID,
        alpha=0.5,
        linewidth=0,
        label=f"stated range, {batch.range_low:g} to {batch.range_high:g} MPa",
    )
    axes.fill_betweenx(
        values,
        pressure * np.exp(-1.96 * sd),
        pressure * np.exp(1.96 * sd),
        color=SERIES[0],
        alpha=0.3,
        linewidth=0,
        label="95 % band of the pressure",
    )
    axes.plot(pressure, values, color=SERIES[0], label="response curve")


def _frame(axes: Axes, pressures: FloatArray) -> None:
    axes.set_xscale("log")
    axes.set_xlim(0.85 * pressures.min(), 1.15 * pressures.max())
    axes.set_ylim(bottom=0)
    axes.xaxis.set_major_locator(LogLocator(10, (1.0, 2.0, 5.0)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(FuncFormatter(lambda _value, _: ""))
    axes.set_xlabel("pressure [MPa]")
    axes.grid(color=GRID)
    axes.tick_params(colors=MUTED, labelcolor=INK, length=2)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)

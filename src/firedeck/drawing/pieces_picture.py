"""A calibration scan with the pieces of film found on it, and what was not taken for one."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, SERIES, styled
from firedeck.film.picture import ScanPicture
from firedeck.pressure_map import FloatArray

__all__ = ["PieceMark", "pieces_figure"]


@dataclass(frozen=True)
class PieceMark:
    """One piece as it is drawn.

    Attributes
    ----------
    outline : ndarray, shape (n, 2)
        Its edge, from the scan's upper left, y down [mm].
    label : str
        Its number, or its letter where it was refused.
    level : str
        The level that it was taken for, such as ``8 MPa``; empty where it is not known.
    refused : str
        Why it was not taken; empty where it was.
    """

    outline: FloatArray
    label: str
    level: str = ""
    refused: str = ""


@styled
def pieces_figure(picture: ScanPicture, marks: Sequence[PieceMark], *, message: str = "") -> Figure:
    """Draw the scan with every piece outlined and numbered.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    marks : sequence of PieceMark
        The pieces.
    message : str
        What is wrong with them as a whole.

    Returns
    -------
    Figure
        The picture, upright as scanned.
    """
    rows, cols = picture.coarse.shape[:2]
    wide, high = cols * picture.coarse_mm[0], rows * picture.coarse_mm[1]
    width = min(FULL_WIDTH, 7.0 * wide / high)
    words = _words(marks, message, int(width * 17))
    extra = 0.75 + 0.16 * len(words)
    total = (width - 0.6) * high / wide + extra
    figure = Figure(figsize=(width, total))
    axes = figure.add_axes((0.5 / width, (extra - 0.3) / total, (width - 0.6) / width, 1 - extra / total))
    light = np.repeat(picture.coarse, 3, axis=2) if picture.coarse.shape[2] == 1 else picture.coarse
    shown = np.clip(light, 0, 1) ** (1 / 2.2)
    axes.imshow(shown, extent=(0, wide, high, 0), interpolation="antialiased")
    for mark in marks:
        _draw(axes, mark)
    axes.set_xlabel("scan x [mm]")
    axes.set_ylabel("scan y, downwards [mm]")
    axes.set_title(f"{picture.name}: pieces in reading order")
    figure.text(0.1 / width, 0.05 / total, "\n".join(words), size=7, va="bottom", color=FAULT_COLOUR)
    return figure


def _words(marks: Sequence[PieceMark], message: str, columns: int) -> list[str]:
    told = [message] if message else []
    told += [f"{mark.label}: {mark.refused}." for mark in marks if mark.refused]
    return [line for text in told for line in textwrap.wrap(text, columns)]


def _draw(axes: Axes, mark: PieceMark) -> None:
    colour = FAULT_COLOUR if mark.refused else SERIES[0]
    style = (0, (4, 2)) if mark.refused else "-"
    axes.add_patch(
        Polygon(mark.outline, closed=True, fill=False, edgecolor=colour, linewidth=1.3, linestyle=style)
    )
    x, y = mark.outline.min(axis=0)
    axes.annotate(
        f"{mark.label}  {mark.level}".strip(),
        (x, y),
        xytext=(1.5, -1.5),
        textcoords="offset points",
        va="top",
        size=6.5,
        color="white",
        weight="bold",
        bbox={"boxstyle": "round,pad=0.25", "facecolor": colour, "edgecolor": "none"},
    )

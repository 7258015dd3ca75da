"""A calibration scan with the pieces of film found on it, and what was not taken for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from firedeck.drawing.scan_ground import scan_ground
from firedeck.drawing.style import FAULT_COLOUR, SERIES, styled
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
    told = [message] if message else []
    told += [f"{mark.label}: {mark.refused}." for mark in marks if mark.refused]
    figure, axes = scan_ground(picture, told, extra=0.75)
    for mark in marks:
        _draw(axes, mark)
    axes.set_xlabel("scan x [mm]")
    axes.set_ylabel("scan y, downwards [mm]")
    axes.set_title(f"{picture.name}: pieces in reading order")
    return figure


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

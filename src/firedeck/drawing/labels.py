"""Places for names on a drawing, so that they cover neither each other nor what they name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes

from firedeck.drawing.style import INK, MUTED

__all__ = ["Box", "Label", "draw_labels"]

FloatArray = npt.NDArray[np.float64]

#: Mean width of a letter and height of a line over the font's size [1], for the shipped font.
_LETTER, _LINE = 0.6, 1.15

#: Places tried: directions round what is named, and gaps to it in font sizes.
_TURNS = np.radians(np.arange(0, 360, 15))
_GAPS = np.array([0.3, 0.8, 1.4, 2.2, 3.2, 4.5, 6.0])

#: What covering costs, as a distance [mm]: for a share of the name's area, for each thing touched, and
#: for lines crossed.
_COVERED, _TOUCHED, _CROSSED = 80.0, 40.0, 5.0

#: Beyond this gap, in font sizes, a name is joined to what it names by a thin line.
_LEADER_FROM = 0.6


@dataclass(frozen=True)
class Box:
    """A rectangle on the drawing.

    Attributes
    ----------
    x, y : float
        Its centre [mm].
    half_width, half_height : float
        Its half sizes [mm].
    """

    x: float
    y: float
    half_width: float
    half_height: float


@dataclass(frozen=True)
class Label:
    """A name to be placed near a box.

    Attributes
    ----------
    text : str
        The name.
    at : Box
        What it names.
    centred : bool
        Whether it goes into the middle of the box.
    """

    text: str
    at: Box
    centred: bool = False


def draw_labels(
    axes: Axes,
    labels: Sequence[Label],
    obstacles: Sequence[Box],
    lines: FloatArray,
    *,
    size: float,
    scale: float,
    colour: str = INK,
) -> None:
    """Draw names near their places, each where it covers least.

    Parameters
    ----------
    axes : Axes
        Where to draw, in deck coordinates [mm].
    labels : sequence of Label
        The names, most important first.
    obstacles : sequence of Box
        What should not be covered.
    lines : ndarray, shape (n, 2)
        Points of lines that should not be crossed [mm].
    size : float
        Font size [pt].
    scale : float
        Deck millimetres to a point of paper [mm/pt].
    colour : str
        Colour of the names.
    """
    taken = [(box.x, box.y, box.half_width, box.half_height) for box in obstacles]
    for label in labels:
        half = np.array([0.5 * _LETTER * max(len(label.text), 1), 0.5 * _LINE]) * size * scale
        places = _places(label, half, size * scale)
        places = places[_within(axes, places, half)]
        x, y = _best_place(label, places, half, np.asarray(taken).reshape(-1, 4), lines)
        taken.append((x, y, half[0], half[1]))
        _draw_leader(axes, label, (x, y), half, _LEADER_FROM * size * scale)
        axes.text(x, y, label.text, size=size, color=colour, ha="center", va="center", zorder=7)


def _places(label: Label, half: FloatArray, unit: float) -> FloatArray:
    """Return the centres [mm] to be tried for a name of given half sizes, `unit` being the font's size."""
    if label.centred:
        return np.array([[label.at.x, label.at.y]])
    gap = np.repeat(_GAPS * unit, len(_TURNS))
    turn = np.tile(_TURNS, len(_GAPS))
    x = label.at.x + np.cos(turn) * (label.at.half_width + half[0] + gap)
    y = label.at.y + np.sin(turn) * (label.at.half_height + half[1] + gap)
    return np.column_stack([x, y])


def _within(axes: Axes, places: FloatArray, half: FloatArray) -> npt.NDArray[np.bool_]:
    """Return which places keep a name inside the axes; all of them where none does."""
    low = np.array([axes.get_xlim()[0], axes.get_ylim()[0]]) + half
    high = np.array([axes.get_xlim()[1], axes.get_ylim()[1]]) - half
    inside = np.all((places > low) & (places < high), axis=1)
    return inside if inside.any() else np.ones(len(places), bool)


def _best_place(
    label: Label, places: FloatArray, half: FloatArray, taken: FloatArray, lines: FloatArray
) -> tuple[float, float]:
    shared = _shared_areas(places[:, 0], places[:, 1], half, taken)
    cover = _COVERED * shared.sum(axis=1) / (4 * half[0] * half[1]) + _TOUCHED * (shared > 0).sum(axis=1)
    away = np.abs(places - (label.at.x, label.at.y)) - half - (label.at.half_width, label.at.half_height)
    gap = np.hypot(*np.clip(away, 0, None).T)
    near = lines[np.all(np.abs(lines - (label.at.x, label.at.y)) < np.ptp(places, axis=0) + 2 * half, axis=1)]
    crossed = np.all(np.abs(near - places[:, None, :]) < half, axis=2).sum(axis=1)
    best = int(np.argmin(cover + _CROSSED * np.sqrt(crossed) + gap))
    return float(places[best, 0]), float(places[best, 1])


def _shared_areas(x: FloatArray, y: FloatArray, half: FloatArray, taken: FloatArray) -> FloatArray:
    """Return the area [mm^2] that each box at x, y shares with each box taken."""
    across = half[0] + taken[:, 2] - np.abs(x[:, None] - taken[:, 0])
    upward = half[1] + taken[:, 3] - np.abs(y[:, None] - taken[:, 1])
    return np.asarray(np.clip(across, 0, None) * np.clip(upward, 0, None))


def _draw_leader(
    axes: Axes, label: Label, centre: tuple[float, float], half: FloatArray, least: float
) -> None:
    """Join a name to the edge of what it names, where it stands off by more than `least` [mm]."""
    at = label.at
    start = np.clip((at.x, at.y), np.array(centre) - half, np.array(centre) + half)
    low, high = (at.x - at.half_width, at.y - at.half_height), (at.x + at.half_width, at.y + at.half_height)
    end = np.clip(start, low, high)
    if not label.centred and np.hypot(*(end - start)) > least:
        axes.plot([start[0], end[0]], [start[1], end[1]], color=MUTED, linewidth=0.4, zorder=6)

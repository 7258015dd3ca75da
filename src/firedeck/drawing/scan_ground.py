"""A scan as the ground of a picture that tells what was found on it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH
from firedeck.film.picture import ScanPicture

__all__ = ["scan_ground"]


def scan_ground(picture: ScanPicture, told: Iterable[str], *, extra: float) -> tuple[Figure, Axes]:
    """Draw a scan upright as it lay, with words below it; return figure and axes in mm from its upper left.

    Parameters
    ----------
    picture : ScanPicture
        The scan.
    told : iterable of str
        Sentences below it, each begun on a line of its own.
    extra : float
        Height of the figure over that of scan and words [inch].
    """
    rows, cols = picture.coarse.shape[:2]
    wide, high = cols * picture.coarse_mm[0], rows * picture.coarse_mm[1]
    width = min(FULL_WIDTH, 7.0 * wide / high)
    words = [line for text in told for line in textwrap.wrap(text, int(width * 17))]
    extra += 0.16 * len(words)
    total = (width - 0.6) * high / wide + extra
    figure = Figure(figsize=(width, total))
    axes = figure.add_axes((0.5 / width, (extra - 0.3) / total, (width - 0.6) / width, 1 - extra / total))
    light = np.repeat(picture.coarse, 3, axis=2) if picture.coarse.shape[2] == 1 else picture.coarse
    shown = np.clip(light, 0, 1) ** (1 / 2.2)
    axes.imshow(shown, extent=(0, wide, high, 0), interpolation="antialiased")
    figure.text(0.1 / width, 0.05 / total, "\n".join(words), size=7, va="bottom", color=FAULT_COLOUR)
    return figure, axes

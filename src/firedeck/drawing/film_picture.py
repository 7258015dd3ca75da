"""A print as the film would look: the dye's red on white film, cut out at the openings."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure
from PIL import Image

from firedeck.definition.deck import DeckPlan
from firedeck.drawing.plan_picture import draw_frame_notes, plan_axes
from firedeck.drawing.style import styled
from firedeck.pressure_map import Grid

__all__ = ["Pixels", "film_figure", "film_pixels", "film_png"]

Pixels = npt.NDArray[np.uint8]

#: Light that unexposed film sends back, and what full dye leaves of it, in red, green and blue [1].
#: For the eye only: numbers come from the response curve's own channel.
_BLANK = np.array([0.965, 0.945, 0.935])
_DYE = np.array([0.06, 1.0, 0.5])

#: Most light that is taken away [1], and steps to it: each far less than one of the display's.
_MOST_TAKEN, _STEPS = 0.999, 4095

_GROUND = np.array([255, 255, 255], np.uint8)


def film_pixels(signal: npt.NDArray[np.float32], openings: npt.NDArray[np.bool_]) -> Pixels:
    """Return the colours of a print, lower edge of the deck first.

    Parameters
    ----------
    signal : ndarray of float32, shape (rows, cols)
        Share of light that the dye takes away in the channel that it takes most from [1].
    openings : ndarray of bool, shape (rows, cols)
        Where there is no film.
    """
    step = np.rint(np.clip(np.nan_to_num(signal), 0.0, _MOST_TAKEN) * (_STEPS / _MOST_TAKEN)).astype(np.intp)
    out: Pixels = _colours()[step]
    out[openings] = _GROUND
    return out


def _colours() -> Pixels:
    """Return the colour of every step of the share of light that is taken away, shape (steps + 1, 3)."""
    taken = np.linspace(0.0, _MOST_TAKEN, _STEPS + 1)[:, None]
    light = _BLANK * (1.0 - taken) ** _DYE
    # The eye, and the display, want the light on a bent scale.
    colours: Pixels = np.rint(255.0 * light ** (1 / 2.2)).astype(np.uint8)
    return colours


def film_png(pixels: Pixels, pitch: float) -> bytes:
    """Return a print as PNG at true size, upper edge of the deck first; `pitch` is a pixel's side [mm]."""
    target = io.BytesIO()
    per_inch = 25.4 / pitch
    Image.fromarray(pixels[::-1]).save(target, format="png", dpi=(per_inch, per_inch), optimize=False)
    return target.getvalue()


@styled
def film_figure(plan: DeckPlan, pixels: Pixels, grid: Grid, *, title: str) -> Figure:
    """Draw a print over its plan's frame, with scale."""
    figure, axes, _ = plan_axes(plan, extra=0.1)
    axes.set_title(title)
    high, wide = grid.rows * grid.pitch, grid.cols * grid.pitch
    extent = (grid.x0, grid.x0 + wide, grid.y0, grid.y0 + high)
    axes.imshow(pixels, origin="lower", extent=extent, interpolation="antialiased", zorder=0)
    draw_frame_notes(figure, axes)
    return figure

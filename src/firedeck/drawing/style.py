"""How pictures look: for light print, readable without colour vision, the dye's red left to the film."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, wraps
from typing import Any, ParamSpec, TypeVar

import matplotlib as mpl
from matplotlib.colors import LinearSegmentedColormap

from firedeck.definition.deck import PortKind, SealKind

__all__ = [
    "DIFFERENCE_MAP",
    "FAULT_COLOUR",
    "FULL_WIDTH",
    "GRID",
    "HALF_WIDTH",
    "INK",
    "MUTED",
    "PORT_LOOKS",
    "PRESSURE_MAP",
    "SEAL_LINES",
    "SERIES",
    "THRESHOLD_LINE",
    "PortLook",
    "house_style",
    "styled",
]

#: Widths of pictures [inch]: across a page, and two side by side.
FULL_WIDTH, HALF_WIDTH = 7.1, 3.5

INK = "#1d2733"
MUTED = "#5d6875"
GRID = "#d5dbe1"
FAULT_COLOUR = "#b85c00"

#: Colours of curves that stand beside each other; with them go different line styles or markers.
SERIES = ("#0b6b88", "#b36a00", "#4a3a86", "#5f7f2f", "#7a5230", "#2c2c2c")

#: Pressure, light to dark as it rises; lightness falls evenly, so that equal steps look equal.
PRESSURE_MAP = LinearSegmentedColormap.from_list(
    "firedeck pressure",
    ["#f8f4e0", "#d2dbb8", "#a3c59c", "#6eae8e", "#349490", "#04778e", "#025a84", "#1c3d71", "#2c1f52"],
)

#: Difference: blue for less, brown for more, equally dark at equal distance from nought.
DIFFERENCE_MAP = LinearSegmentedColormap.from_list(
    "firedeck difference",
    ["#025988", "#307fb7", "#79a5cf", "#b5cce5", "#f3f3f3", "#e0c4b1", "#c49777", "#a46d43", "#81450f"],
)


@dataclass(frozen=True)
class PortLook:
    """How a kind of port is drawn: fill colour and hatch, so that a grey print still tells them apart."""

    colour: str
    hatch: str


PORT_LOOKS: dict[PortKind, PortLook] = {
    PortKind.COOLANT: PortLook("#9cc4dd", ""),
    PortKind.OIL_FEED: PortLook("#d9a441", "/////"),
    PortKind.OIL_RETURN: PortLook("#e6d9b8", "....."),
    PortKind.OTHER: PortLook("#cfd3d8", "xxxxx"),
}

#: Line of each kind of seal: width [pt] and dashes.
SEAL_LINES: dict[SealKind, dict[str, Any]] = {
    SealKind.RING: {"linewidth": 2.2, "linestyle": "-"},
    SealKind.FULL_BEAD: {"linewidth": 1.3, "linestyle": "-"},
    SealKind.HALF_BEAD: {"linewidth": 1.0, "linestyle": (0, (4.5, 1.6))},
    SealKind.LAND: {"linewidth": 1.0, "linestyle": (0, (1.2, 1.4))},
}

THRESHOLD_LINE: dict[str, Any] = {"color": FAULT_COLOUR, "linewidth": 1.1, "linestyle": (0, (6, 2, 1.5, 2))}

#: Settings of the drawing library; the fonts are the ones it ships.
_SETTINGS: Any = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans", "Verdana", "sans-serif"],
    "font.size": 8.0,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": MUTED,
    "axes.linewidth": 0.6,
    "axes.titlesize": 9.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.0,
    "axes.axisbelow": True,
    "grid.color": GRID,
    "grid.linewidth": 0.5,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.0,
    "ytick.labelsize": 7.0,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "legend.fontsize": 7.0,
    "legend.frameon": False,
    "lines.linewidth": 1.3,
    "hatch.linewidth": 0.5,
    "figure.dpi": 100.0,
    "figure.facecolor": "white",
    "image.interpolation": "nearest",
    "svg.fonttype": "none",
    "svg.hashsalt": "firedeck",
}

_P = ParamSpec("_P")
_R = TypeVar("_R")


@contextmanager
def house_style() -> Iterator[None]:
    """Draw or save within this context to get the house's looks, whatever the user's own settings."""
    with mpl.rc_context(_all_settings()):
        yield


@cache
def _all_settings() -> Any:  # noqa: ANN401 - the drawing library names every setting in its type
    """Return every setting as the house has it; the library takes long to check them, so once is enough."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        return {name: value for name, value in mpl.rcParams.items() if name != "backend"}


def styled(draw: Callable[_P, _R]) -> Callable[_P, _R]:
    """Make a function draw in the house's style."""

    @wraps(draw)
    def in_style(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        with house_style():
            return draw(*args, **kwargs)

    return in_style

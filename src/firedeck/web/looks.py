"""How values are told and coloured on every page: the palette and looks of the printed report."""

from __future__ import annotations

from typing import Any

from firedeck.drawing.map_cells import THRESHOLD_COLOUR, CellState, state_look
from firedeck.drawing.style import PRESSURE_MAP
from firedeck.study.prints.tiles import COUNT_MPA
from firedeck.units import to_unit

__all__ = ["page_looks", "page_units"]

_COLOURS = 256


def page_looks() -> dict[str, Any]:
    """Return the palette, the looks of what is no reading, the line's colour, and MPa to a tile's count."""
    colours = [
        [round(255 * part) for part in PRESSURE_MAP(step / (_COLOURS - 1))[:3]] for step in range(_COLOURS)
    ]
    states = {str(int(state)): state_look(state) for state in CellState if state not in (CellState.READ,)}
    return {
        "colours": colours,
        "states": states,
        "threshold": THRESHOLD_COLOUR,
        "count_MPa": COUNT_MPA,
    }


#: What a page shows -> kind of quantity, how many of its inner units are one of the metric unit that the
#: answers carry, that unit and its decimals, the unit of the inch as the units library spells it and as a
#: reader does, and its decimals.
_UNITS = {
    "line-load": ("line_load", 1.0, "N/mm", 1, "force_pound / inch", "lbf/in", 0),
    "force": ("force", 1e3, "kN", 2, "force_pound", "lbf", 0),
    "contact": ("pressure", 1.0, "MPa", 0, "psi", "psi", 0),
    "gap": ("length", 1e-3, "µm", 1, "thou", "0.001 in", 2),
}


def page_units() -> dict[str, dict[str, tuple[float, str, int]]]:
    """Return factor, unit and decimals of everything that a page shows, by what it is and by system."""
    shown = {
        name: {
            "metric": (1.0, metric, places),
            "imperial": (to_unit(inner, kind, spelt), read, few),
        }
        for name, (kind, inner, metric, places, spelt, read, few) in _UNITS.items()
    }
    # Gas is told in bar, as in the reports; answers carry it in MPa.
    psi = to_unit(1.0, "pressure", "psi")
    return {**shown, "gas": {"metric": (10.0, "bar", 0), "imperial": (psi, "psi", 0)}}

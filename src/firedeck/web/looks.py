"""How values are told and coloured on every page: the palette and looks of the printed report."""

from __future__ import annotations

from typing import Any

from firedeck.drawing.map_cells import CellState, state_look
from firedeck.drawing.style import PRESSURE_MAP
from firedeck.study.prints.tiles import COUNT_MPA

__all__ = ["page_looks"]

_COLOURS = 256


def page_looks() -> dict[str, Any]:
    """Return the palette, the looks of what is no reading, and how many MPa a count of a tile is."""
    colours = [
        [round(255 * part) for part in PRESSURE_MAP(step / (_COLOURS - 1))[:3]] for step in range(_COLOURS)
    ]
    states = {str(int(state)): state_look(state) for state in CellState if state not in (CellState.READ,)}
    return {"colours": colours, "states": states, "count_MPa": COUNT_MPA}

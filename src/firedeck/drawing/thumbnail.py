"""A map as a small bare picture, to be recognised in a list."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.colors import Normalize
from PIL import Image

from firedeck.drawing.map_cells import paint, shrink_map
from firedeck.pressure_map import PressureMap

__all__ = ["write_thumbnail"]

_WIDEST = 360


def write_thumbnail(pressure_map: PressureMap, path: Path) -> None:
    """Write a map as a PNG of a few hundred points, openings left clear.

    Parameters
    ----------
    pressure_map : PressureMap
        The map.
    path : Path
        File to write.
    """
    cells = shrink_map(pressure_map, widest=_WIDEST)
    image = paint(cells.value, cells.state, Normalize(0.0, pressure_map.stated_range[1]))
    Image.fromarray(np.ascontiguousarray(image[::-1])).save(path, format="PNG", optimize=True)

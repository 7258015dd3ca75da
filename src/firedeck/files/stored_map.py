"""A map on disk that is looked into piece by piece, without taking all of it into memory."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import h5py
import numpy as np

from firedeck.errors import FiredeckError
from firedeck.pressure_map import Conversion, Grid

__all__ = ["MapCell", "StoredMap"]


@dataclass(frozen=True)
class MapCell:
    """One cell of a map as stored.

    Attributes
    ----------
    pressure : float
        Contact pressure [MPa]; NaN where there is no film.
    noise : float
        Standard uncertainty that is independent of the neighbours [MPa].
    signal : float
        The quantity that may be averaged [1].
    flags : int
        Bits of `firedeck.evidence.FLAGS`.
    """

    pressure: float
    noise: float
    signal: float
    flags: int


class StoredMap:
    """A map that `write_map` wrote.

    Parameters
    ----------
    path : Path
        The NetCDF-4 file.

    Raises
    ------
    FiredeckError
        If the file is not such a map.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with _open(path) as data:
            rows, cols = data["pressure"].shape
            x0, y0, pitch = (_scalar(data, f"{name}_mm") for name in ("x0", "y0", "pitch"))
            self.grid = Grid(x0, y0, pitch, rows, cols)
            self.conversion = Conversion(
                np.asarray(data["curve_signal"][:], float),
                np.asarray(data["curve_pressure"][:], float),
                np.asarray(data["curve_modes"][:], float),
            )

    def cell(self, row: int, col: int) -> MapCell:
        """Read one cell.

        Parameters
        ----------
        row, col : int
            Place in the grid, row 0 lowest in y.

        Returns
        -------
        MapCell
            What stands there.
        """
        with _open(self.path) as data:
            names: tuple[Literal["pressure", "noise", "signal"], ...] = ("pressure", "noise", "signal")
            pressure, noise, signal = (float(data[name][row, col]) for name in names)
            return MapCell(pressure, noise, signal, int(data["flags"][row, col]))


def _scalar(data: h5py.File, name: str) -> float:
    """Return an attribute, which stands in the file as an array of one."""
    return float(np.asarray(data.attrs[name]).item())


@contextmanager
def _open(path: Path) -> Iterator[h5py.File]:
    try:
        with h5py.File(path, "r") as data:
            yield data
    except (OSError, KeyError, ValueError) as fault:
        raise FiredeckError(
            "this is not a pressure map that firedeck wrote", where=str(path), remedy="read the print again"
        ) from fault

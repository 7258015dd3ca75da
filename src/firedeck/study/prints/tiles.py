"""A map in tiles of several sizes, made when the reading is stored and looked up one by one afterwards."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from firedeck.drawing.map_cells import CellState, StateArray, cell_states
from firedeck.errors import FiredeckError
from firedeck.pressure_map import MapArray

__all__ = ["COUNT_MPA", "TILES_NAME", "TILE_CELLS", "Pooling", "counts_of", "packed_tile", "write_tiles"]

#: File with the map in tiles.
TILES_NAME = "tiles.sqlite"

#: Cells to a tile, each way.
TILE_CELLS = 512

#: Every level of the pyramid halves the one before.
_LEVELS = 6

#: Pressure [MPa] to one count of a 16-bit value; the highest count says that there is none.
COUNT_MPA = 0.005
_NO_VALUE = 65535

#: zlib's word for its quickest packing, and for the frame that a browser unpacks by itself (gzip).
_QUICK, _GZIP_FRAME = 1, 31


class Pooling(StrEnum):
    """What stands for the cells that share a screen point: their mean, highest or lowest."""

    MEAN = "mean"
    HIGHEST = "highest"
    LOWEST = "lowest"


def counts_of(pressure: MapArray) -> npt.NDArray[np.uint16]:
    """Turn pressure [MPa] into counts of `COUNT_MPA`, held at the ends; the highest where there is none."""
    seen = np.isfinite(pressure)
    scaled = np.rint(np.where(seen, pressure, 0.0) / np.float32(COUNT_MPA))
    return np.where(seen, np.clip(scaled, 0, _NO_VALUE - 1), _NO_VALUE).astype(np.uint16)


def write_tiles(path: Path, value: MapArray, flags: npt.NDArray[np.uint16]) -> None:
    """Write a map in tiles, the cells themselves and five times halved, once for every pooling.

    Parameters
    ----------
    path : Path
        File that does not exist yet.
    value : ndarray
        Pressure [MPa], shape (rows, cols), row 0 lowest in y; NaN where there is no film.
    flags : ndarray of uint16
        Bits of `firedeck.evidence.FLAGS`, same shape.
    """
    states = cell_states(value, flags)
    shown = np.where(states > CellState.SATURATED, np.float32(np.nan), value).astype(np.float32)
    # Tiles are counted from the upper edge, as pictures are.
    shown, states = np.ascontiguousarray(shown[::-1]), np.ascontiguousarray(states[::-1])
    with closing(sqlite3.connect(path)) as store, store:
        store.execute(
            "CREATE TABLE tile (pooling TEXT, level INTEGER, place_row INTEGER, place_column INTEGER, "
            "packed BLOB, PRIMARY KEY (pooling, level, place_row, place_column)) WITHOUT ROWID"
        )
        base = list(_cut(shown, states))
        for pooling in Pooling:
            _write_level(store, pooling, 0, base)
            halved, halved_states = shown, states
            for level in range(1, _LEVELS):
                halved, halved_states = _halve(halved, pooling), _halve_states(halved_states)
                _write_level(store, pooling, level, _cut(halved, halved_states))


def _write_level(
    store: sqlite3.Connection, pooling: Pooling, level: int, tiles: Iterable[tuple[int, int, bytes]]
) -> None:
    rows = ((pooling.value, level, row, column, packed) for row, column, packed in tiles)
    store.executemany("INSERT INTO tile VALUES (?, ?, ?, ?, ?)", rows)


def _cut(value: MapArray, states: StateArray) -> Iterator[tuple[int, int, bytes]]:
    """Yield row, column and packed content of every tile of a level."""
    counts, side = counts_of(value), TILE_CELLS
    for row in range(-(-counts.shape[0] // side)):
        for column in range(-(-counts.shape[1] // side)):
            place = np.s_[row * side : (row + 1) * side, column * side : (column + 1) * side]
            yield row, column, _packed(counts[place], states[place])


def _packed(counts: npt.NDArray[np.uint16], states: StateArray) -> bytes:
    value = np.full((TILE_CELLS, TILE_CELLS), _NO_VALUE, "<u2")
    state = np.full((TILE_CELLS, TILE_CELLS), CellState.OPEN, np.uint8)
    value[: counts.shape[0], : counts.shape[1]] = counts
    state[: counts.shape[0], : counts.shape[1]] = states
    packer = zlib.compressobj(_QUICK, wbits=_GZIP_FRAME)
    return packer.compress(value.tobytes() + state.tobytes()) + packer.flush()


def packed_tile(path: Path, pooling: Pooling, level: int, column: int, row: int) -> bytes:
    """Return one tile of the map, packed.

    Parameters
    ----------
    path : Path
        File that `write_tiles` wrote.
    pooling : Pooling
        What stands for cells that share a place.
    level : int
        0 for the cells themselves; every further one halves the map.
    column, row : int
        Place of the tile, counted from the upper left.

    Returns
    -------
    bytes
        Packed by gzip: ``TILE_CELLS`` squared counts of pressure, 16 bit, lowest byte first, then as many
        bytes that say how each is to be shown.

    Raises
    ------
    FiredeckError
        If there is no such tile, or the file cannot be read.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)) as store:
            found = store.execute(
                "SELECT packed FROM tile WHERE pooling = ? AND level = ? "
                "AND place_row = ? AND place_column = ?",
                (pooling.value, level, row, column),
            ).fetchone()
    except (sqlite3.Error, OverflowError) as fault:
        raise FiredeckError(
            "the tiles of the map cannot be read", where=path.name, remedy="read the print again"
        ) from fault
    if found is None:
        raise FiredeckError("the map has no such tile")
    return bytes(found[0])


def _quarters(values: npt.NDArray[Any], outside: float) -> list[npt.NDArray[Any]]:
    """Return the four cells of every block of two by two."""
    high, wide = values.shape
    even = np.pad(values, ((0, high % 2), (0, wide % 2)), constant_values=outside)
    return [even[down::2, right::2] for down in (0, 1) for right in (0, 1)]


def _halve(value: MapArray, pooling: Pooling) -> MapArray:
    a, b, c, d = _quarters(value, np.nan)
    if pooling is Pooling.MEAN:
        quarters = (a, b, c, d)
        total = sum(np.nan_to_num(part, nan=0.0) for part in quarters)
        count = sum(np.isfinite(part).astype(np.float32) for part in quarters)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(total / count, np.float32)
    pick = np.fmax if pooling is Pooling.HIGHEST else np.fmin
    return np.asarray(pick(pick(a, b), pick(c, d)), np.float32)


def _halve_states(states: StateArray) -> StateArray:
    """Let one cell of four speak, but a saturated one always: an upper bound that vanished would mislead."""
    a, b, c, d = _quarters(states, CellState.OPEN)
    shown = a.copy()
    for part in (b, c, d):
        shown = np.where(part == CellState.SATURATED, part, shown)
        shown = np.where((shown > CellState.SATURATED) & (part <= CellState.SATURATED), part, shown)
    return shown.astype(np.uint8)

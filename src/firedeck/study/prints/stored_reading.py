"""A reading opened again: its record, its map in tiles, the value at a point, its unrolled seals."""

from __future__ import annotations

import hashlib
import json
import math
import threading
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from firedeck.drawing.map_cells import CellState, StateArray, cell_states
from firedeck.errors import FiredeckError
from firedeck.evidence import FLAGS, Estimate, decode_flags
from firedeck.files.scan_file import file_hash
from firedeck.files.stored_map import MapCell, StoredMap
from firedeck.pressure_map import MapArray
from firedeck.report.words import NOT_SHOWN, number
from firedeck.study.prints.stored_record import FORMAT, RECORD_NAME, STRIPS_NAME, counts_of

__all__ = ["TILE_CELLS", "PointReading", "Pooling", "StoredReading", "is_current"]

#: Cells to a tile, each way.
TILE_CELLS = 256

#: Every level of the pyramid halves the one before.
_LEVELS = 6


class Pooling(StrEnum):
    """What stands for the cells that share a screen point: their mean, highest or lowest."""

    MEAN = "mean"
    HIGHEST = "highest"
    LOWEST = "lowest"


@dataclass(frozen=True)
class PointReading:
    """What the print says at one point.

    Attributes
    ----------
    x, y : float
        The point [mm].
    pressure : float or None
        Contact pressure of the cell there [MPa]; None where there is none.
    standard : float or None
        Its standard uncertainty, grain of the film and calibration together [MPa].
    text : str
        Both in words.
    flags : tuple of str
        Reasons to doubt the value, in short words.
    """

    x: float
    y: float
    pressure: float | None
    standard: float | None
    text: str
    flags: tuple[str, ...]


class StoredReading:
    """A reading that `store_reading` kept.

    Parameters
    ----------
    folder : Path
        Folder of the report.

    Raises
    ------
    FiredeckError
        If the folder holds no reading, or one of another format.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        text = _record_text(folder)
        self.record: dict[str, Any] = json.loads(text)
        self.revision = hashlib.sha256(text.encode()).hexdigest()[:12]
        self.map = StoredMap(folder / "map.nc")
        self._pyramids: dict[Pooling, list[tuple[npt.NDArray[np.uint16], StateArray]]] = {}
        self._lock = threading.Lock()

    @cached_property
    def _base(self) -> tuple[MapArray, StateArray]:
        value = self.map.pressure()
        states = cell_states(value, self.map.flags())
        value[states > CellState.SATURATED] = np.nan
        # Tiles are counted from the upper edge, as pictures are.
        return np.ascontiguousarray(value[::-1]), np.ascontiguousarray(states[::-1])

    def warm(self) -> None:
        """Make the map's means ready, so that the first tile need not wait for them."""
        self._pyramid(Pooling.MEAN)

    def _pyramid(self, pooling: Pooling) -> list[tuple[npt.NDArray[np.uint16], StateArray]]:
        with self._lock:
            return self._made_pyramid(pooling)

    def _made_pyramid(self, pooling: Pooling) -> list[tuple[npt.NDArray[np.uint16], StateArray]]:
        if pooling not in self._pyramids:
            value, states = self._base
            levels = [(counts_of(value), states)]
            for _ in range(_LEVELS - 1):
                value, states = _halve(value, pooling), _halve_states(states)
                levels.append((counts_of(value), states))
            self._pyramids[pooling] = levels
        return self._pyramids[pooling]

    def tile(self, pooling: Pooling, level: int, column: int, row: int) -> bytes:
        """Return one tile of the map.

        Parameters
        ----------
        pooling : Pooling
            What stands for cells that share a place.
        level : int
            0 for the cells themselves; every further one halves the map.
        column, row : int
            Place of the tile, counted from the upper left.

        Returns
        -------
        bytes
            ``TILE_CELLS`` squared counts of pressure, 16 bit, lowest byte first, then as many bytes that
            say how each is to be shown.

        Raises
        ------
        FiredeckError
            If there is no such tile.
        """
        levels = self._pyramid(pooling)
        if not 0 <= level < len(levels):
            raise FiredeckError(f"the map has no level {level}")
        counts, states = levels[level]
        place = np.s_[
            row * TILE_CELLS : (row + 1) * TILE_CELLS, column * TILE_CELLS : (column + 1) * TILE_CELLS
        ]
        part = counts[place] if row >= 0 and column >= 0 else counts[:0]
        if not part.size:
            raise FiredeckError("the map has no such tile")
        value = np.full((TILE_CELLS, TILE_CELLS), 65535, "<u2")
        state = np.full((TILE_CELLS, TILE_CELLS), CellState.OPEN, np.uint8)
        value[: part.shape[0], : part.shape[1]] = part
        state[: part.shape[0], : part.shape[1]] = states[place]
        return value.tobytes() + state.tobytes()

    def at(self, x: float, y: float) -> PointReading:
        """Return what the print says at a point [mm]."""
        grid = self.map.grid
        if not (math.isfinite(x) and math.isfinite(y)):
            return PointReading(0.0, 0.0, None, None, NOT_SHOWN, ())
        row, col = math.floor((y - grid.y0) / grid.pitch), math.floor((x - grid.x0) / grid.pitch)
        if not (0 <= row < grid.rows and 0 <= col < grid.cols):
            return PointReading(x, y, None, None, "off the map", ())
        return self._worded(x, y, self.map.cell(row, col))

    def _worded(self, x: float, y: float, cell: MapCell) -> PointReading:
        names = decode_flags(cell.flags)
        words = tuple(FLAGS[name].short for name in names)
        if not math.isfinite(cell.pressure) or {"hole", "outside-sheet"} & set(names):
            return PointReading(x, y, None, None, ", ".join(words) or NOT_SHOWN, words)
        common = self.map.conversion.mode_shifts([cell.signal])[:, 0]
        standard = math.hypot(cell.noise, *common.tolist())
        text = _pressure_words(cell.pressure, standard, names, self.record["lowest_MPa"])
        return PointReading(x, y, cell.pressure, standard, text, words)

    def strip(self, seal: int) -> tuple[tuple[int, int], bytes]:
        """Return an unrolled seal.

        Parameters
        ----------
        seal : int
            Its place among the seals.

        Returns
        -------
        shape : tuple of int
            Samples across and along the seal.
        data : bytes
            Counts and states as in `tile`, row by row from the outer edge inwards.

        Raises
        ------
        FiredeckError
            If there is no such seal.
        """
        with np.load(self.folder / STRIPS_NAME, allow_pickle=False) as stored:
            if f"value{seal}" not in stored:
                raise FiredeckError(f"the reading has no seal number {seal}")
            value = stored[f"value{seal}"].T[::-1].astype("<u2")
            states = stored[f"state{seal}"].T[::-1].astype(np.uint8)
        return (value.shape[0], value.shape[1]), value.tobytes() + states.tobytes()


def _pressure_words(pressure: float, standard: float, flags: tuple[str, ...], lowest: float) -> str:
    if "saturated" in flags:
        return f"at least {number(pressure)} MPa"
    if "below-range" in flags:
        return f"at most {number(lowest)} MPa"
    half = Estimate.from_standard(pressure, standard)
    places = 1 if (half.high - half.low) / 2 >= 0.2 else 2
    return f"{pressure:.{places}f} ± {standard:.{places}f} MPa"


def _record_text(folder: Path) -> str:
    try:
        text = (folder / RECORD_NAME).read_text(encoding="utf-8")
        stored = json.loads(text).get("format")
    except (OSError, ValueError, AttributeError) as fault:
        raise FiredeckError(
            "the folder holds no reading that can be opened", where=folder.name, remedy="read the print again"
        ) from fault
    if stored != FORMAT:
        raise FiredeckError(
            "the reading was kept by another version of firedeck",
            where=folder.name,
            remedy="read the print again",
        )
    return text


def is_current(record: dict[str, Any], folder: Path) -> bool:
    """Tell whether a reading's definitions and scans are still what they were when it was made.

    Parameters
    ----------
    record : dict
        Record of the reading.
    folder : Path
        Folder with the definitions and scans.
    """
    try:
        hashed = all(file_hash(folder / name) == known for name, known in record["inputs"].items())
        stamps = all(
            [found.st_size, found.st_mtime_ns] == known
            for name, known in record["scans"].items()
            if (found := (folder / name).stat())
        )
    except (OSError, FiredeckError):
        return False
    return hashed and stamps


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

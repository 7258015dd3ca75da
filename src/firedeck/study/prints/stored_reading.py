"""A reading opened again: its record, its map tile by tile, the value at a point, its unrolled seals."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firedeck.errors import FiredeckError
from firedeck.evidence import FLAGS, Estimate, decode_flags
from firedeck.files.scan_file import file_hash
from firedeck.files.stored_map import MapCell, StoredMap
from firedeck.report.words import NOT_SHOWN, number
from firedeck.study.prints.stored_record import FORMAT, RECORD_NAME, STRIPS_NAME
from firedeck.study.prints.tiles import TILES_NAME, Pooling, packed_tile

__all__ = ["PointReading", "StoredReading", "is_current"]


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

    def tile(self, pooling: Pooling, level: int, column: int, row: int) -> bytes:
        """Return one tile of the map as `firedeck.study.prints.tiles.packed_tile` does."""
        return packed_tile(self.folder / TILES_NAME, pooling, level, column, row)

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
            Counts and states as in an unpacked tile, row by row from the outer edge inwards.

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

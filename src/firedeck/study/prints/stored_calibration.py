"""A film calibration opened again: its record, its batch and what its pieces showed."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import read_definition
from firedeck.study.prints.found_pieces import PIECES_NAME, USED

__all__ = ["CalibrationPiece", "StoredCalibration", "stored_calibration"]

#: A piece is looked at where the curve misses it by so many times what it misses the middle one by [1], and
#: by no less than this share of its pressure [1]; common practice, no source.
_STRAY, _LEAST_STRAY = 5.0, 0.08


@dataclass(frozen=True)
class CalibrationPiece:
    """One piece.

    Attributes
    ----------
    number : int
        Its place in reading order, from 1.
    pressure : float
        Pressure that the record states [MPa].
    share : float
        Share of light that its dye takes away [1].
    density : float
        Density above the blank film [1].
    read : float or None
        Pressure that the curve reads from it [MPa]; None beyond the curve's ends.
    standing : str
        Whether the curve rests on it, and if not why.
    """

    number: int
    pressure: float
    share: float
    density: float
    read: float | None
    standing: str = USED

    @property
    def off(self) -> float | None:
        """How far the curve's pressure lies from that stated, relative to it [1]."""
        return None if self.read is None or not self.pressure else self.read / self.pressure - 1.0


@dataclass(frozen=True)
class StoredCalibration:
    """A calibration's record with what is known of it.

    Attributes
    ----------
    record : FilmCalibration
        The record.
    batch : FilmBatch
        The film batch as it stands in its file now.
    pieces : tuple of CalibrationPiece
        Empty where the calibration was not done.
    current : bool
        Whether record and scan are older than the report.
    found : mapping or None
        Size of the scan and edges of the pieces on it [mm]; None where there is no scan.
    """

    record: FilmCalibration
    batch: FilmBatch
    pieces: tuple[CalibrationPiece, ...]
    current: bool
    found: dict[str, Any] | None = None

    @property
    def stray(self) -> tuple[int, ...]:
        """Numbers of the pieces that the curve misses by far more than the others."""
        off = {piece.number: abs(piece.off) for piece in self.pieces if piece.off is not None}
        if not off:
            return ()
        bound = max(_LEAST_STRAY, _STRAY * float(np.median(list(off.values()))))
        return tuple(number for number, far in off.items() if far > bound)


def stored_calibration(record_file: Path, folder: Path) -> StoredCalibration:
    """Open a calibration.

    Parameters
    ----------
    record_file : Path
        Its record.
    folder : Path
        Folder of its report; it need not be there.

    Raises
    ------
    FiredeckError
        If the record or its film batch is faulty, or the report's tables cannot be read.
    """
    record = read_definition(record_file, FilmCalibration)
    batch = read_definition(record_file.parent / record.film, FilmBatch)
    report = folder / "report.html"
    if not report.is_file() or not (folder / "pieces.csv").is_file():
        return StoredCalibration(record, batch, (), current=False)
    inputs = [record_file, *([record_file.parent / record.scan] if record.scan else [])]
    written = report.stat().st_mtime_ns
    current = all(path.is_file() and path.stat().st_mtime_ns <= written for path in inputs)
    return StoredCalibration(record, batch, _pieces(folder), current, _found(folder))


def _pieces(folder: Path) -> tuple[CalibrationPiece, ...]:
    try:
        curve = _numbers(folder / "curve.csv", ("net_density", "pressure_MPa"))
        rows = _numbers(folder / "pieces.csv", ("piece", "pressure_MPa", "share_of_light", "net_density"))
        standing = _column(folder / "pieces.csv", "standing")
    except (OSError, ValueError, KeyError) as fault:
        raise FiredeckError(
            "the report of this calibration cannot be read", where=folder.name, remedy="calibrate again"
        ) from fault
    density, pressure = np.array(curve).T
    pieces = []
    for (number, stated, share, shown), told in zip(rows, standing, strict=True):
        inside = density[0] <= shown <= density[-1]
        read = float(np.exp(np.interp(shown, density, np.log(pressure)))) if inside else None
        pieces.append(CalibrationPiece(int(number), stated, share, shown, read, told))
    return tuple(pieces)


def _found(folder: Path) -> dict[str, Any] | None:
    """Return what was found on the scan, None where the curve comes from a table."""
    try:
        found = json.loads((folder / PIECES_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) and found.get("format") == 1 else None


def _column(path: Path, name: str) -> list[str]:
    with path.open(encoding="utf-8", newline="") as file:
        return [row.get(name) or USED for row in csv.DictReader(file)]


def _numbers(path: Path, columns: tuple[str, ...]) -> list[tuple[float, ...]]:
    with path.open(encoding="utf-8", newline="") as file:
        return [tuple(float(row[name]) for name in columns) for row in csv.DictReader(file)]

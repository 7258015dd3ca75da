"""A film calibration opened again: its record, its batch and what its pieces showed."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import read_definition

__all__ = ["CalibrationPiece", "StoredCalibration", "stored_calibration"]


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
    """

    number: int
    pressure: float
    share: float
    density: float
    read: float | None

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
    """

    record: FilmCalibration
    batch: FilmBatch
    pieces: tuple[CalibrationPiece, ...]
    current: bool


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
    return StoredCalibration(record, batch, _pieces(folder), current)


def _pieces(folder: Path) -> tuple[CalibrationPiece, ...]:
    try:
        curve = _numbers(folder / "curve.csv", ("net_density", "pressure_MPa"))
        rows = _numbers(folder / "pieces.csv", ("piece", "pressure_MPa", "share_of_light", "net_density"))
    except (OSError, ValueError, KeyError) as fault:
        raise FiredeckError(
            "the report of this calibration cannot be read", where=folder.name, remedy="calibrate again"
        ) from fault
    density, pressure = np.array(curve).T
    pieces = []
    for number, stated, share, shown in rows:
        inside = density[0] <= shown <= density[-1]
        read = float(np.exp(np.interp(shown, density, np.log(pressure)))) if inside else None
        pieces.append(CalibrationPiece(int(number), stated, share, shown, read))
    return tuple(pieces)


def _numbers(path: Path, columns: tuple[str, ...]) -> list[tuple[float, ...]]:
    with path.open(encoding="utf-8", newline="") as file:
        return [tuple(float(row[name]) for name in columns) for row in csv.DictReader(file)]

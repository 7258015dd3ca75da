"""Calibrate a film batch from a scan of calibration pieces, or from a table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film import FilmBatch, Response
from firedeck.errors import PrintError
from firedeck.files.definition_file import read_definition, write_definition
from firedeck.film.picture import ScanPicture
from firedeck.film.pieces import FoundPiece, find_pieces, read_pieces
from firedeck.film.response import PieceReading, fit_response, signal_of
from firedeck.study.prints.scanning import load_scan
from firedeck.study.progress import Progress, silent

__all__ = ["CalibrationResult", "calibrate_film"]

_COLOURS = ("red", "green", "blue")


@dataclass(frozen=True)
class CalibrationResult:
    """A calibrated batch with the readings behind it.

    Attributes
    ----------
    batch : FilmBatch
        The batch, now with its response curve.
    pieces : tuple of PieceReading
        What every piece showed.
    channel : int
        Index of the measuring channel in the pieces' signals.
    notes : tuple of str
        Assumptions in plain sentences.
    picture : ScanPicture or None
        The scan; None where the curve comes from a table.
    found : tuple of FoundPiece
        The pieces on it in the order of `pieces`, and behind them what was not taken for one.
    """

    batch: FilmBatch
    pieces: tuple[PieceReading, ...]
    channel: int
    notes: tuple[str, ...]
    picture: ScanPicture | None = None
    found: tuple[FoundPiece, ...] = ()


@dataclass(frozen=True)
class _Readings:
    """What stands on a calibration scan, or in a table."""

    pieces: list[PieceReading]
    channels: tuple[str, ...]
    notes: tuple[str, ...]
    picture: ScanPicture | None = None
    found: tuple[FoundPiece, ...] = ()


def calibrate_film(
    record_file: Path, *, out: Path | None = None, progress: Progress = silent
) -> CalibrationResult:
    """Read the pieces of a calibration record and fit the film's response curve.

    Parameters
    ----------
    record_file : Path
        Calibration record; names in it are relative to its folder.
    out : Path, optional
        Where to write the calibrated film batch; the record's own film file by default.
    progress : callable
        Told how far the work is.

    Returns
    -------
    CalibrationResult
        The batch as written.

    Raises
    ------
    FiredeckError
        For faults in the record, the scan or the pieces; nothing is written then.
    """
    record = read_definition(record_file, FilmCalibration)
    film_file = record_file.parent / record.film
    batch = read_definition(film_file, FilmBatch)
    read = _readings(record, record_file.parent, progress)
    progress("fitting the response curve", 0.9)
    response = fit_response(read.pieces, read.channels, pressure_error=record.pressure_uncertainty)
    _check_range(batch, response)
    calibrated = batch.model_copy(
        update={
            "response": response,
            "calibrated": record.date,
            "climate": record.climate,
            "load_profile": record.load_profile,
            "scanner": record.scanner,
        }
    )
    write_definition(out or film_file, calibrated)
    channel = read.channels.index(response.channel)
    return CalibrationResult(calibrated, tuple(read.pieces), channel, read.notes, read.picture, read.found)


def _readings(record: FilmCalibration, folder: Path, progress: Progress) -> _Readings:
    if record.table:
        pieces = [
            PieceReading(row.pressure, (float(signal_of(row.net_density)),), (0.0,)) for row in record.table
        ]
        note = "The curve comes from a table of densities: the film's grain is not known and taken as zero."
        return _Readings(pieces, ("green",), (note,))
    loaded = load_scan(
        folder / record.scan, record.scanner.transfer, resolution=record.resolution, progress=progress
    )
    disc = float(record.disc or 0.0)
    found = find_pieces(loaded.picture, disc_mm=disc, expected=len(record.pieces))
    pressures = tuple(piece.pressure for piece in record.pieces)
    channels = _COLOURS if loaded.picture.coarse.shape[-1] == len(_COLOURS) else ("grey",)
    pieces = read_pieces(loaded.picture, found, pressures, disc_mm=disc)
    return _Readings(pieces, channels, loaded.notes, loaded.picture, tuple(found))


def _check_range(batch: FilmBatch, response: Response) -> None:
    if response.pressure[0] >= batch.range_high or response.pressure[-1] <= batch.range_low:
        raise PrintError(
            f"the pieces answer from {response.pressure[0]:.3g} to {response.pressure[-1]:.3g} MPa, "
            f"outside the film's stated {batch.range_low:g} to {batch.range_high:g} MPa",
            remedy="check the pieces' pressures and the film's data sheet",
        )

"""The record of a film calibration: pieces of film pressed to known pressures, in reading order."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, model_validator

from firedeck.definition.film import Climate, LoadProfile, ScannerSetup
from firedeck.definition.quantities import Definition, Fraction, Length, Pressure, Resolution

__all__ = ["CalibrationPiece", "FilmCalibration", "TableRow"]


class CalibrationPiece(Definition):
    """One piece on the scan; `pressure` [MPa] it was pressed to, 0 for an unpressed one."""

    pressure: Pressure = Field(ge=0)
    note: str = ""


class TableRow(Definition):
    """One reading made elsewhere: pressure [MPa] and density above the unexposed film."""

    pressure: Pressure = Field(ge=0)
    net_density: float = Field(ge=0, le=5)


class FilmCalibration(Definition):
    """How a film batch's response was found: one scan with its pieces, or a table of readings.

    Attributes
    ----------
    film : str
        Film batch file that the calibration is for.
    scan : str
        Scan file that holds all pieces; empty when a table is given.
    resolution : float, optional
        Resolution of the scan [pixels/mm], only where its file has none.
    disc : float, optional
        Diameter of the stain that the press leaves on a piece [mm].
    pressure_uncertainty : float
        Relative standard uncertainty of the pressures, common to all pieces [1]. The 1 % that
        stands for a record without it is common practice, no source: state your press's own.
    piece : tuple of CalibrationPiece
        Pieces in reading order: left to right, then top to bottom as seen on the scan.
    table : tuple of TableRow
        Readings, instead of a scan.
    """

    kind: Literal["film-calibration"]
    format: Literal[1] = 1
    film: str = Field(min_length=1, description="film batch file")
    date: dt.date
    operator: str = ""
    note: str = ""
    scan: str = ""
    resolution: Resolution | None = Field(default=None, gt=0)
    disc: Length | None = Field(default=None, gt=0, description="diameter of the stain")
    pressure_uncertainty: Fraction = Field(default=0.01, gt=0, lt=1)
    climate: Climate
    load_profile: LoadProfile = Field(alias="load-profile")
    scanner: ScannerSetup
    pieces: tuple[CalibrationPiece, ...] = Field(default=(), alias="piece")
    table: tuple[TableRow, ...] = ()

    @model_validator(mode="after")
    def _one_kind_of_reading(self) -> FilmCalibration:
        if bool(self.scan or self.pieces) == bool(self.table):
            raise ValueError(
                "a calibration needs either a scan with its pieces, or a table|give one of the two"
            )
        if bool(self.scan) != bool(self.pieces):
            raise ValueError("a scan and its pieces belong together|give both scan and the piece entries")
        if self.scan and self.disc is None:
            raise ValueError(
                'the stain\'s diameter is needed to find it on the scan|add disc, for example disc = "10 mm"'
            )
        return self

    @model_validator(mode="after")
    def _enough_levels(self) -> FilmCalibration:
        readings = self.pieces or self.table
        levels = {reading.pressure for reading in readings if reading.pressure > 0}
        if readings and len(levels) < 3:
            raise ValueError(
                f"a response curve needs at least three different pressures above zero, {len(levels)} given"
                "|press more pieces, 8 to 12 levels are usual"
            )
        return self

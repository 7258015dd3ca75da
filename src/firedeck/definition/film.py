"""A film batch: stated range, conditions of calibration and response curve."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Literal

from pydantic import Field, model_validator

from firedeck.definition.quantities import Definition, Duration, Fraction, Length, Pressure, Temperature

__all__ = ["Climate", "FilmBatch", "LoadProfile", "Response", "ScannerSetup", "TransferSetting"]


class Climate(Definition):
    """Air at the exposure: temperature [degC] and relative humidity [1]."""

    temperature: Temperature
    humidity: Fraction = Field(ge=0, le=1)


class LoadProfile(Definition):
    """How the load came on: time to reach it, time held, and time from release to scan [s]."""

    rise: Duration = Field(ge=0)
    hold: Duration = Field(ge=0)
    scan_delay: Duration = Field(ge=0)


class TransferSetting(Definition):
    """How code values stand for light: named, by exponent, or measured on a step wedge."""

    encoding: Literal["linear", "srgb", "gamma", "wedge", "embedded"]
    gamma: float | None = Field(default=None, gt=0.2, lt=5)
    codes: tuple[float, ...] = ()
    densities: tuple[float, ...] = ()

    @model_validator(mode="after")
    def _complete(self) -> TransferSetting:
        if self.encoding == "gamma" and self.gamma is None:
            raise ValueError("encoding gamma needs the exponent|add gamma = 2.2 or what your scanner states")
        if self.encoding == "wedge" and (len(self.codes) < 3 or len(self.codes) != len(self.densities)):
            raise ValueError(
                "a wedge needs at least three codes and as many densities|list both, dark to light"
            )
        return self


class ScannerSetup(Definition):
    """One scanner unit with its settings; a response curve holds for this pair only."""

    name: str = Field(min_length=1)
    settings: str = ""
    transfer: TransferSetting


class Response(Definition):
    """Monotone curve from net density to pressure, with the covariance of its logarithm.

    `net_density` is density above the unexposed film; `pressure` the pressure there [MPa];
    `log_covariance` the covariance of ln(pressure) between the knots, calibration-wide
    (common to every reading); `grain_mm` the noise of density times length, the standard
    deviation that an averaging square of side 1 mm would show, at every knot.
    """

    net_density: tuple[float, ...] = Field(min_length=3)
    pressure: tuple[Pressure, ...] = Field(min_length=3)
    log_covariance: tuple[tuple[float, ...], ...]
    grain_mm: tuple[float, ...]
    channel: Literal["red", "green", "blue", "grey"]
    levels: int = Field(ge=3)
    pieces: int = Field(ge=3)
    hold_out_error: float = Field(ge=0, description="largest relative pressure error, one level left out")
    shape_check: float = Field(ge=0, description="largest relative difference from a four-parameter S-curve")

    @model_validator(mode="after")
    def _consistent(self) -> Response:
        count = len(self.net_density)
        if len(self.pressure) != count or len(self.grain_mm) != count:
            raise ValueError("net_density, pressure and grain_mm need equal lengths|recalibrate the film")
        if len(self.log_covariance) != count or any(len(row) != count for row in self.log_covariance):
            raise ValueError("log_covariance needs one row and column per knot|recalibrate the film")
        for series in (self.net_density, self.pressure):
            if any(later <= earlier for earlier, later in itertools.pairwise(series)):
                raise ValueError("the curve must rise from knot to knot|recalibrate the film")
        return self


class FilmBatch(Definition):
    """One lot of pressure-indicating film, with the range its sheet states [MPa]."""

    kind: Literal["film-batch"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    lot: str = Field(min_length=1)
    expiry: dt.date | None = None
    sheets: Literal["one", "two"]
    thickness: Length = Field(gt=0, description="of the film as it lies in the joint")
    range_low: Pressure = Field(gt=0)
    range_high: Pressure = Field(gt=0)
    calibrated: dt.date | None = None
    climate: Climate | None = None
    load_profile: LoadProfile | None = Field(default=None, alias="load-profile")
    scanner: ScannerSetup | None = None
    response: Response | None = None

    @model_validator(mode="after")
    def _ordered(self) -> FilmBatch:
        if self.range_low >= self.range_high:
            raise ValueError("range_low must be below range_high|check the film's data sheet")
        return self

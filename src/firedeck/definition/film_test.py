"""The record of a film test: one assembly on one gasket, with its prints."""

from __future__ import annotations

import datetime as dt
from typing import Literal

import shapely
from pydantic import Field, field_validator, model_validator

from firedeck.definition.film import Climate, LoadProfile, ScannerSetup
from firedeck.definition.quantities import Definition, Force, Fraction, Point, Resolution, Torque

__all__ = ["AssemblyStep", "Clamp", "FilmTest", "Landmark", "Mask", "Mismatch", "Scan"]


#: Ways in which a calibration may not fit a test.
Mismatch = Literal["expired", "lot", "scanner", "climate", "delay", "load-profile", "fired"]


class Scan(Definition):
    """One scan file of the test; `resolution` [pixels/mm] only where the file has none."""

    file: str = Field(min_length=1)
    resolution: Resolution | None = Field(default=None, gt=0)
    mirrored: bool | None = Field(default=None, description="seen from the block; not given = found out")


class AssemblyStep(Definition):
    """One step of the tightening, torque [N*mm]."""

    note: str = ""
    torque: Torque | None = Field(default=None, gt=0)


class Clamp(Definition):
    """Preload expected of all fasteners together [N], and its relative standard uncertainty [1]."""

    total: Force = Field(gt=0)
    uncertainty: Fraction = Field(gt=0, lt=1)
    basis: str = Field(min_length=1, description="how the preload is known")


class Landmark(Definition):
    """A point of the scan, in pixels of the upright picture, and where it lies on the plan [mm]."""

    scan: str
    pixel: Point
    plan: Point


class Mask(Definition):
    """An area of the deck left out of the reading, in plan coordinates [mm]."""

    reason: str = Field(min_length=1)
    path: tuple[Point, ...] = Field(min_length=3)

    @field_validator("path")
    @classmethod
    def _plain_outline(cls, path: tuple[Point, ...]) -> tuple[Point, ...]:
        # An outline that crosses itself would leave the part that it goes round twice in the reading.
        if len(set(path)) < 3 or not shapely.Polygon(path).is_valid:
            raise ValueError(
                "the outline crosses or touches itself, or holds no area"
                "|name the corners in order round the area, each once; draw two areas where two are meant"
            )
        return path


class FilmTest(Definition):
    """What was done, with what, and which files hold the prints."""

    kind: Literal["film-test"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    date: dt.date
    operator: str = ""
    note: str = ""
    deck: str = Field(min_length=1, description="deck plan file")
    gasket: str = Field(min_length=1, description="gasket file")
    film: str = Field(min_length=1, description="film batch file")
    film_lot: str = Field(
        default="", description="lot printed on the film used; not given = the batch file's"
    )
    criteria: str = ""
    film_face: Literal["head", "block"] = Field(description="face of the gasket that the film lay on")
    gasket_use: int = Field(ge=1, description="how many times this gasket has now been clamped")
    gasket_fired: bool = False
    orientation_mark: str = ""
    climate: Climate
    load_profile: LoadProfile = Field(alias="load-profile")
    scanner: ScannerSetup
    steps: tuple[AssemblyStep, ...] = Field(default=(), alias="step")
    clamp: Clamp | None = None
    scans: tuple[Scan, ...] = Field(alias="scan", min_length=1)
    accept: tuple[Mismatch, ...] = Field(
        default=(), description="ways in which calibration and test differ and are accepted"
    )
    landmarks: tuple[Landmark, ...] = Field(default=(), alias="landmark")
    masks: tuple[Mask, ...] = Field(default=(), alias="mask")

    @model_validator(mode="after")
    def _landmarks_known(self) -> FilmTest:
        files = {scan.file for scan in self.scans}
        for landmark in self.landmarks:
            if landmark.scan not in files:
                raise ValueError(
                    f"landmark names {landmark.scan!r}, which is not a scan here|use a file listed"
                )
        return self

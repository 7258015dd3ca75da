"""The deck plan: the sealing plane seen from the head looking down on the block, in millimetres."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from pydantic import Field, model_validator

from firedeck.definition.quantities import Definition, Length, Point

__all__ = ["OUTSIDE", "Bore", "DeckPlan", "Dowel", "FastenerHole", "Port", "PortKind", "Seal", "SealKind"]

#: Name of the medium beyond the outline.
OUTSIDE = "outside"

_INCH_MM = 25.4


class PortKind(StrEnum):
    """What flows through a port."""

    COOLANT = "coolant"
    OIL_FEED = "oil-feed"
    OIL_RETURN = "oil-return"
    OTHER = "other"


class SealKind(StrEnum):
    """How a seal presses: stopper ring, arch, step or flat area."""

    RING = "ring"
    FULL_BEAD = "full-bead"
    HALF_BEAD = "half-bead"
    LAND = "land"


class _Round(Definition):
    name: str = Field(min_length=1)
    centre: Point
    diameter: Length = Field(gt=0)


class Bore(_Round):
    """A cylinder bore; `diameter` [mm] is the gasket's or the cylinder's opening in the sealing plane."""


class FastenerHole(_Round):
    """A hole that a bolt or stud passes through, diameter [mm]."""


class Dowel(_Round):
    """A locating dowel's hole, diameter [mm]."""


class Port(Definition):
    """An opening for coolant or oil: round (centre, diameter) or any closed path [mm]."""

    name: str = Field(min_length=1)
    kind: PortKind
    centre: Point | None = None
    diameter: Length | None = Field(default=None, gt=0)
    path: tuple[Point, ...] = ()

    @model_validator(mode="after")
    def _one_shape(self) -> Port:
        round_given = self.centre is not None and self.diameter is not None
        if round_given == bool(self.path):
            raise ValueError("a port needs either centre and diameter, or a path|give one of the two")
        if self.path and len(self.path) < 3:
            raise ValueError("a path needs at least three points|add points")
        return self


class Seal(Definition):
    """A closed line on the gasket that keeps two media apart.

    The line is given by `around` a bore, port or the outline at an `offset` from its edge
    (positive away from the opening, or from the outline inwards), or by `path` points [mm].
    `band` is the full width [mm] across the line within which its load is gathered.
    `inside` names the media that the line encloses; empty means the one it lies around.
    `outside` names the media beyond it; empty means every other one.
    """

    name: str = Field(min_length=1)
    kind: SealKind
    around: str = ""
    offset: Length = 0.0
    path: tuple[Point, ...] = ()
    band: Length = Field(gt=0)
    inside: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _one_line(self) -> Seal:
        if bool(self.around) == bool(self.path):
            raise ValueError("a seal needs either around or path|give one of the two")
        if self.path and len(self.path) < 3:
            raise ValueError("a path needs at least three points|add points")
        if self.path and not self.inside:
            raise ValueError('a seal given by its path must name what it encloses|add inside = ["..."]')
        return self

    @property
    def enclosed(self) -> tuple[str, ...]:
        """Names of the media that the seal encloses."""
        return self.inside or (self.around,)


class DeckPlan(Definition):
    """Plan view of the sealing plane: outline, openings, fasteners and seals.

    Coordinates are seen from the head looking down on the block, x to the right, y up, in
    millimetres; a file in inches says ``coordinates = "in"`` and is converted on reading.
    """

    kind: Literal["deck-plan"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    note: str = ""
    origin: str = Field(default="as drawn", description="what the point 0, 0 is on the real part")
    coordinates: Literal["mm", "in"] = "mm"
    outline: tuple[Point, ...] = Field(min_length=3)
    bores: tuple[Bore, ...] = Field(alias="bore", min_length=1)
    fastener_holes: tuple[FastenerHole, ...] = Field(default=(), alias="fastener-hole")
    dowels: tuple[Dowel, ...] = Field(default=(), alias="dowel")
    ports: tuple[Port, ...] = Field(default=(), alias="port")
    seals: tuple[Seal, ...] = Field(default=(), alias="seal")

    @model_validator(mode="before")
    @classmethod
    def _inches_to_mm(cls, data: object) -> object:
        if isinstance(data, dict) and data.get("coordinates") == "in":
            return {**{key: _scaled(key, value) for key, value in data.items()}, "coordinates": "mm"}
        return data

    @property
    def openings(self) -> tuple[Bore | Port | FastenerHole | Dowel, ...]:
        """All openings of the gasket: bores, ports, fastener holes and dowels."""
        return (*self.bores, *self.ports, *self.fastener_holes, *self.dowels)

    @property
    def media(self) -> tuple[str, ...]:
        """Names of all media: bores, then ports, then `OUTSIDE`."""
        return (*(bore.name for bore in self.bores), *(port.name for port in self.ports), OUTSIDE)

    def medium_kind(self, name: str) -> str:
        """Return ``bore``, a port kind, or ``outside`` for a medium's name.

        Raises
        ------
        KeyError
            If the plan has no such medium.
        """
        kinds = {bore.name: "bore" for bore in self.bores}
        kinds |= {port.name: str(port.kind) for port in self.ports}
        return (kinds | {OUTSIDE: OUTSIDE})[name]


def _scaled(key: str, value: object) -> object:
    """Scale bare coordinates from inches; quantities with their own unit stay as they are."""
    if key in {"outline", "path", "centre"}:
        return _scaled_numbers(value)
    if isinstance(value, dict):
        return {inner: _scaled(inner, item) for inner, item in value.items()}
    if isinstance(value, list):
        return [_scaled("", item) for item in value]
    return value


def _scaled_numbers(value: object) -> object:
    if isinstance(value, list):
        return [_scaled_numbers(item) for item in value]
    return value * _INCH_MM if isinstance(value, (int, float)) else value

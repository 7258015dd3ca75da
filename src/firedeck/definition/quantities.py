"""Field types for quantities written as text with a unit; the field holds the inner float."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, PlainSerializer, WithJsonSchema

from firedeck.units import INNER_UNITS, UnitError, parse_quantity

__all__ = [
    "Angle",
    "Definition",
    "Duration",
    "Expansion",
    "Force",
    "Fraction",
    "Length",
    "LineLoad",
    "Point",
    "Power",
    "Pressure",
    "Resolution",
    "RotationalSpeed",
    "Stiffness",
    "Temperature",
    "TemperatureDifference",
    "Torque",
    "Volume",
]

#: A point of the deck plan, x and y [mm].
Point = tuple[float, float]


class Definition(BaseModel):
    """Base of every definition: frozen, and a key it does not know is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def _reader(kind: str) -> Callable[[Any], float]:
    def read(value: object) -> float:
        try:
            return parse_quantity(value, kind)
        except UnitError as fault:
            raise ValueError(f"{fault.message}|{fault.remedy}") from fault

    return read


#: Units in which files are written where nobody reads the inner one, and how many inner units they are.
_READ_UNITS = {"torque": ("N*m", 1000.0)}


def _writer(kind: str) -> Callable[[float], str]:
    unit = {"temperature_difference": "K", "resolution": "1/mm"}.get(kind, INNER_UNITS[kind])

    def write(value: float) -> str:
        if kind == "fraction":
            return f"{value:.12g}"
        read, factor = _READ_UNITS.get(kind, (unit, 1.0))
        return f"{value / factor:.12g} {read}"

    return write


def _quantity(kind: str) -> tuple[BeforeValidator, PlainSerializer, WithJsonSchema]:
    text = {"type": "string", "description": f"{kind.replace('_', ' ')} with its unit"}
    return BeforeValidator(_reader(kind)), PlainSerializer(_writer(kind)), WithJsonSchema(text)


Angle = Annotated[float, *_quantity("angle")]  # [deg]
Duration = Annotated[float, *_quantity("duration")]  # [s]
Expansion = Annotated[float, *_quantity("expansion")]  # [1/K]
Force = Annotated[float, *_quantity("force")]  # [N]
Fraction = Annotated[float, *_quantity("fraction")]  # [1]
Length = Annotated[float, *_quantity("length")]  # [mm]
LineLoad = Annotated[float, *_quantity("line_load")]  # [N/mm]
Power = Annotated[float, *_quantity("power")]  # [kW]
Pressure = Annotated[float, *_quantity("pressure")]  # [MPa]
Resolution = Annotated[float, *_quantity("resolution")]  # [pixels/mm]
RotationalSpeed = Annotated[float, *_quantity("rotational_speed")]  # [1/min]
Stiffness = Annotated[float, *_quantity("stiffness")]  # [N/mm]
Temperature = Annotated[float, *_quantity("temperature")]  # [degC]
TemperatureDifference = Annotated[float, *_quantity("temperature_difference")]  # [K]
Torque = Annotated[float, *_quantity("torque")]  # [N*mm]
Volume = Annotated[float, *_quantity("volume")]  # [mm^3]

"""How a file of cylinder pressures is to be read: what it does not say of itself."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from firedeck.definition.quantities import Angle, Definition, Pressure, RotationalSpeed
from firedeck.units import UnitError, parse_quantity

__all__ = ["PressureColumn", "TraceMapping"]


def _unit_of_pressure(text: str) -> str:
    try:
        parse_quantity(f"1 {text}", "pressure")
    except UnitError as fault:
        raise ValueError(
            f'"{text}" is not a unit of pressure|write bar, kPa, MPa or psi; "V" or "mV" for a voltage'
        ) from fault
    return text


def _unit_of_signal(text: str) -> str:
    return text if text in ("V", "mV") else _unit_of_pressure(text)


PressureUnit = Annotated[str, AfterValidator(_unit_of_pressure)]
SignalUnit = Annotated[str, AfterValidator(_unit_of_signal)]


class PressureColumn(Definition):
    """Where a trace file keeps the pressure of one cylinder.

    Attributes
    ----------
    column : int
        Number of the column, counted from 1.
    cylinder : int
        Cylinder number.
    unit : str
        Unit of the column; ``"V"`` or ``"mV"`` for the sensor's voltage.
    gain : float, optional
        Pressure per volt, written as a pressure [MPa/V].
    offset : float
        Pressure at zero volt [MPa]; left at zero for a sensor that only shows change.
    absolute : bool
        Whether the pressure counts from vacuum; otherwise it is pegged.
    """

    column: Annotated[int, Field(ge=1)]
    cylinder: Annotated[int, Field(ge=1)] = 1
    unit: SignalUnit
    gain: Pressure | None = None
    offset: Pressure = 0.0
    absolute: bool = False

    @model_validator(mode="after")
    def _volts_need_gain(self) -> Self:
        if self.unit in ("V", "mV") and self.gain is None:
            raise ValueError(
                'a voltage needs the sensor\'s gain|add gain, for example gain = "20 bar" for 20 bar/V'
            )
        return self


class TraceMapping(Definition):
    """Answers to what a trace file does not say of itself; saved once, used for every file alike.

    Attributes
    ----------
    delimiter : str, optional
        What parts the columns.
    decimal : str, optional
        Decimal sign.
    first_row : int, optional
        Line of the file on which the numbers start, counted from 1.
    base : str, optional
        What the base column counts: ``"angle"``, ``"time"``, or ``"sample"`` when the file
        has no such column and its samples are evenly spaced in crank angle.
    base_column : int, optional
        Number of the base column, counted from 1.
    base_unit : str, optional
        Unit of the base column: ``"deg"``, ``"rad"``, ``"s"``, ``"ms"``, ``"us"``.
    samples_per_turn : float, optional
        Samples per crank turn, for base ``"sample"`` [1].
    start_angle : float, optional
        Crank angle of the first sample, for base ``"sample"``, when the recording starts at a mark [deg].
    speed : float, optional
        Engine speed [1/min].
    tooth_column : int, optional
        Column with the crank wheel's signal, for base ``"time"``.
    teeth : int, optional
        Teeth of a full crank wheel, the missing ones counted.
    missing_teeth : int
        Teeth left out.
    reference_column : int, optional
        Column with the absolute manifold pressure.
    reference_unit : str, optional
        Its unit.
    pressure : tuple of PressureColumn
        The cylinder pressures.
    """

    kind: Literal["trace-mapping"] = "trace-mapping"
    delimiter: Literal[",", ";", "|", "tab", "blank"] | None = None
    decimal: Literal[".", ","] | None = None
    first_row: Annotated[int, Field(ge=1)] | None = None
    base: Literal["angle", "time", "sample"] | None = None
    base_column: Annotated[int, Field(ge=1)] | None = None
    base_unit: Literal["deg", "rad", "s", "ms", "us"] | None = None
    samples_per_turn: Annotated[float, Field(gt=0.0)] | None = None
    start_angle: Angle | None = None
    speed: Annotated[RotationalSpeed, Field(gt=0.0)] | None = None
    tooth_column: Annotated[int, Field(ge=1)] | None = None
    teeth: Annotated[int, Field(ge=2)] | None = None
    missing_teeth: Annotated[int, Field(ge=0)] = 0
    reference_column: Annotated[int, Field(ge=1)] | None = None
    reference_unit: PressureUnit | None = None
    pressure: tuple[PressureColumn, ...] = ()

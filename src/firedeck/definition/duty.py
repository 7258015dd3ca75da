"""Engine geometry and the sources that a duty may come from, as a user writes them."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.quantities import (
    Angle,
    Definition,
    Fraction,
    Length,
    Power,
    Pressure,
    RotationalSpeed,
    Temperature,
    TemperatureDifference,
    Torque,
)
from firedeck.definition.trace_mapping import TraceMapping

__all__ = [
    "DutyDefinition",
    "DutySource",
    "EngineGeometry",
    "InputDoubts",
    "ModelSource",
    "RuleSource",
    "TraceSource",
    "ValveEvents",
]


class ValveEvents(Definition):
    """When the valves let the cylinder be a closed vessel.

    Attributes
    ----------
    intake_closes : float
        After the bottom dead centre that ends the intake stroke [deg].
    exhaust_opens : float
        Before the bottom dead centre that ends the expansion stroke [deg].
    """

    intake_closes: Annotated[Angle, Field(ge=-40.0, le=110.0)]
    exhaust_opens: Annotated[Angle, Field(ge=-20.0, le=110.0)]


class EngineGeometry(Definition):
    """Cylinders of a four-stroke engine.

    Attributes
    ----------
    bore, stroke, rod : float
        Cylinder bore, stroke, rod length between centres [mm].
    compression_ratio : float
        Geometric compression ratio with the gasket the thickness is given for [1].
    cylinders : int
        Number of cylinders.
    firing_order : tuple of int
        Order of firing, cylinder numbers from 1; empty when not known.
    valves : ValveEvents
        Valve events.
    gasket_thickness : float, optional
        Thickness of the clamped gasket that `compression_ratio` is for [mm].
    gasket_bore : float, optional
        Bore of the gasket; the cylinder bore when not given [mm].
    deck_clearance : float, optional
        How far the piston stays below the deck at top dead centre; negative above it [mm].
    """

    bore: Annotated[Length, Field(gt=0.0)]
    stroke: Annotated[Length, Field(gt=0.0)]
    rod: Annotated[Length, Field(gt=0.0)]
    compression_ratio: Annotated[Fraction, Field(gt=1.0)]
    cylinders: Annotated[int, Field(ge=1, le=24)]
    firing_order: tuple[int, ...] = ()
    valves: ValveEvents
    gasket_thickness: Annotated[Length, Field(gt=0.0)] | None = None
    gasket_bore: Annotated[Length, Field(gt=0.0)] | None = None
    deck_clearance: Length | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.rod <= 0.5 * self.stroke:
            raise ValueError(
                "the rod is no longer than the crank radius|check rod and stroke and their units"
            )
        if self.firing_order and sorted(self.firing_order) != list(range(1, self.cylinders + 1)):
            raise ValueError("the firing order must name each cylinder once|number cylinders from 1")
        if self.gasket_bore is not None and self.gasket_bore < self.bore:
            raise ValueError("the gasket bore is smaller than the cylinder bore|check both and their units")
        return self


class TraceSource(Definition):
    """Duty from a measured trace.

    Attributes
    ----------
    file : str
        Trace file.
    motored_file : str, optional
        Trace of the same cylinder and sensor without firing, to find top dead centre.
    mapping : TraceMapping
        How to read both, where it is written here.
    mapping_file : str
        File that says how to read both, in place of `mapping`; empty for none.
    peg : str
        ``"intake"`` by manifold pressure at intake bottom dead centre, ``"polytropic"`` by the
        compression line, ``"none"`` for an absolute sensor.
    manifold_pressure : float, optional
        Absolute manifold pressure, for ``"intake"`` without a column [MPa].
    polytropic_exponent : float
        Exponent of the compression line [1].
    top_dead_centre : float, optional
        Angle that the file gives firing top dead centre of the cylinder that fires first in the
        firing order, when known [deg].
    """

    kind: Literal["trace"]
    file: str
    motored_file: str | None = None
    mapping: TraceMapping = TraceMapping()
    mapping_file: str = ""
    peg: Literal["intake", "polytropic", "none"] = "polytropic"
    manifold_pressure: Annotated[Pressure, Field(gt=0.0)] | None = None
    polytropic_exponent: Annotated[float, Field(gt=1.0, lt=1.67)] = 1.32
    top_dead_centre: Angle | None = None

    @model_validator(mode="after")
    def _one_mapping(self) -> Self:
        if self.mapping_file and self.mapping != TraceMapping():
            raise ValueError("both mapping and mapping_file are given|leave one of them out")
        return self


class InputDoubts(Definition):
    """How far the inputs of a model source may be off: half widths of their 95 % intervals.

    Attributes
    ----------
    manifold_pressure, exhaust_pressure : float
        Of the pressures [MPa].
    charge_temperature : float
        Of the charge temperature [K].
    compression_ratio : float
        Of the compression ratio [1].
    air_ratio : float
        Of lambda [1].
    burn_50, burn_duration : float
        Of the burning [deg].
    filling : float
        Of the filling [1], where one is stated.
    heat_factor : float
        Of the heat-transfer factor [1].
    """

    manifold_pressure: Annotated[Pressure, Field(ge=0.0)] = 0.0
    exhaust_pressure: Annotated[Pressure, Field(ge=0.0)] = 0.0
    charge_temperature: Annotated[TemperatureDifference, Field(ge=0.0)] = 0.0
    compression_ratio: Annotated[Fraction, Field(ge=0.0)] = 0.0
    air_ratio: Annotated[Fraction, Field(ge=0.0)] = 0.0
    burn_50: Annotated[Angle, Field(ge=0.0)] = 0.0
    burn_duration: Annotated[Angle, Field(ge=0.0)] = 0.0
    filling: Annotated[Fraction, Field(ge=0.0)] = 0.0
    heat_factor: Annotated[Fraction, Field(ge=0.0)] = 0.4


class ModelSource(Definition):
    """Duty from the cycle model.

    Attributes
    ----------
    boost : float, optional
        Manifold pressure above the surrounding air [MPa].
    ambient_pressure : float
        Pressure of the surrounding air [MPa].
    manifold_pressure : float, optional
        Absolute manifold pressure [MPa]; either this or `boost`.
    exhaust_pressure : float, optional
        Absolute pressure before the turbine [MPa]; the manifold pressure when not given.
    charge_temperature : float
        Temperature of the charge as it enters the cylinder, fuel evaporated [degC].
    speed : float
        Engine speed [1/min].
    fuel : str
        Name of the fuel.
    air_ratio : float
        Air over what complete burning needs (lambda) [1].
    burn_50 : float
        Angle of 50 % burnt after top dead centre [deg].
    burn_duration : float
        Crank angle from 10 % to 90 % burnt [deg].
    wiebe_exponent : float
        m of the Wiebe law [1].
    filling : float, optional
        Fresh charge over swept volume times manifold density [1].
    heat_factor : float
        Multiplies the heat-transfer correlation [1]; see the theory page for its default.
    doubts : InputDoubts
        How far the inputs may be off.
    burn_50_scatter, burn_duration_scatter : float
        Standard deviation from cycle to cycle [deg].
    charge_scatter : float
        Standard deviation of the trapped charge over its mean from cycle to cycle [1].
    """

    kind: Literal["model"]
    boost: Pressure | None = None
    ambient_pressure: Annotated[Pressure, Field(gt=0.0)] = 0.101325
    manifold_pressure: Annotated[Pressure, Field(gt=0.0)] | None = None
    exhaust_pressure: Annotated[Pressure, Field(gt=0.0)] | None = None
    charge_temperature: Temperature
    speed: Annotated[RotationalSpeed, Field(gt=0.0)]
    fuel: str = "petrol"
    air_ratio: Annotated[float, Field(gt=0.0)]
    burn_50: Angle
    burn_duration: Annotated[Angle, Field(gt=0.0)]
    wiebe_exponent: Annotated[float, Field(gt=0.0)] = 2.0
    filling: Annotated[Fraction, Field(gt=0.0)] | None = None
    heat_factor: Annotated[Fraction, Field(ge=0.0)] = 1.4
    doubts: InputDoubts = InputDoubts()
    burn_50_scatter: Annotated[Angle, Field(ge=0.0)] = 2.0
    burn_duration_scatter: Annotated[Angle, Field(ge=0.0)] = 2.0
    charge_scatter: Annotated[Fraction, Field(ge=0.0)] = 0.01

    @model_validator(mode="after")
    def _one_pressure(self) -> Self:
        if (self.boost is None) == (self.manifold_pressure is None):
            raise ValueError(
                "either boost above ambient or the absolute manifold pressure must be given, not both"
                "|write boost for a gauge that reads zero with the engine off, else manifold_pressure"
            )
        return self

    @property
    def absolute_pressure(self) -> float:
        """Absolute manifold pressure [MPa]."""
        if self.manifold_pressure is not None:
            return self.manifold_pressure
        return self.ambient_pressure + (self.boost or 0.0)


class RuleSource(Definition):
    """Duty from power or torque by rule of thumb.

    Attributes
    ----------
    power : float, optional
        Brake power of the whole engine [kW].
    torque : float, optional
        Brake torque of the whole engine [N*mm].
    bmep : float, optional
        Brake mean effective pressure [MPa]; exactly one of the three.
    speed : float, optional
        Engine speed that `power` is reached at [1/min].
    timing : str
        ``"best"`` near best timing, ``"retarded"`` held back from knock, ``"unknown"``.
    """

    kind: Literal["rule"]
    power: Annotated[Power, Field(gt=0.0)] | None = None
    torque: Annotated[Torque, Field(gt=0.0)] | None = None
    bmep: Annotated[Pressure, Field(gt=0.0)] | None = None
    speed: Annotated[RotationalSpeed, Field(gt=0.0)] | None = None
    timing: Literal["best", "retarded", "unknown"] = "unknown"

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        given = [name for name in ("power", "torque", "bmep") if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError("exactly one of power, torque and bmep must be given|leave the others out")
        if given == ["power"] and self.speed is None:
            raise ValueError("power says nothing about cylinder pressure without the speed|add speed")
        return self


#: Where a duty comes from.
DutySource = Annotated[TraceSource | ModelSource | RuleSource, Field(discriminator="kind")]


class DutyDefinition(Definition):
    """What the joint must survive, and where that is known from.

    Attributes
    ----------
    engine : EngineGeometry
        The engine.
    source : TraceSource, ModelSource or RuleSource
        Where the peak pressures come from.
    name : str
        What reports call it.
    note : str
        Free text.
    cycles : int
        Cycles of each cylinder that the extreme is asked for.
    knock_allowance : float, optional
        Pressure that knock adds on top [MPa]; a trace answers this by itself.
    cylinder_factors : tuple of float
        Peak pressure of each cylinder over the mean of all; empty when not known.
    """

    kind: Literal["duty"] = "duty"
    name: str = ""
    note: str = ""
    engine: EngineGeometry
    source: DutySource
    cycles: Annotated[int, Field(ge=1)] = 100_000
    knock_allowance: Annotated[Pressure, Field(ge=0.0)] | None = None
    cylinder_factors: tuple[Annotated[float, Field(gt=0.5, lt=1.5)], ...] = ()

    @model_validator(mode="after")
    def _a_factor_each(self) -> Self:
        if self.cylinder_factors and len(self.cylinder_factors) != self.engine.cylinders:
            raise ValueError("there must be one factor for each cylinder|give all of them or none")
        return self

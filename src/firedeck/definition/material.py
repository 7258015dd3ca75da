"""Materials of fasteners, heads, blocks and layers, with the source of every built-in number."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, TypeAlias

import numpy as np
from pydantic import BeforeValidator, Field, PlainSerializer, WithJsonSchema

from firedeck.definition.quantities import Definition, Fraction, Pressure
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.units import UnitError, parse_quantity

__all__ = [
    "PROPERTY_CLASSES",
    "Curve",
    "Material",
    "MaterialError",
    "MaterialText",
    "builtin_material",
    "builtin_names",
]

_UNSOURCED = Source(Basis.MEMORY, "stated in the definition without a source")


class MaterialError(FiredeckError):
    """A material that is not known, or is asked for something outside what is known of it."""


@dataclass(frozen=True)
class Curve:
    """A property against temperature, straight lines between its points.

    Attributes
    ----------
    points : tuple of (float, float)
        Temperature [degC] and value, rising in temperature. One point alone means constant.
    """

    points: tuple[tuple[float, float], ...]

    def at(self, temperature: float) -> float:
        """Return the value at a temperature [degC]; the first value holds below the first point.

        Raises
        ------
        MaterialError
            Above the last point of a curve of several points.
        """
        warm = [point[0] for point in self.points]
        if len(warm) > 1 and temperature > warm[-1]:
            raise MaterialError(
                f"a property is asked for at {temperature:.0f} degC, "
                f"but the material's table ends at {warm[-1]:.0f} degC",
                remedy="add a point at the higher temperature to the material, with its source",
            )
        return float(np.interp(temperature, warm, [point[1] for point in self.points]))


def _curve_type(kind: str, unit: str) -> tuple[BeforeValidator, PlainSerializer, WithJsonSchema]:
    def point(pair: object) -> tuple[float, float]:
        if not isinstance(pair, (list, tuple)) or len(pair) != 2:
            raise UnitError(
                "a point is a temperature and a value", remedy=f'for example ["100 degC", "1 {unit}"]'
            )
        return parse_quantity(pair[0], "temperature"), parse_quantity(pair[1], kind)

    def read(value: object) -> Curve:
        if isinstance(value, Curve):
            return value
        try:
            if not isinstance(value, (list, tuple)):
                return Curve(((20.0, parse_quantity(value, kind)),))
            points = tuple(point(pair) for pair in value)
        except UnitError as fault:
            raise ValueError(f"{fault.message}|{fault.remedy}") from fault
        warm = [temperature for temperature, _ in points]
        if not points or any(b <= a for a, b in itertools.pairwise(warm)):
            raise ValueError("the temperatures of a table must rise|order the points by temperature")
        return Curve(points)

    def write(curve: Curve) -> object:
        if len(curve.points) == 1:
            return f"{curve.points[0][1]:.12g} {unit}"
        return [[f"{warm:.12g} degC", f"{value:.12g} {unit}"] for warm, value in curve.points]

    schema = WithJsonSchema(
        {"type": ["string", "array"], "description": f"{kind}, or pairs of temperature and {kind}"}
    )
    return BeforeValidator(read), PlainSerializer(write), schema


PressureCurve: TypeAlias = Annotated[Curve, *_curve_type("pressure", "MPa")]
ExpansionCurve: TypeAlias = Annotated[Curve, *_curve_type("expansion", "1/K")]


class Material(Definition):
    """An isotropic material.

    Attributes
    ----------
    name : str
        Name shown to the user.
    modulus : Curve
        Young's modulus against temperature [MPa].
    modulus_range : tuple of float, optional
        Ends within which the modulus of a named grade lies [MPa].
    poisson : float
        Poisson's ratio [1].
    expansion : Curve
        Mean thermal expansion from 20 degC to the temperature [1/K].
    yield_strength : Curve, optional
        0.2 % proof stress against temperature [MPa].
    strength, proof_stress, shear_strength, bearing_limit : float, optional
        Tensile strength, proof-load stress, ultimate shear stress, limiting pressure under a
        head or nut [MPa].
    source : Source
        Backing of all numbers that `sources` does not name.
    sources : mapping of str to Source
        Backing of single fields.
    """

    name: str = Field(min_length=1)
    modulus: PressureCurve
    modulus_range: tuple[Pressure, Pressure] | None = None
    poisson: Fraction = Field(default=0.3, gt=0.0, lt=0.5)
    expansion: ExpansionCurve
    yield_strength: PressureCurve | None = None
    strength: Pressure | None = Field(default=None, gt=0)
    proof_stress: Pressure | None = Field(default=None, gt=0)
    shear_strength: Pressure | None = Field(default=None, gt=0)
    bearing_limit: Pressure | None = Field(default=None, gt=0)
    source: Source = _UNSOURCED
    sources: Mapping[str, Source] = Field(default_factory=dict)

    def source_of(self, field: str) -> Source:
        """Return the backing of one field."""
        return self.sources.get(field, self.source)

    def free_strain(self, temperature: float) -> float:
        """Return the free thermal strain from 20 degC to `temperature` [degC], [1]."""
        return self.expansion.at(temperature) * (temperature - 20.0)

    def needed(self, field: str) -> float:
        """Return a strength [MPa] that a check cannot do without.

        Raises
        ------
        MaterialError
            If the material does not state it.
        """
        value = getattr(self, field)
        if value is None:
            raise MaterialError(
                f"{self.name} states no {field.replace('_', ' ')}",
                remedy=f'add {field} = "... MPa" to the material, with its source',
            )
        return value.at(20.0) if isinstance(value, Curve) else float(value)


_ALUMINIUM = Source(
    Basis.PUBLISHED, "Aluminum Association data for A356.0-T6, sand cast", "public data sheet"
)
_STRIP = Source(Basis.PUBLISHED, "ASTM A666 minima and a producer's data sheet", "type 301, full hard")
_IRON = Source(Basis.PUBLISHED, "Angus, Cast Iron: Physical and Engineering Properties, 1976", "class 20")
_STEEL = Source(Basis.MEMORY, "handbook values of 4340/8740-type steel")
_CLASSES = Source(Basis.MEMORY, "ISO 898-1", "strengths implied by its load tables, which tests compare")
_PRESSURE = Source(
    Basis.PUBLISHED, "VDI 2230:2003 as reprinted by fastener suppliers", "limiting surface pressure"
)

_HOT_STEEL = [
    ["20 degC", "205 GPa"],
    ["100 degC", "200 GPa"],
    ["200 degC", "193 GPa"],
    ["300 degC", "185 GPa"],
]
_STEEL_GROWTH = [["100 degC", "12.3e-6 1/K"], ["300 degC", "13.0e-6 1/K"]]

_BUILTIN: dict[str, dict[str, object]] = {
    "A356-T6": {
        "modulus": [
            ["20 degC", "72.4 GPa"],
            ["100 degC", "70 GPa"],
            ["200 degC", "66 GPa"],
            ["250 degC", "63 GPa"],
        ],
        "poisson": 0.33,
        "expansion": [["100 degC", "21.4e-6 1/K"], ["300 degC", "23.2e-6 1/K"]],
        "yield_strength": "165 MPa",
        "strength": "234 MPa",
        "shear_strength": "143 MPa",
        "bearing_limit": "380 MPa",
        "source": _ALUMINIUM,
        "sources": {
            "modulus": Source(Basis.MEMORY, "hot values; at 20 degC as the alloy's published data say"),
            "bearing_limit": Source(
                Basis.PUBLISHED, _PRESSURE.document, "GK-AlSi7Mg wa, printed there as not yet confirmed"
            ),
        },
    },
    "grey iron class 20": {
        "modulus": "81.5 GPa",
        "modulus_range": ("66 GPa", "97 GPa"),
        "poisson": 0.26,
        "expansion": "10.5e-6 1/K",
        "source": _IRON,
        "sources": {"poisson": Source(Basis.MEMORY)},
    },
    "grey iron GJL-250": {
        "modulus": "115 GPa",
        "modulus_range": ("100 GPa", "138 GPa"),
        "poisson": 0.26,
        "expansion": "10.5e-6 1/K",
        "strength": "250 MPa",
        "shear_strength": "250 MPa",
        "bearing_limit": "800 MPa",
        "source": Source(Basis.MEMORY, "handbook values of grey iron class 35 to 40"),
        "sources": {
            "expansion": _IRON,
            "strength": Source(Basis.PUBLISHED, "EN 1561", "minimum that the name states"),
            "shear_strength": Source(
                Basis.COMMON_PRACTICE,
                "taken equal to the tensile strength; grey iron is seldom weaker in shear",
            ),
            "bearing_limit": Source(
                Basis.PUBLISHED, "VDI 2230:1986 as reprinted by fastener suppliers", "GG 25"
            ),
        },
    },
    "301 full hard": {
        "modulus": "174 GPa",
        "poisson": 0.28,
        "expansion": [["100 degC", "16.6e-6 1/K"], ["300 degC", "17.6e-6 1/K"]],
        "yield_strength": "965 MPa",
        "strength": "1276 MPa",
        "source": _STRIP,
        "sources": {"poisson": Source(Basis.MEMORY)},
    },
    "301 full hard, stress relieved": {
        "modulus": "196 GPa",
        "poisson": 0.28,
        "expansion": [["100 degC", "16.6e-6 1/K"], ["300 degC", "17.6e-6 1/K"]],
        "yield_strength": "965 MPa",
        "strength": "1276 MPa",
        "source": _STRIP,
        "sources": {"poisson": Source(Basis.MEMORY)},
    },
    "steel": {"modulus": _HOT_STEEL, "poisson": 0.29, "expansion": _STEEL_GROWTH, "source": _STEEL},
}

#: Property class -> yield, proof and tensile stress [MPa] up to 16 mm, and above (ISO 898-1, memory).
PROPERTY_CLASSES: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "8.8": ((640.0, 580.0, 800.0), (660.0, 600.0, 830.0)),
    "10.9": ((940.0, 830.0, 1040.0), (940.0, 830.0, 1040.0)),
    "12.9": ((1100.0, 970.0, 1220.0), (1100.0, 970.0, 1220.0)),
}


def _class_material(name: str, *, over_16: bool) -> Material:
    strength = PROPERTY_CLASSES[name][int(over_16)]
    keys = ("yield_strength", "proof_stress", "strength")
    stresses = {key: f"{value} MPa" for key, value in zip(keys, strength, strict=True)}
    sources = dict.fromkeys(keys, _CLASSES)
    title = f"class {name}" + (" above 16 mm" if over_16 else "")
    return Material.model_validate({**_BUILTIN["steel"], "name": title, **stresses, "sources": sources})


@lru_cache(maxsize=64)
def builtin_material(name: str) -> Material:
    """Return a built-in material or the steel of a property class.

    Parameters
    ----------
    name : str
        One of `builtin_names`; ``"8.8 above 16 mm"`` is the class for thicker fasteners.

    Raises
    ------
    MaterialError
        If the name is not known.
    """
    if name in _BUILTIN:
        return Material.model_validate({"name": name, **_BUILTIN[name]})
    grade = name.removesuffix(" above 16 mm")
    if grade in PROPERTY_CLASSES:
        return _class_material(grade, over_16=grade != name)
    raise MaterialError(
        f"{name!r} is not a material that firedeck knows",
        remedy="use one of " + ", ".join(builtin_names()) + ", or a table of your own values",
    )


def builtin_names() -> tuple[str, ...]:
    """Return the names that `builtin_material` takes."""
    return (*_BUILTIN, *PROPERTY_CLASSES)


def _read(value: object) -> object:
    if not isinstance(value, str):
        return value
    try:
        return builtin_material(value)
    except MaterialError as fault:
        raise ValueError(f"{fault.message}|{fault.remedy}") from fault


#: Field type: the name of a built-in material, a property class, or a table.
MaterialText: TypeAlias = Annotated[Material, BeforeValidator(_read)]

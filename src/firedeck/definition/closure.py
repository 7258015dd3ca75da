"""Closure laws of a gasket file: from a measured table, or from the geometry of what presses."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.material import MaterialText, builtin_material
from firedeck.definition.quantities import Definition, Duration, Fraction, Length, Pressure, Temperature
from firedeck.evidence import Basis, Source

__all__ = [
    "BeadLaw",
    "CoatingLaw",
    "LawEntry",
    "LawOfTable",
    "LawParts",
    "Relaxation",
    "RingLaw",
    "StopperLaw",
]

_UNSOURCED = Source(Basis.MEMORY, "stated in the definition without a source")
_SPRING = "301 full hard, stress relieved"

#: Sizes outside these are slips of a unit, not parts of a gasket.
Sheet = Annotated[Length, Field(ge=0.02, le=3.0)]
Width = Annotated[Length, Field(ge=0.1, le=20.0)]
Modulus = Annotated[Pressure, Field(ge=0.5, le=700e3)]
Strength = Annotated[Pressure, Field(ge=1.0, le=4000.0)]


class Relaxation(Definition):
    """What is left of a load at constant closure, as stated by whoever tested it.

    Attributes
    ----------
    remaining : float
        Load left over load put on [1].
    temperature : float
        Temperature of the test [degC].
    time : float
        Duration of the test [s].
    source : Source
        Backing.
    """

    remaining: Fraction = Field(gt=0.0, le=1.0)
    temperature: Temperature = Field(ge=-60.0, le=800.0)
    time: Duration = Field(gt=0.0)
    source: Source = _UNSOURCED


class _Law(Definition):
    """What every law states.

    Attributes
    ----------
    name : str
        Name of the law.
    seals : tuple of str
        Seals that press by it: names, or kinds such as ``full-bead`` for all seals of a kind that
        no law names. Empty for a part that only other laws name.
    gap : float, optional
        Closure of the joint, from first touch of its highest seal, at which these touch [mm];
        from the heights of the laws unless given.
    spread : float
        Plus or minus at 95 % of the load at a given closure [1].
    relaxation : Relaxation, optional
        What is left of the load in time.
    source : Source
        Backing of the law's numbers.
    """

    name: str = Field(min_length=1)
    seals: tuple[str, ...] = ()
    gap: Length | None = Field(default=None, ge=0.0, le=2.0)
    spread: Fraction = Field(default=0.2, ge=0.0, lt=0.9)
    relaxation: Relaxation | None = None
    source: Source = _UNSOURCED


class LawOfTable(_Law):
    """A measured law.

    Attributes
    ----------
    table : str
        CSV file with the columns ``closure_mm``, ``load`` and ``branch``; branch 0 is the first
        loading, every other number one way back from its peak.
    width : float
        Width on which the line presses [mm]; 0 for a land, whose load is per area.
    height : float
        How far it stands above the flat gasket before it is pressed [mm].
    """

    kind: Literal["table"]
    table: str = Field(min_length=1, description="CSV file")
    width: Length = Field(default=0.0, ge=0.0, le=20.0)
    height: Length = Field(default=0.0, ge=0.0, le=3.0)
    spread: Fraction = Field(default=0.1, ge=0.0, lt=0.9)


class BeadLaw(_Law):
    """An embossed bead of spring strip: an arch with crown and two feet, or a step.

    Attributes
    ----------
    thickness : float
        Thickness of the strip [mm].
    height : float
        Height of the bead above the strip, free [mm].
    width : float
        Width of the bead, foot to foot of an arch, foot to crown of a step [mm].
    radius : float, optional
        Radius of the strip's middle at crown and feet [mm]; the largest that fits unless given.
    flange : float
        Flat strip beside the bead that lies between the faces [mm].
    material : Material
        Strip; its modulus, Poisson's ratio and yield strength count.
    modulus, yield_strength : float, optional
        Measured on the strip itself, instead of the material's [MPa].
    hardening : float
        Slope of stress over plastic strain [MPa].
    layers : int
        Beads like this one upon another; each carries the whole load.
    feet : {"free", "held"}
        Whether the feet may slide outwards when the bead is flattened.
    """

    kind: Literal["full-bead", "half-bead"]
    thickness: Length = Field(ge=0.05, le=1.0)
    height: Length = Field(ge=0.01, le=1.5)
    width: Width
    radius: Length | None = Field(default=None, ge=0.05, le=50.0)
    flange: Length = Field(default=1.0, ge=0.2, le=20.0)
    material: MaterialText = builtin_material(_SPRING)
    modulus: Modulus | None = None
    yield_strength: Strength | None = None
    hardening: Pressure = Field(default=2000.0, ge=50.0, le=50e3)
    layers: int = Field(default=1, ge=1, le=6)
    feet: Literal["free", "held"] = "free"

    @model_validator(mode="after")
    def _can_be_embossed(self) -> Self:
        if self.yield_strength is None and self.material.yield_strength is None:
            raise ValueError(
                f'{self.material.name} states no yield strength|add yield_strength = "... MPa" to the law'
            )
        if self.height > 0.5 * self.span:
            raise ValueError(
                "the bead is too steep for a strip model: its height is more than half its "
                f"{'half width' if self.kind == 'full-bead' else 'width'}|check height and width"
            )
        if self.radius is not None and self.radius > self.largest_radius:
            raise ValueError(
                f"a radius of {self.radius:.4g} mm does not fit into the bead, at most "
                f"{self.largest_radius:.4g} mm does|give a smaller radius, or leave it out for the largest"
            )
        return self

    @property
    def span(self) -> float:
        """Distance from foot to crown along the face [mm]."""
        return 0.5 * self.width if self.kind == "full-bead" else self.width

    @property
    def largest_radius(self) -> float:
        """Radius with which two arcs alone join foot and crown [mm]."""
        return (self.span**2 + self.height**2) / (4.0 * self.height)


class RingLaw(_Law):
    """A round wire between two flat faces, laid in a groove or welded to the gasket.

    Attributes
    ----------
    wire : float
        Diameter of the wire [mm].
    groove : float
        How deep the wire sits, in a groove or below the face of the gasket's body [mm].
    modulus : float
        Young's modulus [MPa].
    poisson : float
        Poisson's ratio [1].
    yield_strength : float
        Yield strength of the wire, or of the face where that is softer [MPa].
    """

    kind: Literal["ring"]
    wire: Length = Field(ge=0.2, le=6.0)
    groove: Length = Field(default=0.0, ge=0.0, le=6.0)
    modulus: Modulus
    poisson: Fraction = Field(default=0.3, gt=0.0, lt=0.5)
    yield_strength: Strength

    @model_validator(mode="after")
    def _stands_proud(self) -> Self:
        if self.groove >= self.wire:
            raise ValueError(
                f"a wire of {self.wire:.4g} mm does not stand out of a groove {self.groove:.4g} mm deep"
                "|check wire and groove"
            )
        return self


class StopperLaw(_Law):
    """A strip beside the bead that is thicker than the gasket's body and limits the bead's crush.

    Attributes
    ----------
    excess : float
        How much thicker than the body [mm].
    width : float
        Width of the strip [mm].
    thickness : float
        Thickness of all that is pressed together there [mm].
    modulus : float
        Young's modulus [MPa].
    poisson : float
        Poisson's ratio [1].
    """

    kind: Literal["stopper"]
    excess: Length = Field(ge=0.0, le=2.0)
    width: Width
    thickness: Length = Field(ge=0.05, le=10.0)
    modulus: Modulus
    poisson: Fraction = Field(default=0.3, ge=0.0, lt=0.5)


class CoatingLaw(_Law):
    """A soft layer, elastic up to the pressure above which it gets no thinner.

    Attributes
    ----------
    thickness : float
        Thickness of the layers together [mm].
    modulus : float
        Pressure over relative thinning, sideways held by what it lies on [MPa].
    limit : float
        Pressure above which it gets no thinner [MPa].
    width : float
        Width of the line that presses on it [mm]; 0 under a land.
    """

    kind: Literal["coating"]
    thickness: Length = Field(ge=0.001, le=2.0)
    modulus: Modulus
    limit: Strength
    width: Length = Field(default=0.0, ge=0.0, le=20.0)

    @model_validator(mode="after")
    def _something_is_left(self) -> Self:
        if self.limit >= self.modulus:
            raise ValueError(
                f"a layer of modulus {self.modulus:.4g} MPa is gone before it carries {self.limit:.4g} MPa"
                "|give a limit well below the modulus"
            )
        return self


class LawParts(_Law):
    """Laws one upon another, their closures add; or side by side, their loads add.

    Attributes
    ----------
    of : tuple of str
        Names of the laws. Side by side each begins to press when the closure has used up what the
        highest of them stands above it.
    """

    kind: Literal["series", "parallel"]
    of: tuple[str, ...] = Field(min_length=2)


#: One entry of a gasket file's ``[[law]]``.
LawEntry = Annotated[
    LawOfTable | BeadLaw | RingLaw | StopperLaw | CoatingLaw | LawParts, Field(discriminator="kind")
]

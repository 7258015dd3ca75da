"""What a joint is predicted from: deck, gasket, fastening, bodies, temperatures, gas, faces, limits, film."""

from __future__ import annotations

import itertools
from collections import Counter
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.deck import DeckPlan, SealKind
from firedeck.definition.material import MaterialText
from firedeck.definition.plan_finding import PlanFinding
from firedeck.definition.quantities import (
    Definition,
    Force,
    Fraction,
    Length,
    LineLoad,
    Point,
    Pressure,
    Temperature,
)
from firedeck.evidence import Basis, Source

__all__ = [
    "BlockBody",
    "DeckHeight",
    "FatigueLimit",
    "Firing",
    "GivingLimits",
    "HeadBody",
    "HotState",
    "LawOfSeals",
    "Liner",
    "Prediction",
    "PrintWanted",
    "check_prediction",
]

_UNSOURCED = Source(Basis.MEMORY, "stated in the definition without a source")

#: Sizes outside these are slips of a unit, not castings [mm].
Wall = Annotated[Length, Field(ge=1.5, le=60.0)]
Height = Annotated[Length, Field(ge=1.5, le=250.0)]
#: Deviations of a face [mm].
Deviation = Annotated[Length, Field(ge=-1.0, le=1.0)]
Warm = Annotated[Temperature, Field(ge=-60.0, le=450.0)]


class BodyFromMesh(Definition):
    """A body taken from a volume mesh, in the deck plan's x and y with z upright, if one is named.

    Attributes
    ----------
    mesh : str
        File of a volume mesh of bricks or tetrahedra, instead of sizes; empty for a generic body.
    mesh_unit : str, optional
        Unit of the mesh's coordinates: mm, cm, m or in.
    deck_at : float
        Height of the sealing plane in the mesh [mm].
    deck_tolerance : float
        How far a node may lie from the sealing plane and still be in it [mm].
    """

    mesh: str = Field(default="", description="volume mesh file")
    mesh_unit: Literal["mm", "cm", "m", "in"] | None = None
    deck_at: Length = Field(default=0.0, ge=-5000.0, le=5000.0)
    deck_tolerance: Length = Field(default=0.05, gt=0.0, le=1.0)

    @model_validator(mode="after")
    def _mesh_or_sizes(self) -> Self:
        of_mesh = {"mesh_unit", "deck_at", "deck_tolerance"}
        given = {name for name in self.model_fields_set if getattr(self, name) is not None}
        if not self.mesh and given & of_mesh:
            raise ValueError(f"{min(given & of_mesh)} is said of a mesh, and none is named|name it as mesh")
        if not self.mesh:
            return self
        if self.mesh_unit is None:
            raise ValueError("the mesh's unit is not stated|add mesh_unit: mm, cm, m or in")
        sizes = given - {*of_mesh, "mesh", "material", "stiffness_spread", "thread_start"}
        if sizes:
            raise ValueError(
                f"sizes beside a mesh: {', '.join(sorted(sizes))}|leave them out, the mesh has its own"
            )
        return self


class HeadBody(BodyFromMesh):
    """Sizes of a generic head; what is not given is common practice, fitted to the fasteners' seats.

    Attributes
    ----------
    fire_deck, jacket, middle_deck, ports, upper_deck : float, optional
        Heights of the layers from the sealing plane up to the fasteners' seats [mm].
    rail : float, optional
        Height of the rails above; 0 leaves them out [mm].
    outer_wall, cross_wall, port_wall : float, optional
        Thickness of outer walls, of walls between cylinders and of the gas ports' walls [mm].
    boss : float, optional
        Material round each fastener hole [mm].
    material : Material, optional
        Material; that of the fastening's thickest part unless given.
    stiffness_spread : float
        Plus or minus at 95 % of the stiffness, for what generic sizes do not know [1].
    """

    fire_deck: Wall | None = None
    jacket: Height | None = None
    middle_deck: Wall | None = None
    ports: Height | None = None
    upper_deck: Wall | None = None
    rail: Annotated[Length, Field(ge=0.0, le=200.0)] | None = None
    outer_wall: Wall | None = None
    cross_wall: Wall | None = None
    port_wall: Wall | None = None
    boss: Wall | None = None
    material: MaterialText | None = None
    stiffness_spread: Fraction = Field(default=0.3, ge=0.0, lt=0.9)


class BlockBody(BodyFromMesh):
    """Sizes of a generic block; what is not given is common practice.

    Attributes
    ----------
    top_deck : float, optional
        Height of the closed deck; 0 makes an open deck [mm].
    jacket, lower_deck, skirt : float, optional
        Heights of the layers below [mm].
    liner, outer_wall, bulkhead : float, optional
        Thickness of cylinder walls, outer walls and main bearing walls [mm].
    boss : float, optional
        Material round each tapped hole [mm].
    thread_start : float
        Depth below the deck at which the fasteners' threads begin to hold [mm].
    material : Material, optional
        Material; that of the fastening's tapped hole unless given.
    stiffness_spread : float
        Plus or minus at 95 % of the stiffness, for what generic sizes do not know [1].
    """

    top_deck: Annotated[Length, Field(ge=0.0, le=60.0)] | None = None
    jacket: Height | None = None
    lower_deck: Wall | None = None
    skirt: Height | None = None
    liner: Wall | None = None
    outer_wall: Wall | None = None
    bulkhead: Wall | None = None
    boss: Wall | None = None
    thread_start: Length = Field(default=2.0, ge=0.0, le=150.0)
    material: MaterialText | None = None
    stiffness_spread: Fraction = Field(default=0.3, ge=0.0, lt=0.9)


class LawOfSeals(Definition):
    """A closure law for some seals, from a table; it goes before the law that the gasket states.

    Attributes
    ----------
    seals : tuple of str
        Names of seals, or kinds such as ``full-bead`` for all seals of the kind.
    table : str
        CSV file with the columns ``closure_mm``, ``load`` and ``branch``.
    width : float
        Width on which the line presses [mm].
    gap : float
        Closure of the joint, from first touch of its highest seal, at which these touch [mm].
    spread : float
        Plus or minus at 95 % of the load at a given closure [1].
    """

    seals: tuple[str, ...] = Field(min_length=1)
    table: str = Field(min_length=1, description="CSV file")
    width: Length = Field(ge=0.05, le=20.0)
    gap: Length = Field(default=0.0, ge=-1.0, le=1.0)
    spread: Fraction = Field(default=0.1, ge=0.0, lt=0.9)


class HotState(Definition):
    """Temperatures of the members in operation.

    Attributes
    ----------
    head : tuple of (float, float)
        Heights over the sealing plane [mm], each with the temperature there in degC.
    block : tuple of (float, float)
        Depths below the sealing plane [mm], each with the temperature there in degC.
    fasteners : float
        Mean temperature of the fasteners between their seats [degC].
    source : Source
        Backing.
    """

    head: tuple[tuple[Annotated[Length, Field(ge=0.0, le=500.0)], Warm], ...] = Field(min_length=1)
    block: tuple[tuple[Annotated[Length, Field(ge=0.0, le=500.0)], Warm], ...] = Field(min_length=1)
    fasteners: Warm
    source: Source = _UNSOURCED

    @model_validator(mode="after")
    def _heights_rise(self) -> Self:
        for name, profile in (("head", self.head), ("block", self.block)):
            if any(b[0] <= a[0] for a, b in itertools.pairwise(profile)):
                raise ValueError(f"the heights of the {name} must rise|order its points by height")
        return self


class Firing(Definition):
    """Peak pressure of the cylinders; nothing given: the cylinder pressure of the fastening file.

    Attributes
    ----------
    pressure : float, optional
        Peak pressure of the mean cylinder [MPa].
    factors : tuple of float
        Peak pressure of each bore, in the plan's order, over `pressure` [1]; empty: all alike.
    duty : str
        Duty file instead of a pressure: each cylinder's design pressure counts.
    source : Source
        Backing of the pressure.
    """

    pressure: Annotated[Pressure, Field(ge=0.2, le=60.0)] | None = None
    factors: tuple[Annotated[Fraction, Field(ge=0.1, le=5.0)], ...] = ()
    duty: str = ""
    source: Source = _UNSOURCED

    @model_validator(mode="after")
    def _one_origin(self) -> Self:
        if (self.pressure is None) == (not self.duty):
            raise ValueError("the gas needs a pressure or a duty file|give exactly one of the two")
        if self.duty and self.factors:
            raise ValueError("a duty states each cylinder's pressure itself|leave factors out")
        return self


class Liner(Definition):
    """How far one bore's liner stands proud of the deck.

    Attributes
    ----------
    bore : str
        Name of the bore.
    protrusion : float
        Height over the deck; below zero it is sunken [mm].
    flange : float
        Width of the liner's upper face, from the edge of the bore outward [mm].
    """

    bore: str = Field(min_length=1)
    protrusion: Deviation
    flange: Length = Field(default=6.0, ge=1.0, le=30.0)


class DeckHeight(Definition):
    """A measured place of the faces: how far they stand apart beside where the joint first touches.

    Attributes
    ----------
    at : tuple of float
        Place, x and y [mm].
    gap : float
        Gap between straight edge and faces, head and block together [mm].
    """

    at: Point
    gap: Deviation


class GivingLimits(Definition):
    """When a seal counts as giving under gas; defaults are common practice.

    Attributes
    ----------
    gas_load_min, fluid_load_min : float
        Least line load of rings and full beads, and of half beads [N/mm].
    contact_factor : float
        Contact pressure that holds gas, over the gas pressure; 0 leaves this out [1].
    opening_max : float
        Largest loss of closure against the state without gas that a seal survives [mm].
    source : Source
        Backing of all.
    """

    gas_load_min: LineLoad = Field(default=40.0, ge=0.0, le=1000.0)
    fluid_load_min: LineLoad = Field(default=5.0, ge=0.0, le=500.0)
    contact_factor: Fraction = Field(default=1.0, ge=0.0, le=10.0)
    opening_max: Length = Field(default=0.03, gt=0.0, le=1.0)
    source: Source = Source(
        Basis.COMMON_PRACTICE, "40 N/mm for gas, 5 N/mm for fluids, contact above gas pressure, 30 um"
    )

    def least(self, kind: SealKind) -> float:
        """Return the least line load of a kind of seal [N/mm]."""
        named = {"ring": self.gas_load_min, "full-bead": self.gas_load_min, "half-bead": self.fluid_load_min}
        return named.get(kind, 0.0)


class FatigueLimit(Definition):
    """Range of load that a fastener stands for ever.

    Attributes
    ----------
    load_range : float
        Highest less lowest tension of a cycle [N].
    source : Source
        Backing.
    """

    load_range: Force = Field(gt=0.0, le=1e6)
    source: Source = _UNSOURCED


class PrintWanted(Definition):
    """A film test to be predicted.

    Attributes
    ----------
    film : str
        Film batch file.
    modulus : float
        Modulus of the film pressed between stiff faces [MPa].
    modulus_source : Source
        Backing of the modulus.
    """

    film: str = Field(min_length=1, description="film batch file")
    modulus: Pressure = Field(default=1500.0, ge=10.0, le=20000.0)
    modulus_source: Source = Source(
        Basis.MEMORY, "thin polyester held between stiff faces; from 0.1 to 2 GPa are quoted"
    )


class Prediction(Definition):
    """Everything that a prediction of the joint starts from.

    Attributes
    ----------
    deck : str
        Deck plan file.
    gasket : str
        Gasket file, with the closure laws of its seals.
    fastening : str
        Fastening file: fasteners, tightening, settling.
    element : float
        Side of the elements in plan [mm]; half of it costs eight times the work.
    head, block : HeadBody, BlockBody
        The bodies.
    laws : tuple of LawOfSeals
        Closure laws that go before the gasket's own.
    hot : HotState, optional
        Temperatures in operation; without them nothing hot is predicted.
    firing : Firing, optional
        Cylinder pressures; without them those of the fastening count.
    liners : tuple of Liner
        Liners that stand proud or low.
    faces : tuple of DeckHeight
        Measured deviations of the faces; between them straight, beyond them as the nearest.
    limits : GivingLimits
        When a seal gives.
    fatigue : FatigueLimit, optional
        What the fasteners stand.
    power_duty : str
        Duty file of a cycle model or rule, to tell give-way in power.
    print : PrintWanted, optional
        A film test to be predicted.
    """

    kind: Literal["prediction"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    note: str = ""
    deck: str = Field(min_length=1, description="deck plan file")
    gasket: str = Field(min_length=1, description="gasket file")
    fastening: str = Field(min_length=1, description="fastening file")
    element: Length = Field(default=6.0, ge=2.0, le=30.0)
    head: HeadBody = HeadBody()
    block: BlockBody = BlockBody()
    laws: tuple[LawOfSeals, ...] = Field(default=(), alias="law")
    hot: HotState | None = None
    firing: Firing | None = None
    liners: tuple[Liner, ...] = Field(default=(), alias="liner")
    faces: tuple[DeckHeight, ...] = Field(default=(), alias="face")
    limits: GivingLimits = GivingLimits()
    fatigue: FatigueLimit | None = None
    power_duty: str = ""
    print: PrintWanted | None = None

    @model_validator(mode="after")
    def _each_bore_once(self) -> Self:
        twice = [name for name, count in Counter(one.bore for one in self.liners).items() if count > 1]
        if twice:
            raise ValueError(f"two liners are given for {twice[0]!r}|give one for each bore")
        return self


def check_prediction(prediction: Prediction, plan: DeckPlan) -> tuple[PlanFinding, ...]:
    """Return everything that does not fit between a prediction and its deck plan with the gasket's seals."""
    bores = [bore.name for bore in plan.bores]
    found = [
        PlanFinding(
            "fault", f"liner[{place}].bore", f"the deck plan has no bore {liner.bore!r}",
            "use one of " + ", ".join(bores),
        )
        for place, liner in enumerate(prediction.liners, start=1)
        if liner.bore not in bores
    ]  # fmt: skip
    given = len(prediction.firing.factors) if prediction.firing else 0
    if given not in (0, len(bores)):
        found.append(
            PlanFinding(
                "fault", "firing.factors", f"{given} factors stand here, and the plan has {len(bores)} bores",
                "give one factor for each bore in the plan's order, or leave them out",
            )
        )  # fmt: skip
    known = {seal.name for seal in plan.seals} | {str(kind) for kind in SealKind}
    found += [
        PlanFinding(
            "fault", f"law[{place}].seals", f"the gasket has no seal, and there is no kind, called {name!r}",
            "use names of seals, or " + ", ".join(SealKind),
        )
        for place, law in enumerate(prediction.laws, start=1)
        for name in law.seals
        if name not in known
    ]  # fmt: skip
    return tuple(found)

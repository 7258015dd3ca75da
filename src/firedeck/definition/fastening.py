"""How a head is fastened: which fasteners stand where, what they clamp, how they are tightened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.fastener import ClampedPart, Fastener
from firedeck.definition.plan_finding import PlanFinding
from firedeck.definition.quantities import (
    Definition,
    Fraction,
    Length,
    Pressure,
    Stiffness,
    Temperature,
)
from firedeck.definition.tightening import Settling, Tightening
from firedeck.evidence import Basis, Source

__all__ = [
    "CylinderPressureFrom",
    "CylinderPressureWanted",
    "FastenerGroup",
    "Fastening",
    "GasketBed",
    "WarmPart",
    "check_fastening",
]

_UNSOURCED = Source(Basis.MEMORY, "stated in the definition without a source")

#: The clamped parts may miss the fastener's grip by this share of it [1].
_GRIP_TOLERANCE = 0.01


class WarmPart(ClampedPart):
    """A clamped part with its temperature when the engine runs.

    Attributes
    ----------
    material : Material
        Its material.
    thickness : float
        Thickness under the fastener [mm].
    temperature : float, optional
        Mean temperature over its thickness in operation [degC].
    """

    temperature: Temperature | None = None


class FastenerGroup(Definition):
    """Fasteners that are alike: what they are, where they stand, what they clamp.

    Attributes
    ----------
    name : str
        Name shown to the user.
    holes : tuple of str
        Fastener holes of the deck plan; empty: all that no other group names.
    fastener : Fastener
        The bolt or stud.
    parts : tuple of WarmPart
        What it clamps, from beneath its washer down to the block, gasket included. With the
        washer they are as thick as the fastener's grip.
    boss : float, optional
        Diameter to which the pressed material under the seat can spread: the boss, or the
        distance to the next wall [mm]; not given: twice the bearing face.
    stack_stiffness : float, optional
        Stiffness of head and block at one fastener, gasket left out, where it is known [N/mm];
        not given: reckoned from a pressure cone in the parts.
    stack_source : Source
        Backing of that stiffness.
    fastener_temperature : float, optional
        Mean temperature of the fastener over its grip in operation [degC].
    tightening : Tightening, optional
        Where these fasteners are tightened otherwise than the rest.
    """

    name: str = Field(min_length=1)
    holes: tuple[str, ...] = ()
    fastener: Fastener
    parts: tuple[WarmPart, ...] = Field(alias="part", min_length=1)
    boss: Length | None = Field(default=None, gt=0)
    stack_stiffness: Stiffness | None = Field(default=None, gt=0)
    stack_source: Source = _UNSOURCED
    fastener_temperature: Temperature | None = None
    tightening: Tightening | None = None

    @property
    def stack(self) -> tuple[WarmPart, ...]:
        """Everything under the turned face: the washer, as warm as the first part, then the parts."""
        washer = self.fastener.washer
        if washer is None:
            return self.parts
        top = WarmPart.model_construct(
            name="washer",
            material=washer.material,
            thickness=washer.thickness,
            temperature=self.parts[0].temperature,
        )
        return (top, *self.parts)

    @property
    def is_warm(self) -> bool:
        """Whether the temperatures in operation are stated."""
        return self.fastener_temperature is not None

    @model_validator(mode="after")
    def _fills_the_grip(self) -> Self:
        thick = sum(part.thickness for part in self.stack)
        grip = self.fastener.grip
        if abs(thick - grip) > _GRIP_TOLERANCE * grip:
            washer = " with the washer" if self.fastener.washer else ""
            raise ValueError(
                f"the parts{washer} are {thick:.5g} mm thick, but the fastener's segments make a grip of "
                f"{grip:.5g} mm|make the thicknesses and the segments' lengths add up to the same"
            )
        return self

    @model_validator(mode="after")
    def _all_temperatures_or_none(self) -> Self:
        given = [self.is_warm, *(part.temperature is not None for part in self.parts)]
        if any(given) and not all(given):
            raise ValueError(
                "some temperatures are stated and others are not"
                "|give fastener_temperature and a temperature for every part, or none at all"
            )
        return self

    @model_validator(mode="after")
    def _follows_the_joint(self) -> Self:
        if self.tightening is not None and self.tightening.sequence:
            raise ValueError(
                "the sequence belongs to the whole joint|write it into the tightening that is not in a group"
            )
        return self


class GasketBed(Definition):
    """The gasket as the spring on which a rigid head rests.

    Attributes
    ----------
    stiffness : float, optional
        Load over closure of all bore seals together, at the end of the tightening [N/mm];
        not given: an order of magnitude for each millimetre of their lines.
    source : Source
        Backing of that stiffness.
    """

    stiffness: Stiffness | None = Field(default=None, gt=0)
    source: Source = _UNSOURCED


_RATIO_SOURCE = Source(Basis.MEMORY, "1.3 to 2 is usual where engines are boosted for racing")


class CylinderPressureWanted(Definition):
    """Peak cylinder pressure that the clamp must hold down, and by how much.

    Attributes
    ----------
    value : float
        Peak pressure of the mean cylinder [MPa].
    scatter : float
        Plus or minus at 95 % within which the highest cycles that count lie [1].
    cylinder_factors : tuple of float
        Peak pressure of each bore, in the plan's order, over `value` [1]; empty: all alike.
    seal_diameter : float, optional
        Diameter on which the seals hold the gas [mm]; not given: that of the plan's bore seals.
    ratio_min : float
        Least clamp over gas load wanted [1].
    ratio_source : Source
        Backing of `ratio_min`.
    source : Source
        Backing of the pressure.
    """

    value: Pressure = Field(gt=0)
    scatter: Fraction = Field(ge=0.0, lt=0.9)
    cylinder_factors: tuple[Fraction, ...] = ()
    seal_diameter: Length | None = Field(default=None, gt=0)
    ratio_min: Fraction = Field(default=1.3, ge=1.0)
    ratio_source: Source = _RATIO_SOURCE
    source: Source = _UNSOURCED

    @model_validator(mode="after")
    def _factors_above_zero(self) -> Self:
        if any(factor <= 0.0 for factor in self.cylinder_factors):
            raise ValueError("a cylinder's factor is above zero|1 stands for a cylinder like the mean")
        return self


class CylinderPressureFrom(Definition):
    """Peak cylinder pressure taken from a duty: what the joint must survive, cylinder by cylinder.

    Attributes
    ----------
    duty : str
        Duty file.
    seal_diameter : float, optional
        Diameter on which the seals hold the gas [mm]; not given: that of the plan's bore seals.
    ratio_min : float
        Least clamp over gas load wanted [1].
    ratio_source : Source
        Backing of `ratio_min`.
    """

    duty: str = Field(min_length=1, description="duty file")
    seal_diameter: Length | None = Field(default=None, gt=0)
    ratio_min: Fraction = Field(default=1.3, ge=1.0)
    ratio_source: Source = _RATIO_SOURCE


class Fastening(Definition):
    """How the head of one joint is fastened.

    Attributes
    ----------
    deck : str
        Deck plan file.
    gasket : str
        Gasket file, where it has seals of its own.
    tightening : Tightening
        Lubricant, tool, stages and sequence of the joint.
    settling : Settling
        What the joint loses afterwards.
    bed : GasketBed
        The gasket as a spring.
    cylinder_pressure : CylinderPressureWanted, optional
        Pressure that the clamp must hold down.
    cylinder_pressure_from : CylinderPressureFrom, optional
        The duty that says it, in place of `cylinder_pressure`.
    groups : tuple of FastenerGroup
        The fasteners.
    """

    kind: Literal["fastening"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    note: str = ""
    deck: str = Field(min_length=1, description="deck plan file")
    gasket: str = ""
    tightening: Tightening
    settling: Settling = Settling()
    bed: GasketBed = GasketBed()
    cylinder_pressure: CylinderPressureWanted | None = Field(default=None, alias="cylinder-pressure")
    cylinder_pressure_from: CylinderPressureFrom | None = Field(default=None, alias="cylinder-pressure-from")
    groups: tuple[FastenerGroup, ...] = Field(alias="group", min_length=1)

    @model_validator(mode="after")
    def _pressure_once(self) -> Self:
        if self.cylinder_pressure is not None and self.cylinder_pressure_from is not None:
            raise ValueError(
                "both cylinder-pressure and cylinder-pressure-from stand here"
                "|keep the one that is to count, and delete the other"
            )
        return self

    @model_validator(mode="after")
    def _holes_once(self) -> Self:
        names = Counter(hole for group in self.groups for hole in group.holes)
        twice = [name for name, count in names.items() if count > 1]
        if twice:
            raise ValueError(f"{twice[0]!r} stands in two groups, or twice in one|name each hole once")
        if sum(not group.holes for group in self.groups) > 1:
            raise ValueError(
                "two groups name no holes, and only one can take all that are left"
                "|name the holes of all groups but one"
            )
        titles = Counter(group.name for group in self.groups)
        if max(titles.values()) > 1:
            raise ValueError("two groups have the same name|name each group differently")
        return self

    def tightening_of(self, group: FastenerGroup) -> Tightening:
        """Return how a group is tightened."""
        return group.tightening or self.tightening

    def holes_of(self, group: FastenerGroup, plan_holes: Sequence[str]) -> tuple[str, ...]:
        """Return the holes that a group fastens, in the plan's order."""
        named = {hole for other in self.groups for hole in other.holes}
        wanted = set(group.holes) or set(plan_holes) - named
        return tuple(hole for hole in plan_holes if hole in wanted)


def check_fastening(fastening: Fastening, holes: Sequence[str], bores: int) -> tuple[PlanFinding, ...]:
    """Return everything that does not fit between a fastening and its deck plan.

    Parameters
    ----------
    fastening : Fastening
        The fastening.
    holes : sequence of str
        Names of the plan's fastener holes.
    bores : int
        How many bores the plan has.
    """
    found = [*_wrong_holes(fastening, holes), *_wrong_sequence(fastening, holes)]
    wanted = fastening.cylinder_pressure
    given = len(wanted.cylinder_factors) if wanted else 0
    if given not in (0, bores):
        found.append(
            PlanFinding(
                "fault",
                "cylinder-pressure.cylinder_factors",
                f"{given} factors stand here, and the plan has {bores} bores",
                "give one factor for each bore in the plan's order, or leave them out",
            )
        )
    return tuple(found)


def _wrong_holes(fastening: Fastening, holes: Sequence[str]) -> Iterable[PlanFinding]:
    if not holes:
        yield PlanFinding(
            "fault",
            "deck",
            "the deck plan has no fastener holes",
            "add its [[fastener-hole]] entries to the plan",
        )
    filled: set[str] = set()
    for place, group in enumerate(fastening.groups, start=1):
        unknown = [hole for hole in group.holes if hole not in holes]
        if unknown:
            yield PlanFinding(
                "fault",
                f"group[{place}].holes",
                f"the deck plan has no fastener hole {unknown[0]!r}",
                "use names of the plan: " + ", ".join(holes),
            )
        taken = fastening.holes_of(group, holes)
        if not taken and not unknown and holes:
            yield PlanFinding(
                "fault",
                f"group[{place}]",
                f"no hole is left for {group.name!r}",
                "name its holes, or remove the group",
            )
        filled.update(taken)
    empty = [hole for hole in holes if hole not in filled]
    if empty:
        yield PlanFinding(
            "fault",
            "group",
            "the deck plan has holes without a fastener: " + ", ".join(empty),
            "add them to a group's holes, or leave the holes of one group out to give it all the rest",
        )


def _wrong_sequence(fastening: Fastening, holes: Sequence[str]) -> Iterable[PlanFinding]:
    sequence = fastening.tightening.sequence
    if not sequence or sorted(sequence) == sorted(holes):
        return
    unknown = [name for name in sequence if name not in holes]
    missing = [name for name in holes if name not in sequence]
    message = f"no fastener stands at {unknown[0]!r}" if unknown else "it leaves out " + ", ".join(missing)
    yield PlanFinding(
        "fault",
        "tightening.sequence",
        message,
        "name every fastener hole of the plan once, or leave the sequence out to have one proposed",
    )

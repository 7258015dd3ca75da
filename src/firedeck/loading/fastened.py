"""The fastened joint: every hole of the plan with its fastener, a rigid head, the gasket as springs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.fastener import Fastener
from firedeck.definition.fastening import FastenerGroup, Fastening
from firedeck.definition.shape import SealLine, seal_line
from firedeck.definition.tightening import Tightening
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source
from firedeck.loading.compliance import ClampedStack, PressureCone, fastener_compliance
from firedeck.loading.gas_load import Bores
from firedeck.loading.interaction import Bed, SharedJoint, TighteningHistory, tighten
from firedeck.loading.sequence import Turned, centre_out, moves_in_rounds

__all__ = [
    "BED_LINE_STIFFNESS",
    "FastenedJoint",
    "GroupInPlace",
    "clamped_stack",
    "fasten",
    "gas_bores",
]

Floats = NDArray[np.float64]

#: Load per length over closure of a bore seal at the end of tightening [N/mm^2], where none is stated.
BED_LINE_STIFFNESS = (
    5000.0,
    Source(Basis.MEMORY, "order of magnitude only", "a bore bead that closes 0.05 mm under 250 N/mm"),
)

#: Distance between the springs that stand for a seal [mm].
_STEP = 2.0

#: Spread of the pressed material where no boss is stated, over the diameter of the lowest face [1].
_SPREAD = 2.0


@dataclass(frozen=True)
class GroupInPlace:
    """A group of fasteners in its holes.

    Attributes
    ----------
    group : FastenerGroup
        As defined.
    tightening : Tightening
        How it is tightened.
    holes : tuple of str
        Its holes, in the plan's order.
    stack : ClampedStack
        What each of its fasteners clamps.
    bed_give : float
        How far the gasket gives at its fasteners per newton on every fastener of the joint,
        their mean [mm/N].
    """

    group: FastenerGroup
    tightening: Tightening
    holes: tuple[str, ...]
    stack: ClampedStack
    bed_give: float

    @property
    def fastener(self) -> Fastener:
        """The fastener."""
        return self.group.fastener

    @property
    def joint_compliance(self) -> float:
        """Give of head, block and gasket at one fastener when all press alike [mm/N]."""
        return self.stack.compliance() + self.bed_give

    @property
    def compliance(self) -> float:
        """Give of fastener and joint together [mm/N]."""
        return fastener_compliance(self.fastener) + self.joint_compliance


@dataclass(frozen=True)
class FastenedJoint:
    """All fasteners of a joint on their common bed.

    Attributes
    ----------
    groups : tuple of GroupInPlace
        The groups in their holes.
    positions : array, shape (n, 2)
        Fasteners in plan, in the order of `shared.names` [mm].
    shared : SharedJoint
        How they act on one another; head and block under each one count with the fastener.
    sequence : tuple of str
        Order of tightening.
    proposed : bool
        Whether that order was proposed here, and not stated.
    bed : Bed
        The gasket's springs.
    bed_source : Source
        Backing of their stiffness.
    """

    groups: tuple[GroupInPlace, ...]
    positions: Floats
    shared: SharedJoint
    sequence: tuple[str, ...]
    proposed: bool
    bed: Bed
    bed_source: Source

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fastener holes, in the plan's order."""
        return self.shared.names

    def group_of(self, name: str) -> GroupInPlace:
        """Return the group whose fastener stands in a hole."""
        return next(group for group in self.groups if name in group.holes)

    def tighten(self) -> TighteningHistory:
        """Carry out the tightening as stated, at typical friction, elastically."""
        turned = {
            name: Turned(group.fastener, group.tightening) for group in self.groups for name in group.holes
        }
        return tighten(self.shared, moves_in_rounds(turned, self.sequence))


def fasten(fastening: Fastening, plan: DeckPlan, *, bed_factor: float = 1.0) -> FastenedJoint:
    """Put the fasteners into the holes of a plan that they fit, see `check_fastening`.

    Parameters
    ----------
    fastening : Fastening
        The fastening.
    plan : DeckPlan
        The deck plan, with the seals of the gasket in use.
    bed_factor : float
        Factor on the gasket's stiffness, to see how much it matters [1].
    """
    names = tuple(hole.name for hole in plan.fastener_holes)
    positions = np.array([hole.centre for hole in plan.fastener_holes], dtype=np.float64)
    bed, source = _bed(fastening, plan, bed_factor)
    joint = bed.compliance(positions)
    give = dict(zip(names, joint.sum(axis=1), strict=True))
    groups = []
    for group in fastening.groups:
        holes = fastening.holes_of(group, names)
        mean = float(np.mean([give[hole] for hole in holes]))
        groups.append(GroupInPlace(group, fastening.tightening_of(group), holes, clamped_stack(group), mean))
    local = {
        hole: fastener_compliance(one.fastener) + one.stack.compliance()
        for one in groups
        for hole in one.holes
    }
    stated = fastening.tightening.sequence
    return FastenedJoint(
        tuple(groups),
        positions,
        SharedJoint(names, joint, np.array([local[name] for name in names])),
        stated or centre_out(positions, names),
        not stated,
        bed,
        source,
    )


def clamped_stack(group: FastenerGroup) -> ClampedStack:
    """Return what a group's fastener clamps, its pressure cone on the head's side."""
    fastener = group.fastener
    lowest = fastener.washer.outer_diameter if fastener.washer else fastener.bearing.outer_diameter
    cone = PressureCone(
        fastener.bearing.outer_diameter,
        fastener.bearing.hole_diameter,
        limit_diameter=group.boss or _SPREAD * lowest,
        both_faces=False,
    )
    stated = 1.0 / group.stack_stiffness if group.stack_stiffness else None
    return ClampedStack(group.stack, cone, stated)


def _bed(fastening: Fastening, plan: DeckPlan, factor: float) -> tuple[Bed, Source]:
    """Return springs along all bore seals, as stiff as stated or as their length makes them."""
    lines = [seal_line(plan, seal, step=_STEP) for seal in _bore_seals(plan) or _edge_seals(plan)]
    points = np.vstack([line.points for line in lines])
    lengths = np.concatenate([np.full(len(line.points), line.step) for line in lines])
    stated = fastening.bed.stiffness
    if stated is None:
        each, source = BED_LINE_STIFFNESS[0] * lengths, BED_LINE_STIFFNESS[1]
    else:
        each, source = stated * lengths / lengths.sum(), fastening.bed.source
    return Bed.from_points(points, factor * each), source


def _bore_seals(plan: DeckPlan) -> list[Seal]:
    """Return the seals that enclose bores and nothing else."""
    bores = {bore.name for bore in plan.bores}
    return [seal for seal in plan.seals if set(seal.enclosed) <= bores]


def _edge_seals(plan: DeckPlan) -> Iterator[Seal]:
    """Stand a ring on the edge of every bore of a plan that has no bore seals."""
    for bore in plan.bores:
        yield Seal.model_validate({"name": bore.name, "kind": "ring", "around": bore.name, "band": "1 mm"})


def gas_bores(plan: DeckPlan, seal_diameter: float | None = None) -> Bores:
    """Return the bores with the diameter on which each seal holds the gas.

    Of several seals round one bore the widest counts: gas that has passed the others presses up to it.

    Parameters
    ----------
    plan : DeckPlan
        The plan with its seals.
    seal_diameter : float, optional
        Diameter to take for every bore instead [mm].

    Raises
    ------
    FiredeckError
        If a bore has no seal of its own and no diameter is given.
    """
    across = [seal_diameter or _widest_seal(plan, bore.name) for bore in plan.bores]
    return Bores.build([bore.centre for bore in plan.bores], across, names=[bore.name for bore in plan.bores])


def _widest_seal(plan: DeckPlan, bore: str) -> float:
    own = [seal for seal in plan.seals if set(seal.enclosed) == {bore}]
    if not own:
        raise FiredeckError(
            f"no seal of the plan lies round {bore} alone, so the diameter that the gas acts on is not known",
            where=plan.name,
            remedy='add its seal to the plan, or seal_diameter = "... mm" to the cylinder pressure',
        )
    return max(_diameter(seal_line(plan, seal, step=_STEP)) for seal in own)


def _diameter(line: SealLine) -> float:
    """Return the diameter of the circle that encloses as much as a line does [mm]."""
    if line.is_round:
        return line.length / math.pi
    return math.sqrt(4.0 * float(shapely.Polygon(line.points).area) / math.pi)

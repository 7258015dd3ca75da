"""Tightening sequences: the order, step preloads that end even, passes until it is even."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firedeck.definition.fastener import Fastener
from firedeck.definition.tightening import Stage, Tightening
from firedeck.errors import FiredeckError
from firedeck.kernel.interaction import advance_for, balance
from firedeck.loading.compliance import stretch_compliance
from firedeck.loading.interaction import Move, SharedJoint, TighteningHistory, tighten
from firedeck.loading.preload import preload_for_torque

__all__ = [
    "EvenPlan",
    "Passes",
    "Turned",
    "centre_out",
    "even_in_one_pass",
    "moves_in_rounds",
    "moves_of",
    "passes_until_even",
    "staged_moves",
]

Floats = NDArray[np.float64]


def centre_out(positions: ArrayLike, names: Sequence[str] | None = None) -> tuple[str, ...]:
    """Propose a sequence from the centre outward, from side to side (common practice, no source).

    Fasteners are taken ring by ring; within a ring the next is the one that leaves those
    tightened so far best balanced about the centre.

    Parameters
    ----------
    positions : array_like, shape (n, 2)
        Fasteners in plan [mm].
    names : sequence of str, optional
        Their names; 1, 2, 3 and so on when not given.

    Returns
    -------
    tuple of str
        Names in order.
    """
    places = np.asarray(positions, dtype=np.float64).reshape(-1, 2)
    called = tuple(names) if names is not None else tuple(str(k + 1) for k in range(len(places)))
    arms = places - 0.5 * (places.min(axis=0) + places.max(axis=0))
    reach = np.linalg.norm(arms, axis=1)
    width = 0.05 * max(float(reach.max(initial=0.0)), 1e-9)
    left = sorted(range(len(places)), key=lambda k: (reach[k], k))
    order: list[int] = []
    lean = np.zeros(2)
    while left:
        ring = [k for k in left if reach[k] <= reach[left[0]] + width]
        chosen = min(ring, key=lambda k: (round(float(np.linalg.norm(lean + arms[k])), 6), k))
        left.remove(chosen)
        order.append(chosen)
        lean = lean + arms[chosen]
    return tuple(called[k] for k in order)


@dataclass(frozen=True)
class EvenPlan:
    """A one-pass tightening that ends with the preloads wanted.

    Attributes
    ----------
    sequence : tuple of str
        Fasteners in order.
    step_preload : array, shape (n,)
        Preload to bring each to in its turn, in the order of `sequence` [N].
    history : TighteningHistory
        What every fastener holds after each step.
    """

    sequence: tuple[str, ...]
    step_preload: Floats
    history: TighteningHistory

    @property
    def highest(self) -> float:
        """Highest preload that any fastener passes through [N]; compare it with yield."""
        return float(self.history.preload.max())


def _order(joint: SharedJoint, sequence: Sequence[str]) -> list[int]:
    places = [joint.index(name) for name in sequence]
    if sorted(places) != list(range(len(joint.names))):
        raise FiredeckError(
            f"the sequence names {len(set(places))} of {len(joint.names)} fasteners, or one of them twice",
            remedy="name every fastener once: " + ", ".join(joint.names),
        )
    return places


def even_in_one_pass(
    joint: SharedJoint, wanted: ArrayLike, sequence: Sequence[str], *, before: Sequence[Move] = ()
) -> EvenPlan:
    """Return the step preloads that leave exactly the preloads wanted after one pass.

    Each nut's final position follows from the preloads wanted; in its turn each nut is brought
    straight there, and its preload at that moment is the step preload. No iteration.

    Parameters
    ----------
    joint : SharedJoint
        Joint and fasteners.
    wanted : array_like
        Preload wanted, one for all or one each in the order of the joint's names [N].
    sequence : sequence of str
        Order of tightening, every fastener once.
    before : sequence of Move
        Moves of earlier stages; the pass starts from what they leave, every fastener tight.

    Raises
    ------
    FiredeckError
        If a wanted preload is not above zero, or the sequence is not one of all fasteners, or a
        fastener could not be tightened in its turn because the joint would be away from it.
    """
    goal = np.broadcast_to(np.asarray(wanted, dtype=np.float64), len(joint.names))
    if not np.all(goal > 0.0):
        raise FiredeckError("every preload wanted must be above zero", remedy="give a positive preload")
    order = _order(joint, sequence)
    advance = advance_for(joint.joint, joint.fastener, goal)
    in_play = np.full(len(goal), bool(before))
    reached = np.zeros(len(goal))
    if before:
        reached = advance_for(joint.joint, joint.fastener, tighten(joint, before).final)
        _refuse_loosening(joint, advance, reached)
    steps = np.empty(len(goal))
    for turn, place in enumerate(order):
        in_play[place] = True
        reached[place] = advance[place]
        steps[turn] = balance(joint.joint, joint.fastener, reached, in_play)[place]
    if not np.all(steps > 0.0):
        name = joint.names[order[int(np.argmin(steps))]]
        raise FiredeckError(
            f"in this sequence the joint is away from {name} when its turn comes",
            remedy="tighten in several passes, or from the centre outward",
        )
    moves = [Move(joint.names[place], preload=float(step)) for place, step in zip(order, steps, strict=True)]
    return EvenPlan(tuple(sequence), steps, tighten(joint, [*before, *moves]))


def _refuse_loosening(joint: SharedJoint, advance: Floats, reached: Floats) -> None:
    slack = [name for name, end, now in zip(joint.names, advance, reached, strict=True) if end < now]
    if slack:
        raise FiredeckError(
            f"the stages before have already turned {slack[0]} further than its even end",
            remedy="lower the stages before the last",
        )


def staged_moves(sequence: Sequence[str], stages: Sequence[float]) -> tuple[Move, ...]:
    """Return the moves of stages of preload [N], each over the whole sequence."""
    return tuple(Move(name, preload=stage) for stage in stages for name in sequence)


@dataclass(frozen=True)
class Passes:
    """Passes at one wrench setting.

    Attributes
    ----------
    count : int
        Passes carried out: as many as it took, or those after which nothing moved any more.
    even : bool
        Whether the fasteners are as even as asked.
    above : tuple of str
        Fasteners that ended above the setting because the joint rocked onto them; a wrench
        cannot take that off, only loosening or planned step preloads can.
    history : TighteningHistory
        Every move.
    """

    count: int
    even: bool
    above: tuple[str, ...]
    history: TighteningHistory


def passes_until_even(
    joint: SharedJoint,
    preload: ArrayLike,
    sequence: Sequence[str],
    *,
    unevenness: float = 0.02,
    most: int = 20,
    before: Sequence[Move] = (),
) -> Passes:
    """Repeat passes at the same wrench setting until the fasteners are even or nothing moves.

    Every pass raises what is below the setting. A joint that only gives converges to even; a
    head that rocks may leave some fasteners above the setting for good.

    Parameters
    ----------
    joint : SharedJoint
        Joint and fasteners.
    preload : array_like
        Preload at which the wrench stops, one for all or one each in the order of the joint's
        names [N].
    sequence : sequence of str
        Order of each pass.
    unevenness : float
        Difference between greatest and least share of the wrench's setting at which to stop [1].
    most : int
        Passes after which to stop.
    before : sequence of Move
        Moves of earlier stages.
    """
    setting = np.broadcast_to(np.asarray(preload, dtype=np.float64), len(joint.names))
    order = _order(joint, sequence)
    one_pass = [Move(joint.names[place], preload=float(setting[place])) for place in order]
    history = tighten(joint, [*before, *one_pass * most])
    ends = history.preload[len(before) + len(order) - 1 :: len(order)] / setting
    spread = np.ptp(ends, axis=1) / ends.mean(axis=1)
    moved = np.abs(np.diff(ends, axis=0, prepend=0.0)).max(axis=1)
    done = (spread <= unevenness) | (moved <= 1e-6)
    count = int(np.argmax(done)) + 1 if done.any() else most
    above = ends[count - 1] > 1.0 + 1e-6
    names = tuple(name for name, over in zip(joint.names, above, strict=True) if over)
    whole = len(before) + count * len(order)
    return Passes(count, bool(spread[count - 1] <= unevenness), names, history.until(whole))


@dataclass(frozen=True)
class Turned:
    """A fastener and how it is tightened.

    Attributes
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages, lubricant, retorque.
    friction_factor : float
        Factor on the typical friction [1].
    """

    fastener: Fastener
    tightening: Tightening
    friction_factor: float = 1.0

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Its stages, the last once more for every retorque."""
        stages = self.tightening.stages
        return stages + stages[-1:] * self.tightening.retorque

    def move(self, name: str, stage: Stage) -> Move:
        """Return one stage as a move on the fastener called `name`."""
        if stage.kind == "torque":
            return Move(name, preload=self._preload(stage.amount))
        if stage.kind == "angle":
            return Move(name, advance=stage.amount / 360.0 * self.fastener.turned_thread.pitch)
        if stage.kind == "stretch":
            return Move(name, preload=stage.amount / stretch_compliance(self.fastener))
        if stage.kind == "tension":
            return Move(name, preload=stage.amount * (1.0 - self.tightening.transfer_loss))
        return Move(name, loosen=True)

    def _preload(self, torque: float) -> float:
        lubricant, factor = self.tightening.lubricant, self.friction_factor
        mu, under = lubricant.thread.middle * factor, lubricant.bearing.middle * factor
        return float(preload_for_torque(self.fastener, torque, mu, under))


def moves_in_rounds(turned: Mapping[str, Turned], sequence: Sequence[str]) -> tuple[Move, ...]:
    """Return the moves of a joint: stage by stage, each over the whole sequence.

    A fastener with fewer stages than others is left alone in the rounds that it has no stage for.

    Parameters
    ----------
    turned : mapping of str to Turned
        Every fastener by its name.
    sequence : sequence of str
        Order within each round.
    """
    rounds = max(len(one.stages) for one in turned.values())
    return tuple(
        turned[name].move(name, turned[name].stages[place])
        for place in range(rounds)
        for name in sequence
        if place < len(turned[name].stages)
    )


def moves_of(
    tightening: Tightening,
    fasteners: Sequence[Fastener],
    sequence: Sequence[str],
    names: Sequence[str],
    friction_factor: ArrayLike = 1.0,
) -> tuple[Move, ...]:
    """Turn a tightening as written into moves, at typical friction.

    Parameters
    ----------
    tightening : Tightening
        Stages, lubricant, retorque.
    fasteners : sequence of Fastener
        One for all, or one for each name.
    sequence : sequence of str
        Order within each stage; the tightening's own goes before it.
    names : sequence of str
        Names that the fasteners go by.
    friction_factor : array_like
        Factor on the typical friction, one for all or one for each name [1].
    """
    each = list(fasteners) * (len(names) if len(fasteners) == 1 else 1)
    factors = np.broadcast_to(np.asarray(friction_factor, dtype=np.float64), len(names))
    turned = {
        name: Turned(fastener, tightening, float(factor))
        for name, fastener, factor in zip(names, each, factors, strict=True)
    }
    return moves_in_rounds(turned, tightening.sequence or tuple(sequence))

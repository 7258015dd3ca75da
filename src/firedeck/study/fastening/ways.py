"""Ways of carrying out a tightening: as given, with a last round that ends even, repeated until even."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.tightening import StageKind, TighteningError
from firedeck.errors import FiredeckError
from firedeck.loading.fastened import FastenedJoint, GroupInPlace
from firedeck.loading.interaction import Move, TighteningHistory, tighten
from firedeck.loading.preload import preload_after, preload_for_torque, torque_for_preload
from firedeck.loading.reckoning import ClampReckoning
from firedeck.loading.sequence import Turned, even_in_one_pass, moves_in_rounds, passes_until_even
from firedeck.units import show_torque

__all__ = ["EVEN_AT", "EachStep", "Round", "RoundStep", "Way", "WayResult", "ways_of"]

Floats = NDArray[np.float64]

#: How the last stage is carried out.
Way = Literal["given", "even", "passes"]

#: Fasteners this close together, over their mean, are even [1].
EVEN_AT = 0.02


@dataclass(frozen=True)
class RoundStep:
    """What one group gets in one round.

    Attributes
    ----------
    group : str
        The group.
    kind : {"torque", "angle", "stretch", "tension", "loosen"}
        Action.
    amount : float
        Its amount in the action's unit [N*mm, deg, mm or N].
    """

    group: str
    kind: StageKind
    amount: float


@dataclass(frozen=True)
class EachStep:
    """Torque of one fastener in a round in which each has its own.

    Attributes
    ----------
    fastener : str
        Its hole.
    torque : float
        Torque [N*mm].
    preload : float
        Preload that it is brought to in its turn, typical friction [N].
    """

    fastener: str
    torque: float
    preload: float


@dataclass(frozen=True)
class Round:
    """One round over the whole sequence.

    Attributes
    ----------
    steps : tuple of RoundStep
        One for each group that has this stage.
    each : tuple of EachStep
        In order, where every fastener has a torque of its own; else empty.
    again : int
        How often the round is carried out.
    """

    steps: tuple[RoundStep, ...]
    each: tuple[EachStep, ...] = ()
    again: int = 1


@dataclass(frozen=True)
class WayResult:
    """What one way of tightening leaves.

    Attributes
    ----------
    way : str
        Which way.
    rounds : tuple of Round
        What is done; empty where the way is not open.
    final : array, shape (n,)
        Preload of every fastener at the end, typical friction [N].
    highest : float
        Highest preload that any fastener passes through [N].
    remark : str
        What must be said of it, or why it is not open.
    """

    way: Way
    rounds: tuple[Round, ...]
    final: Floats
    highest: float
    remark: str = ""

    @property
    def open(self) -> bool:
        """Whether it can be done."""
        return bool(self.rounds)


def ways_of(clamp: ClampReckoning) -> Iterator[WayResult]:
    """Yield every way of carrying out the last stage, also those that are not open, with the reason."""
    yield WayResult(
        "given", _given(clamp.joint), clamp.final, float(clamp.history.peak.max()), _given_remark(clamp)
    )
    for way, make in _PLANNED.items():
        try:
            yield make(clamp)
        except FiredeckError as fault:
            yield WayResult(way, (), np.zeros(len(clamp.joint.names)), 0.0, fault.message)


def _given_remark(clamp: ClampReckoning) -> str:
    loose = clamp.history.came_loose
    return f"{', '.join(loose)} came loose on the way" if loose else ""


def _given(joint: FastenedJoint) -> tuple[Round, ...]:
    """Return the rounds as the fastening states them."""
    rounds = [Round(steps) for steps in _stages(joint)]
    again = {place.tightening.retorque for place in joint.groups}
    return (*rounds, *([Round(rounds[-1].steps, again=max(again))] if max(again) else []))


def _stages(joint: FastenedJoint) -> list[tuple[RoundStep, ...]]:
    count = max(len(place.tightening.stages) for place in joint.groups)
    return [
        tuple(
            RoundStep(place.group.name, stages[number].kind, stages[number].amount)
            for place in joint.groups
            if number < len(stages := place.tightening.stages)
        )
        for number in range(count)
    ]


def _last_round_apart(joint: FastenedJoint) -> tuple[list[Move], Floats]:
    """Return the moves before the last round, and the preload that the last one brings each to [N].

    Only where every group ends with a torque in the same round can the last be replaced.
    """
    lengths = {len(place.tightening.stages) for place in joint.groups}
    if len(lengths) > 1 or any(place.tightening.stages[-1].kind != "torque" for place in joint.groups):
        raise TighteningError("only a last round of torques over all fasteners can be planned anew")
    turned = {
        name: Turned(
            place.fastener,
            place.tightening.model_copy(update={"stages": place.tightening.stages[:-1], "retorque": 0}),
        )
        for place in joint.groups
        for name in place.holes
    }
    before = moves_in_rounds(turned, joint.sequence) if lengths != {1} else ()
    setting = [
        float(preload_after(place.fastener, place.tightening, place.joint_compliance))
        for place in map(joint.group_of, joint.names)
    ]
    return list(before), np.array(setting)


def _even(clamp: ClampReckoning) -> WayResult:
    joint = clamp.joint
    before, wanted = _last_round_apart(joint)
    plan = even_in_one_pass(joint.shared, wanted, joint.sequence, before=before)
    each = [
        _whole_torque(joint.group_of(name), name, float(step))
        for name, step in zip(joint.sequence, plan.step_preload, strict=True)
    ]
    _refuse_yielding(clamp, each)
    moves = [*before, *(Move(step.fastener, preload=step.preload) for step in each)]
    history = tighten(joint.shared, moves)
    rounds = [Round(steps) for steps in _stages(joint)[:-1]]
    return _result("even", (*rounds, Round((), tuple(each))), history)


def _whole_torque(place: GroupInPlace, name: str, preload: float) -> EachStep:
    """Return a step rounded to what a wrench can be set to."""
    lubricant = place.tightening.lubricant
    mu, under = lubricant.thread.middle, lubricant.bearing.middle
    torque = 1000.0 * round(float(torque_for_preload(place.fastener, preload, mu, under)) / 1000.0)
    return EachStep(name, torque, float(preload_for_torque(place.fastener, torque, mu, under)))


def _refuse_yielding(clamp: ClampReckoning, each: Sequence[EachStep]) -> None:
    for step in each:
        limit = clamp.group_of(step.fastener).yields["low friction"].yield_torque
        if step.torque > limit:
            raise TighteningError(
                f"to end even, {step.fastener} would need {show_torque(step.torque)} in its turn, past the "
                f"{show_torque(limit)} at which it yields with the lowest friction; a lower preload may do"
            )


def _passes(clamp: ClampReckoning) -> WayResult:
    joint = clamp.joint
    before, setting = _last_round_apart(joint)
    found = passes_until_even(joint.shared, setting, joint.sequence, unevenness=EVEN_AT, before=before)
    rounds = [Round(steps) for steps in _stages(joint)]
    last = Round(rounds[-1].steps, again=found.count)
    remark = "" if found.even else _stays_uneven(found.history, setting)
    return _result("passes", (*rounds[:-1], last), found.history, remark)


def _stays_uneven(history: TighteningHistory, setting: Floats) -> str:
    above = history.final > setting * (1.0 + EVEN_AT / 2.0)
    named = [name for name, over in zip(history.names, above, strict=True) if over]
    stay = f": {', '.join(named)} stay above the setting, and only loosening takes that off" if named else ""
    return f"more passes do not make it even{stay}"


def _result(way: Way, rounds: tuple[Round, ...], history: TighteningHistory, remark: str = "") -> WayResult:
    return WayResult(way, rounds, history.final, float(history.peak.max()), remark)


_PLANNED: Mapping[Way, Callable[[ClampReckoning], WayResult]] = {"even": _even, "passes": _passes}

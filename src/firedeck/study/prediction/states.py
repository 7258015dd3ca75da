"""The states of a predicted joint: tightened move by move, settled, hot, firing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from scipy.optimize import brentq

from firedeck.contact import Joint, JointState, Warmth, loose_joint
from firedeck.contact.joint import Level
from firedeck.definition.fastener import Fastener
from firedeck.definition.prediction import HotState
from firedeck.loading.compliance import fastener_compliance
from firedeck.loading.interaction import Move, TighteningHistory
from firedeck.loading.yielding import preload_at_yield
from firedeck.study.fastening.assessment import in_file
from firedeck.study.prediction.files import PredictionFiles

__all__ = [
    "MOST_RELAXED",
    "PredictedStates",
    "Told",
    "carry_out",
    "moves_that_count",
    "settling_shares",
    "states_of",
    "tightening_moves",
    "warmed",
    "warmth_of",
]

#: Told what is done and which share of it.
Told = Callable[[str, float], None]

#: Largest share of the gasket's load that settling may take at the same closure [1].
MOST_RELAXED = 0.6

#: How near that share is sought [1].
_SHARE_STEP = 1e-4


@dataclass(frozen=True)
class PredictedStates:
    """States on one level.

    Attributes
    ----------
    cold : JointState
        As tightened.
    settled : JointState
        After embedding and relaxation.
    hot : JointState or None
        At the temperatures in operation, without gas; None where none are stated.
    firing, hot_firing : mapping of str to JointState
        By the bore that fires, from settled and from hot.
    """

    cold: JointState
    settled: JointState
    hot: JointState | None
    firing: Mapping[str, JointState]
    hot_firing: Mapping[str, JointState]

    @property
    def all(self) -> dict[str, JointState]:
        """Every state by its name, in order."""
        named = {"cold": self.cold, "settled": self.settled}
        if self.hot is not None:
            named["hot"] = self.hot
        named |= {f"firing, {bore}": state for bore, state in self.firing.items()}
        return named | {f"hot firing, {bore}": state for bore, state in self.hot_firing.items()}

    def resting(self, firing: str) -> JointState:
        """Return the state without gas that a firing state, by its name, comes from."""
        return self.hot if firing.startswith("hot") and self.hot is not None else self.settled

    @property
    def under_gas(self) -> dict[str, JointState]:
        """The firing states by name: hot ones where there are any, and the cold ones."""
        return {name: state for name, state in self.all.items() if "firing" in name}


def tightening_moves(files: PredictionFiles, *, last_round: bool = False) -> tuple[Move, ...]:
    """Return the moves of the wrench that count: those after the last loosening.

    Parameters
    ----------
    files : PredictionFiles
        The prediction.
    last_round : bool
        Only the last move on every fastener.
    """
    counted = moves_that_count(files.clamp.history)
    if not last_round or any(move.advance is not None for move in counted):
        return counted
    return tuple(counted[-len(files.clamp.joint.names) :])


def moves_that_count(history: TighteningHistory) -> tuple[Move, ...]:
    """Return the moves of a tightening after its last loosening."""
    loosened = [place for place, move in enumerate(history.moves) if move.loosen]
    return tuple(history.moves[loosened[-1] + 1 :] if loosened else history.moves)


def carry_out(
    joint: Joint, files: PredictionFiles, moves: Sequence[Move], level: Level, told: Told | None = None
) -> list[JointState]:
    """Carry out moves of the wrench and return the state after each."""
    state, steps = loose_joint(joint, level), []
    for place, move in enumerate(moves):
        if told is not None:
            told(f"tightening {move.fastener}", place / len(moves))
        if move.preload is not None:
            state = state.turn(move.fastener, move.preload)
        else:
            state = _turned_on(state, files, move)
        steps.append(state)
    return steps


def _turned_on(state: JointState, files: PredictionFiles, move: Move) -> JointState:
    """Turn a fastener on; one that is meant to yield stops at the preload at which it does."""
    turned = state.turn_on(move.fastener, move.advance or 0.0)
    place = files.clamp.joint.group_of(move.fastener)
    if not place.tightening.to_yield:
        return turned
    cap = preload_at_yield(place.fastener, place.tightening.lubricant.thread.middle)
    which = [seat.name for seat in state.joint.seats].index(move.fastener)
    return state.turn(move.fastener, cap) if turned.tension[which] > cap else turned


def settling_shares(state: JointState, files: PredictionFiles) -> dict[str, float]:
    """Return the share of its load that each seal loses at the same closure while settling [1].

    A seal whose law states its relaxation loses that. The others lose the share that would take the
    fastening's share from the fasteners' sum if all seals lost it, beside what flattening takes.

    Parameters
    ----------
    state : JointState
        The joint as tightened.
    files : PredictionFiles
        The prediction.
    """
    stated = {
        name: 1.0 - one.relaxation.remaining for name, one in files.laws.items() if one.relaxation is not None
    }
    common = 0.0 if len(stated) == len(files.laws) else _common_share(state, files)
    return dict.fromkeys(files.laws, common) | stated


def _common_share(state: JointState, files: PredictionFiles) -> float:
    settling = files.fastening.fastening.settling
    if settling.relaxation <= 0.0:
        return 0.0
    wanted = settling.relaxation * float(state.tension.sum())
    flat = float(state.settle(embedding=settling.flattening).tension.sum())

    def beyond(share: float) -> float:
        lost = flat - float(_settled(state, settling.flattening, share).tension.sum())
        return lost / wanted - 1.0

    if beyond(MOST_RELAXED) <= 0.0:
        return MOST_RELAXED
    return float(brentq(beyond, 0.0, MOST_RELAXED, xtol=_SHARE_STEP))


def _settled(state: JointState, flattening: float, shares: float | Mapping[str, float]) -> JointState:
    return state.settle(embedding=flattening, relaxation=shares)


def states_of(
    steps: Sequence[JointState],
    files: PredictionFiles,
    pressures: Mapping[str, float],
    relaxed: Mapping[str, float],
    told: Told | None = None,
) -> PredictedStates:
    """Return all states that follow from a tightened joint.

    Parameters
    ----------
    steps : sequence of JointState
        Steps of the tightening.
    files : PredictionFiles
        The prediction.
    pressures : mapping of str to float
        Peak pressure of every cylinder that fires [MPa].
    relaxed : mapping of str to float
        Share of its load that each seal loses while settling, from `settling_shares` [1].
    told : callable, optional
        Told how far it is.
    """
    tell = told or (lambda _what, _share: None)
    tell("settling", 0.0)
    settled = _settled(steps[-1], files.fastening.fastening.settling.flattening, relaxed)
    hot = None
    if files.prediction.hot is not None:
        tell("warming up", 0.3)
        hot = warmed(settled, files.prediction.hot, files)
    tell("firing", 0.5)
    firing = _fired(settled, pressures)
    return PredictedStates(steps[-1], settled, hot, firing, _fired(hot, pressures) if hot else {})


def _fired(state: JointState, pressures: Mapping[str, float]) -> dict[str, JointState]:
    return {bore: state.fire({bore: pressure}) for bore, pressure in pressures.items()}


def warmed(state: JointState, hot: HotState, files: PredictionFiles) -> JointState:
    """Return a state brought to the temperatures in operation.

    Raises
    ------
    FiredeckError
        If a material's table ends below its temperature.
    """
    warmth = warmth_of(hot, files)
    with in_file(files.file):
        return state.warm(warmth)


def warmth_of(hot: HotState, files: PredictionFiles) -> Warmth:
    """Return the temperatures of the members with the fasteners' expansion and stiffness.

    Raises
    ------
    FiredeckError
        If a fastener's material is not known at the temperature.
    """
    groups = files.fastening.fastening.groups
    with in_file(files.fastening.file):
        strains = [group.fastener.material.free_strain(hot.fasteners) for group in groups]
        stiffness = [
            _hot_stiffness(files.clamp.joint.group_of(name).fastener, hot.fasteners)
            for name in files.clamp.joint.names
        ]
    rise = hot.fasteners - 20.0
    mean = sum(strains) / len(strains)
    expansion = mean / rise if not math.isclose(rise, 0.0, abs_tol=1e-9) else 0.0
    return Warmth(hot.head, hot.block, hot.fasteners, expansion, stiffness)


def _hot_stiffness(fastener: Fastener, temperature: float) -> float:
    """Return a fastener's stiffness at a temperature over that at 20 degC [1]."""
    return fastener_compliance(fastener) / fastener_compliance(fastener, temperature)

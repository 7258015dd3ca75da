"""What is left of every seal of a predicted joint, by the limits that the prediction states."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from firedeck.contact import JointState, SealPressure, profile
from firedeck.definition.deck import Seal
from firedeck.definition.prediction import GivingLimits
from firedeck.study.prediction.doubt import SealDoubt
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.states import PredictedStates
from firedeck.verdict import RuleMargin, SealMargin, judge_seal

__all__ = ["margins_of", "seal_rules"]


def margins_of(
    files: PredictionFiles, states: PredictedStates, doubts: Mapping[str, SealDoubt]
) -> tuple[SealMargin, ...]:
    """Return the margin of every seal over all states, the least first.

    Parameters
    ----------
    files : PredictionFiles
        The prediction with its limits.
    states : PredictedStates
        The states.
    doubts : mapping of str to SealDoubt
        How far each seal's answer may be off.
    """
    found = []
    for seal in files.plan.seals:
        carried = {name: profile(state, seal.name) for name, state in states.all.items()}
        rules = [
            rule
            for name, state in states.all.items()
            for rule in seal_rules(
                seal, name, carried[name], _gas_on(seal, state), files.prediction.limits,
                rest=carried[_name_of(states.resting(name), states)] if "firing" in name else None,
                below=doubts[seal.name].lowest[0],
            )
        ]  # fmt: skip
        beyond = max(one.beyond for one in carried.values())
        found.append(judge_seal(seal.name, str(seal.kind), rules, beyond))
    return tuple(sorted(found, key=lambda margin: margin.governing.ratio))


def seal_rules(
    seal: Seal,
    name: str,
    now: SealPressure,
    gas: float,
    limits: GivingLimits,
    *,
    rest: SealPressure | None = None,
    below: float = 0.0,
) -> Iterator[RuleMargin]:
    """Yield what one seal has of every limit in one state.

    Parameters
    ----------
    seal : Seal
        The seal.
    name : str
        The state's name [text].
    now : SealPressure
        What the seal carries.
    gas : float
        Gas pressure that it stands against; 0 for none [MPa].
    limits : GivingLimits
        The limits.
    rest : SealPressure, optional
        What it carries without gas, where `now` is under gas.
    below : float
        How far its lowest line load may be off downward, at 95 % [N/mm].
    """
    least = limits.least(seal.kind)
    if least > 0.0:
        at = int(np.argmin(now.line_load))
        load = float(now.line_load[at])
        yield RuleMargin(
            "line load", name, load, least, "N/mm", load / least, (load - below) / least, float(now.angle[at])
        )
    if gas > 0.0 and limits.contact_factor > 0.0:
        yield from _contact(now, name, limits.contact_factor * gas, below)
    if rest is not None:
        yield _opening(rest, now, name, limits.opening_max)


def _contact(now: SealPressure, name: str, needed: float, below: float) -> Iterator[RuleMargin]:
    if bool(np.isnan(now.pressure).any()):
        return
    at = int(np.argmin(now.pressure))
    pressure, load = float(now.pressure[at]), float(now.line_load[at])
    low = pressure * max(load - below, 0.0) / load if load > 0.0 else 0.0
    yield RuleMargin(
        "contact pressure over gas pressure", name, pressure, needed, "MPa",
        pressure / needed, low / needed, float(now.angle[at]),
    )  # fmt: skip


def _opening(rest: SealPressure, now: SealPressure, name: str, limit: float) -> RuleMargin:
    lost = rest.closure - now.closure
    at = int(np.argmax(lost))
    opening = max(float(lost[at]), 0.0)
    ratio = limit / opening if opening > 0.0 else math.inf
    # Bodies a fifth softer open a fifth more: what the sizes do not know, roughly.
    return RuleMargin(
        "opening by the gas", name, 1e3 * opening, 1e3 * limit, "µm", ratio, ratio / _OPENING_DOUBT,
        float(rest.angle[at]),
    )  # fmt: skip


#: How many times the opening may be what is predicted, at 95 % [1].
_OPENING_DOUBT = 1.2


def _gas_on(seal: Seal, state: JointState) -> float:
    """Return the gas pressure that a seal of one bore stands against [MPa]."""
    if len(seal.enclosed) != 1:
        return 0.0
    return float(state.amounts.get(f"gas {seal.enclosed[0]}", 0.0))


def _name_of(state: JointState, states: PredictedStates) -> str:
    return next(name for name, one in states.all.items() if one is state)

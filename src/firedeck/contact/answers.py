"""What states say side by side: what gas takes from the seals, clamp against gas, fast against check."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from firedeck.contact.profiles import SealPressure, profile
from firedeck.contact.state import JointState

__all__ = ["LevelDifference", "SealSwing", "clamp_over_gas", "compare_levels", "swings"]


@dataclass(frozen=True)
class SealSwing:
    """How a seal changes from one state to another.

    Attributes
    ----------
    seal : str
        Name of the seal [text].
    opening : float
        Largest loss of closure [mm].
    angle : float
        Angle at which it occurs [degree].
    load : float
        Largest loss of line load [N/mm].
    """

    seal: str
    opening: float
    angle: float
    load: float


def swings(before: JointState, after: JointState) -> tuple[SealSwing, ...]:
    """Return how much every seal opens from one state to another, the largest first.

    Parameters
    ----------
    before, after : JointState
        The states, for example without gas and firing.
    """
    found = []
    for pressed in before.joint.model.seals:
        first, then = profile(before, pressed.seal.name), profile(after, pressed.seal.name)
        lost = first.closure - then.closure
        worst = int(lost.argmax())
        fallen = float((first.line_load - then.line_load).max())
        found.append(SealSwing(pressed.seal.name, float(lost[worst]), float(first.angle[worst]), fallen))
    return tuple(sorted(found, key=lambda swing: -swing.opening))


def clamp_over_gas(state: JointState, pressures: Mapping[str, float]) -> dict[str, float]:
    """Return by cylinder the force on its own seals, without gas, over the gas force it must stand [1].

    Parameters
    ----------
    state : JointState
        The joint without gas.
    pressures : mapping of str to float
        Peak pressure of each cylinder [MPa].
    """
    ratios = {}
    for bore in state.joint.bores:
        if not pressures.get(bore.name):
            continue
        gas = 0.25 * math.pi * bore.seal_diameter**2 * pressures[bore.name]
        own = [p.seal.name for p in state.joint.model.seals if p.seal.enclosed == (bore.name,)]
        clamp = sum(_total(profile(state, name)) for name in own)
        ratios[bore.name] = clamp / gas
    return ratios


def _total(carried: SealPressure) -> float:
    step = carried.arc[1] - carried.arc[0]
    return float(carried.line_load.sum() * step)


@dataclass(frozen=True)
class LevelDifference:
    """What the patches make of a seal, against every point.

    Attributes
    ----------
    seal : str
        Name of the seal [text].
    mean, lowest : float
        Mean and lowest line load on the fast level over the check level, less 1 [1].
    """

    seal: str
    mean: float
    lowest: float


def compare_levels(fast: JointState, check: JointState) -> tuple[LevelDifference, ...]:
    """Return how far the fast level is off, seal by seal.

    Parameters
    ----------
    fast, check : JointState
        The same state on both levels.
    """
    found = []
    for pressed in check.joint.model.seals:
        quick, full = profile(fast, pressed.seal.name), profile(check, pressed.seal.name)
        lowest = quick.lowest / full.lowest - 1.0 if full.lowest > 0.0 else math.inf * (quick.lowest > 0.0)
        mean = quick.mean / full.mean - 1.0 if full.mean > 0.0 else math.inf * (quick.mean > 0.0)
        found.append(LevelDifference(pressed.seal.name, mean, 0.0 if math.isnan(lowest) else lowest))
    return tuple(found)

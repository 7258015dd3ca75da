"""In which order the seals give as one cylinder's pressure rises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from firedeck.contact.profiles import SealPressure, profile
from firedeck.contact.state import JointState
from firedeck.errors import FiredeckError
from firedeck.evidence import Basis, Source

__all__ = ["GiveWay", "SealLimits", "give_way"]

#: Line load below which a seal no longer holds, by kind [N/mm].
MINIMUM_LINE_LOAD: Mapping[str, float] = {"ring": 40.0, "full-bead": 40.0, "half-bead": 5.0, "land": 0.0}

_PRACTICE = Source(
    Basis.COMMON_PRACTICE, "40 N/mm for gas and 5 N/mm for fluids, contact above gas pressure, 30 um"
)


@dataclass(frozen=True)
class SealLimits:
    """When a seal counts as giving.

    Attributes
    ----------
    minimum : Mapping of str to float
        Lowest line load by kind of seal [N/mm].
    multiple : float
        Contact pressure that holds gas, over the gas pressure; 0 leaves this out [1].
    opening : float
        Largest loss of closure against the state without gas that a seal survives [mm].
    source : Source
        Backing of the three.
    """

    minimum: Mapping[str, float] = field(default_factory=lambda: dict(MINIMUM_LINE_LOAD))
    multiple: float = 1.0
    opening: float = 0.03
    source: Source = _PRACTICE


@dataclass(frozen=True)
class GiveWay:
    """Where one seal gives as one cylinder's pressure rises.

    Attributes
    ----------
    seal, bore : str
        The seal, and the cylinder that fires [text].
    pressure : float
        Cylinder pressure at which it gives [MPa]; 0 where it gives without gas, infinite where it
        holds to the end of the search.
    angle : float
        Angle of the place that gives [degree].
    reason : str
        Which limit governs [text].
    """

    seal: str
    bore: str
    pressure: float
    angle: float
    reason: str


def give_way(
    state: JointState, limits: SealLimits | None = None, *, highest: float = 40.0, step: float = 2.0
) -> tuple[GiveWay, ...]:
    """Raise the pressure of one cylinder after another and return when each seal gives, first one first.

    Every trial starts from the given state's history. A seal that only touches one cylinder's
    neighbour is tried with every cylinder, and the lowest pressure counts.

    Parameters
    ----------
    state : JointState
        The joint without gas.
    limits : SealLimits, optional
        When a seal gives.
    highest : float
        End of the search [MPa].
    step : float
        Step in which the search goes up before it narrows down [MPa].

    Returns
    -------
    tuple of GiveWay
        One for each seal.
    """
    if highest <= 0.0 or step <= 0.0:
        raise FiredeckError("the search needs a pressure above zero", remedy="give highest and step above 0")
    rule = limits or SealLimits()
    found: dict[str, GiveWay] = {}
    for bore in state.joint.bores:
        for seal, event in _raised(state, bore.name, rule, highest, step).items():
            if seal not in found or event.pressure < found[seal].pressure:
                found[seal] = event
    return tuple(sorted(found.values(), key=lambda event: event.pressure))


class _Trials:
    """Margins of every seal at pressures of one cylinder, each solved once from the nearest before."""

    def __init__(self, state: JointState, bore: str, limits: SealLimits) -> None:
        self.state, self.bore, self.limits = state, bore, limits
        self.seals = {pressed.seal.name: pressed for pressed in state.joint.model.seals}
        self.rest = {name: profile(state, name) for name in self.seals}
        self.solved: dict[float, JointState] = {0.0: state}

    def margins(self, seal: str, pressure: float) -> dict[str, np.ndarray]:
        """Return what is left to each limit at every point of a seal, by the limit's name."""
        now = profile(self._at(pressure), seal)
        kind = self.seals[seal].seal.kind
        left = {"line load below its minimum": now.line_load - self.limits.minimum.get(kind, 0.0)}
        left["opens beyond its recovery"] = self.limits.opening - (self.rest[seal].closure - now.closure)
        if self._meets_gas(seal, now):
            left["contact pressure below gas pressure"] = now.pressure - self.limits.multiple * pressure
        return left

    def worst(self, seal: str, pressure: float) -> float:
        """Least margin of a seal, each limit by its own scale [1]."""
        scales = {"opens beyond its recovery": 1e-3}
        return min(
            float(np.min(left)) / scales.get(name, 1.0) for name, left in self.margins(seal, pressure).items()
        )

    def _at(self, pressure: float) -> JointState:
        if pressure not in self.solved:
            near = min(self.solved, key=lambda known: abs(known - pressure))
            self.solved[pressure] = self.state.fire({self.bore: pressure}, near=self.solved[near])
        return self.solved[pressure]

    def _meets_gas(self, seal: str, now: SealPressure) -> bool:
        own = self.seals[seal].seal.enclosed == (self.bore,)
        return own and self.limits.multiple > 0.0 and not bool(np.isnan(now.pressure).any())


def _raised(
    state: JointState, bore: str, limits: SealLimits, highest: float, step: float
) -> dict[str, GiveWay]:
    trials = _Trials(state, bore, limits)
    open_seals = set(trials.seals)
    events: dict[str, GiveWay] = {}
    low = 0.0
    for seal in list(open_seals):
        if trials.worst(seal, 0.0) < 0.0:
            events[seal] = _event(trials, seal, 0.0)
            open_seals.discard(seal)
    while open_seals and low < highest:
        high = min(low + step, highest)
        for seal in sorted(open_seals):
            if trials.worst(seal, high) < 0.0:
                at = brentq(lambda p, name=seal: trials.worst(name, p), low, high, xtol=0.01)
                events[seal] = _event(trials, seal, float(at))
        open_seals -= set(events)
        low = high
    for seal in open_seals:
        events[seal] = GiveWay(seal, bore, float("inf"), float("nan"), "holds to the end of the search")
    return events


def _event(trials: _Trials, seal: str, pressure: float) -> GiveWay:
    left = trials.margins(seal, pressure)
    scales = {"opens beyond its recovery": 1e-3}
    reason = min(left, key=lambda name: float(np.min(left[name])) / scales.get(name, 1.0))
    angle = float(trials.rest[seal].angle[int(np.argmin(left[reason]))])
    return GiveWay(seal, trials.bore, pressure, angle, reason)

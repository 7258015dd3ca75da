"""In which order the seals of a predicted joint give as cylinder pressure rises, and at what power."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firedeck.contact import GiveWay, Joint, JointState, SealLimits, Store, give_way
from firedeck.definition.prediction import GivingLimits
from firedeck.duty.limits import DutyError
from firedeck.evidence import Estimate
from firedeck.study.duty.cases import LoadReading, find_load
from firedeck.study.duty.file import load_duty
from firedeck.study.prediction.doubt import AS_PREDICTED, resting_state, variants_of
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.prediction.predicting import Gas, built, gas_of
from firedeck.study.prediction.states import carry_out, settling_shares, tightening_moves
from firedeck.study.progress import Progress, silent

__all__ = ["GiveWayReading", "SealGiveWay", "giveway_interval", "order_give_way"]

#: Steps of the search, and where it ends unless the gas is higher [MPa].
_STEP, _HIGHEST = 3.0, 30.0

#: How far the pressure of give-way may be off for the idealised geometry itself, at 95 % [1].
_IDEALISED = 0.10


@dataclass(frozen=True)
class SealGiveWay:
    """Where one seal gives.

    Attributes
    ----------
    seal, kind : str
        The seal [text].
    event : GiveWay
        Pressure, bore, place and limit.
    pressure : Estimate
        Cylinder pressure at which it gives, with its 95 % interval [MPa].
    power : float
        Brake power of the whole engine at which the largest of the duty's cycles reaches it [kW]; not
        a number where it is not known.
    """

    seal: str
    kind: str
    event: GiveWay
    pressure: Estimate
    power: float


@dataclass(frozen=True)
class GiveWayReading:
    """The give-way order of a joint.

    Attributes
    ----------
    files : PredictionFiles
        The inputs.
    state : str
        ``hot`` where temperatures are stated, else ``settled`` [text].
    seals : tuple of SealGiveWay
        The first to give on top.
    other : mapping of str to float
        Pressure at which each seal gives settled and cold, where `state` is hot [MPa].
    gas : Gas
        What fires by the prediction.
    load : LoadReading or None
        Load at which the first seal gives, where a duty is named.
    highest : float
        End of the search [MPa].
    assumptions : tuple of str
        Assumptions that change the result.
    """

    files: PredictionFiles
    state: str
    seals: tuple[SealGiveWay, ...]
    other: Mapping[str, float]
    gas: Gas
    load: LoadReading | None
    highest: float
    assumptions: tuple[str, ...]


def order_give_way(
    file: Path, *, duty: Path | None = None, store: Store | None = None, progress: Progress = silent
) -> GiveWayReading:
    """Raise the pressure of one cylinder after another until every seal gives.

    Parameters
    ----------
    file : Path
        Prediction file.
    duty : Path, optional
        Duty file of a cycle model or rule, to tell the power; that of the prediction unless given.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told what is being done and how far it is.

    Raises
    ------
    FiredeckError
        As `firedeck.study.prediction.predicting.predict_joint`, and for a duty that no load follows from.
    """
    files, sizes, joint = built(file, store, progress=progress)
    named = _named_duty(files, duty)
    gas = gas_of(files)
    limits = seal_limits(files.prediction.limits)
    highest = max(_HIGHEST, 1.5 * max(gas.pressures.values(), default=0.0))
    steps = carry_out(joint, files, tightening_moves(files), "fast")
    relaxed = settling_shares(steps[-1], files)
    progress("raising the pressure", 0.3)
    settled, hot = resting_state(joint, files, tightening_moves(files), relaxed)
    found = {event.seal: event for event in _raise(hot, limits, highest)}
    other = (
        {event.seal: event.pressure for event in _raise(settled, limits, highest)}
        if hot is not settled
        else {}
    )
    ends = _ends(_joint_variants(files, joint, relaxed, progress), found, limits, highest)
    found_load = _load(named, min(event.pressure for event in found.values()), progress)
    load = found_load if isinstance(found_load, LoadReading) else None
    doubt = (found_load,) if isinstance(found_load, str) else ()
    kinds = {seal.name: str(seal.kind) for seal in files.plan.seals}
    seals = [
        SealGiveWay(name, kinds[name], event, ends[name], _power(load, event.pressure))
        for name, event in found.items()
    ]
    return GiveWayReading(
        files,
        "hot" if hot is not settled else "settled",
        tuple(sorted(seals, key=lambda one: one.event.pressure)),
        other,
        gas,
        load,
        highest,
        (*doubt, *prediction_assumptions(files, sizes, gas.origin, joint, relaxed)),
    )


def seal_limits(limits: GivingLimits) -> SealLimits:
    """Return a prediction's limits in the form that the search takes."""
    kinds = ("ring", "full-bead", "half-bead", "land")
    least = {"half-bead": limits.fluid_load_min, "land": 0.0}
    return SealLimits(
        {kind: least.get(kind, limits.gas_load_min) for kind in kinds},
        limits.contact_factor,
        limits.opening_max,
        limits.source,
    )


def _raise(state: JointState, limits: SealLimits, highest: float) -> tuple[GiveWay, ...]:
    return give_way(state, limits, highest=highest, step=_STEP)


def _joint_variants(
    files: PredictionFiles, joint: Joint, relaxed: Mapping[str, float], progress: Progress
) -> list[JointState]:
    """Return the resting state with each doubt at its ends."""
    found = []
    for place, (words, other, moves) in enumerate(variants_of(joint, files)):
        if words != AS_PREDICTED:
            progress(f"with {words}", 0.4 + 0.08 * place)
            found.append(resting_state(other, files, moves, relaxed)[1])
    return found


def _ends(
    variants: list[JointState], found: Mapping[str, GiveWay], limits: SealLimits, highest: float
) -> dict[str, Estimate]:
    changed = [{event.seal: event.pressure for event in _raise(state, limits, highest)} for state in variants]
    return {
        name: giveway_interval(event.pressure, [one[name] for one in changed])
        for name, event in found.items()
    }


def giveway_interval(pressure: float, changed: Sequence[float]) -> Estimate:
    """Join the changes that each doubt brings; a seal that holds to the end is bounded from below only.

    Parameters
    ----------
    pressure : float
        Pressure at which the seal gives as predicted; infinite where it holds to the end [MPa].
    changed : sequence of float
        The same with every doubt at its ends [MPa].
    """
    if not math.isfinite(pressure):
        least = min([one for one in changed if math.isfinite(one)], default=math.inf)
        return Estimate(math.inf, least, math.inf)
    own = _IDEALISED * pressure
    down = math.hypot(own, *(min(one - pressure, 0.0) for one in changed))
    rises = [max(one - pressure, 0.0) for one in changed]
    return Estimate(pressure, max(pressure - down, 0.0), pressure + math.hypot(own, *rises))


def _named_duty(files: PredictionFiles, duty: Path | None) -> Path | None:
    """Return the duty to tell power by, known to be sound before any long work."""
    stated = files.prediction.power_duty
    named = duty or (files.folder / stated if stated else None)
    if named is not None:
        load_duty(named)
    return named


def _load(named: Path | None, first: float, progress: Progress) -> LoadReading | str | None:
    if named is None or not math.isfinite(first) or first <= 0.0:
        return None
    progress("finding the power", 0.95)
    try:
        return find_load(named, first)
    except DutyError as fault:
        return f"No power is told: {fault.message} ({10 * first:.0f} bar)."


def _power(load: LoadReading | None, pressure: float) -> float:
    """Return the power on the load's curve; not a number beyond its ends."""
    if load is None or not math.isfinite(pressure):
        return math.nan
    curve = load.load.curve
    order = np.argsort(curve.peak)
    peak, power = curve.peak[order], curve.power[order]
    return float(np.interp(pressure, peak, power, left=math.nan, right=math.nan))

"""Predicted maps of a joint's states, and the paths along which they would leak first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from firedeck.contact import Joint, JointState, SealPressure, profile
from firedeck.evidence import Estimate
from firedeck.pressure_map import FloatArray
from firedeck.report.seal_tables import first_leaks
from firedeck.seal.laid import LaidLine, LaidMap, lay_lines
from firedeck.seal.leak import LeakField, LeakPath, find_leaks, leak_field, trace_leak
from firedeck.study.prediction.doubt import SealDoubt
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.states import PredictedStates

__all__ = ["BoreBreach", "StateLeaks", "bore_breaches", "laid_lines", "leaks_of"]

#: Side of a predicted map's cells, where it is drawn and where only a bore's first path is sought [mm].
PITCH_MM, COARSE_MM = 0.2, 0.3


@dataclass(frozen=True)
class StateLeaks:
    """One state as a map, with its leak paths.

    Attributes
    ----------
    name : str
        The state [text].
    laid : LaidMap
        Its map and unrolled seals.
    field : LeakField
        Contact pressure prepared for the search.
    leaks : tuple of LeakPath
        Between every two media, the first to open on top.
    first : tuple of LeakPath
        The first path across every seal.
    """

    name: str
    laid: LaidMap
    field: LeakField
    leaks: tuple[LeakPath, ...]
    first: tuple[LeakPath, ...]

    def trace(self, files: PredictionFiles, path: LeakPath) -> FloatArray:
        """Trace one of the paths over the deck [mm]."""
        return trace_leak(files.plan, self.laid.map, self.field, path)


@dataclass(frozen=True)
class BoreBreach:
    """Where the gas of one bore would get out first while it fires.

    Attributes
    ----------
    bore, state : str
        The bore, and the state that it fires in [text].
    gas : float
        Its pressure [MPa].
    path : LeakPath
        The path that opens first.
    breach : Estimate
        Gas pressure at which the path opens, contact pressure held as it is [MPa].
    """

    bore: str
    state: str
    gas: float
    path: LeakPath
    breach: Estimate

    @property
    def ratio(self) -> float:
        """Breach pressure over gas pressure [1]."""
        return self.breach.value / self.gas


def laid_lines(
    joint: Joint, carried: Mapping[str, SealPressure], doubts: Mapping[str, SealDoubt]
) -> dict[str, LaidLine]:
    """Return what every seal carries in the form that maps are made of."""
    return {
        one.seal.name: LaidLine(
            carried[one.seal.name].arc,
            carried[one.seal.name].line_load,
            one.law.width or 0.5 * one.seal.band,
            doubts[one.seal.name].share,
        )
        for one in joint.model.seals
    }


def leaks_of(
    files: PredictionFiles,
    state: JointState,
    name: str,
    doubts: Mapping[str, SealDoubt],
    *,
    pitch: float = PITCH_MM,
) -> StateLeaks:
    """Lay a state onto a map and seek the leak paths.

    Parameters
    ----------
    files : PredictionFiles
        The prediction.
    state : JointState
        The state.
    name : str
        Its name.
    doubts : mapping of str to SealDoubt
        How far each seal's answer may be off.
    pitch : float
        Side of the map's cells [mm].
    """
    carried = {one.seal.name: profile(state, one.seal.name) for one in state.joint.model.seals}
    laid = lay_lines(
        files.plan,
        laid_lines(state.joint, carried, doubts),
        pitch,
        notes=(f"predicted, {name}",),
        provenance=files.provenance,
    )
    field = leak_field(files.plan, laid.map, laid.strips)
    leaks = find_leaks(files.plan, laid.map, laid.profiles, field)
    return StateLeaks(name, laid, field, tuple(leaks), tuple(first_leaks(files.plan, leaks)))


def bore_breaches(
    files: PredictionFiles, states: PredictedStates, doubts: Mapping[str, SealDoubt]
) -> tuple[BoreBreach, ...]:
    """Return, for every bore that fires, the way its gas would take first, the least margin first."""
    fired = states.hot_firing or states.firing
    prefix = "hot firing" if states.hot_firing else "firing"
    factor = files.prediction.limits.contact_factor or 1.0
    found = []
    for bore, state in fired.items():
        name = f"{prefix}, {bore}"
        leaks = leaks_of(files, state, name, doubts, pitch=COARSE_MM)
        path = next((one for one in leaks.leaks if bore in (one.a, one.b)), None)
        if path is not None:
            gas = float(state.amounts[f"gas {bore}"])
            found.append(BoreBreach(bore, name, gas, path, path.breach(factor)))
    return tuple(sorted(found, key=lambda one: one.ratio))

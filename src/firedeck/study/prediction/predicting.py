"""Predict a joint: from its files to what every seal carries cold, hot and firing, and what is left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firedeck.contact import (
    BoreShape,
    Bow,
    Joint,
    JointState,
    LevelDifference,
    SealPressure,
    SealSwing,
    Store,
    bore_shapes,
    bows,
    clamp_over_gas,
    compare_levels,
    profile,
    swings,
)
from firedeck.study.cache import cache_store
from firedeck.study.duty.cases import read_duty
from firedeck.study.duty.pressure import design_pressures
from firedeck.study.prediction.doubt import SealDoubt, doubts_of
from firedeck.study.prediction.files import PredictionFiles, load_prediction
from firedeck.study.prediction.joint import BodySizes, build_joint, sections
from firedeck.study.prediction.leaks import BoreBreach, bore_breaches
from firedeck.study.prediction.margins import margins_of
from firedeck.study.prediction.notes import prediction_assumptions
from firedeck.study.prediction.states import (
    PredictedStates,
    carry_out,
    settling_shares,
    states_of,
    tightening_moves,
)
from firedeck.study.progress import Progress, silent
from firedeck.verdict import SealMargin

__all__ = ["Gas", "PredictionReading", "SealAnswer", "built", "predict_joint"]


@dataclass(frozen=True)
class Gas:
    """Peak pressures that fire, and where they are from.

    Attributes
    ----------
    pressures : mapping of str to float
        By bore [MPa].
    origin : str
        Where they are from, in words [text].
    """

    pressures: Mapping[str, float]
    origin: str


@dataclass(frozen=True)
class SealAnswer:
    """What one seal carries in every state.

    Attributes
    ----------
    seal, kind : str
        The seal [text].
    states : mapping of str to SealPressure
        By the state's name.
    """

    seal: str
    kind: str
    states: Mapping[str, SealPressure]


@dataclass(frozen=True)
class PredictionReading:
    """A joint predicted.

    Attributes
    ----------
    files : PredictionFiles
        The inputs.
    sizes : BodySizes
        Head and block as meshed.
    joint : Joint
        The joint.
    gas : Gas
        What fires.
    steps : tuple of JointState
        Every step of the tightening, fast level.
    fast : PredictedStates
        States on the fast level.
    states : PredictedStates
        States that the answers are taken from: the check level where it was run.
    seals : tuple of SealAnswer
        Every seal in every state, in the plan's order.
    bows : mapping of str to tuple of Bow
        Bow between neighbouring fasteners by state.
    swings : mapping of str to tuple of SealSwing
        What firing takes from every seal's closure, by firing state.
    ratios : mapping of str to mapping
        Clamp over gas load by bore, for the states ``settled`` and ``hot`` [1].
    shapes : mapping of str to tuple of BoreShape
        Bore distortion by state.
    doubts : mapping of str to SealDoubt
        How far each seal's answer may be off.
    margins : tuple of SealMargin
        What is left of every seal, the least first.
    breaches : tuple of BoreBreach
        Where the gas of every bore would get out first, the least margin first.
    levels : tuple of LevelDifference
        Fast against check in the worst state; empty where only one was run.
    assumptions : tuple of str
        Assumptions that change the result.
    """

    files: PredictionFiles
    sizes: BodySizes
    joint: Joint
    gas: Gas
    steps: tuple[JointState, ...]
    fast: PredictedStates
    states: PredictedStates
    seals: tuple[SealAnswer, ...]
    bows: Mapping[str, tuple[Bow, ...]]
    swings: Mapping[str, tuple[SealSwing, ...]]
    ratios: Mapping[str, Mapping[str, float]]
    shapes: Mapping[str, tuple[BoreShape, ...]]
    doubts: Mapping[str, SealDoubt]
    margins: tuple[SealMargin, ...]
    breaches: tuple[BoreBreach, ...]
    levels: tuple[LevelDifference, ...]
    assumptions: tuple[str, ...]

    @property
    def level(self) -> str:
        """Level that the answers are from."""
        return self.states.cold.level

    def tension_range(self) -> dict[str, tuple[float, float]]:
        """Return the lowest and highest tension of every fastener over a cycle, hot where known [N]."""
        rest = self.states.hot or self.states.settled
        firing = self.states.hot_firing or self.states.firing
        found = {}
        for k, seat in enumerate(self.joint.seats):
            values = [float(rest.tension[k]), *(float(state.tension[k]) for state in firing.values())]
            found[seat.name] = (min(values), max(values))
        return found


def built(
    file: Path, store: Store | None = None, *, progress: Progress = silent
) -> tuple[PredictionFiles, BodySizes, Joint]:
    """Read a prediction and build its joint.

    Parameters
    ----------
    file : Path
        Prediction file.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told how far it is.
    """
    progress("reading the files", 0.0)
    files = load_prediction(file)
    sizes = sections(files)
    progress("meshing and condensing head and block", 0.05)
    return files, sizes, build_joint(files, sizes, store if store is not None else cache_store())


def predict_joint(
    file: Path, *, check: bool = True, store: Store | None = None, progress: Progress = silent
) -> PredictionReading:
    """Predict a joint.

    Parameters
    ----------
    file : Path
        Prediction file.
    check : bool
        Whether every gasket point is solved beside the fast patches; the answers are its then.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told what is being done and how far it is.

    Raises
    ------
    FiredeckError
        For faulty or unfitting definitions, short memory, or a joint that finds no balance.
    """
    files, sizes, joint = built(file, store, progress=progress)
    return predict_built(files, sizes, joint, check=check, progress=progress)


def predict_built(
    files: PredictionFiles,
    sizes: BodySizes,
    joint: Joint,
    *,
    check: bool = True,
    progress: Progress = silent,
) -> PredictionReading:
    """Predict a joint that has been built; as `predict_joint`."""
    gas = gas_of(files)
    steps = carry_out(joint, files, tightening_moves(files), "fast", _part(progress, 0.3, 0.5))
    relaxed = settling_shares(steps[-1], files)
    fast = states_of(steps, files, gas.pressures, relaxed, _part(progress, 0.5, 0.55))
    states = _checked(joint, files, gas, relaxed, progress) if check else fast
    progress("weighing doubts", 0.8)
    seals = _seals(joint, states)
    doubts = doubts_of(joint, files, gas.pressures, relaxed)
    margins = margins_of(files, states, doubts)
    progress("seeking leak paths", 0.9)
    breaches = bore_breaches(files, states, doubts)
    progress("shapes of head and bores", 0.97)
    worst = _worst_state(margins)
    return PredictionReading(
        files=files,
        sizes=sizes,
        joint=joint,
        gas=gas,
        steps=tuple(steps),
        fast=fast,
        states=states,
        seals=seals,
        bows={name: bows(state) for name, state in states.all.items()},
        swings={name: swings(states.resting(name), state) for name, state in states.under_gas.items()},
        ratios=_ratios(states, gas.pressures),
        shapes={name: bore_shapes(state) for name, state in _still(states).items()},
        doubts=doubts,
        margins=margins,
        breaches=breaches,
        levels=compare_levels(fast.all[worst], states.all[worst]) if check else (),
        assumptions=prediction_assumptions(files, sizes, gas.origin, joint, relaxed),
    )


def _part(progress: Progress, start: float, end: float) -> Progress:
    return lambda what, share: progress(what, start + (end - start) * share)


def _checked(
    joint: Joint, files: PredictionFiles, gas: Gas, relaxed: Mapping[str, float], progress: Progress
) -> PredictedStates:
    """Go through everything once more on every gasket point."""
    steps = carry_out(joint, files, tightening_moves(files), "check", _part(progress, 0.55, 0.7))
    return states_of(steps, files, gas.pressures, relaxed, _part(progress, 0.7, 0.8))


def _seals(joint: Joint, states: PredictedStates) -> tuple[SealAnswer, ...]:
    return tuple(
        SealAnswer(
            one.seal.name,
            str(one.seal.kind),
            {name: profile(state, one.seal.name) for name, state in states.all.items()},
        )
        for one in joint.model.seals
    )


def _still(states: PredictedStates) -> dict[str, JointState]:
    """Return the states without gas, and the hottest that fires each bore."""
    still = {name: state for name, state in states.all.items() if "firing" not in name}
    firing = states.hot_firing or states.firing
    named = "hot firing" if states.hot_firing else "firing"
    return still | {f"{named}, {bore}": state for bore, state in firing.items()}


def _ratios(states: PredictedStates, pressures: Mapping[str, float]) -> dict[str, dict[str, float]]:
    found = {"settled": clamp_over_gas(states.settled, pressures)}
    if states.hot is not None:
        found["hot"] = clamp_over_gas(states.hot, pressures)
    return found


def _worst_state(margins: tuple[SealMargin, ...]) -> str:
    return next((one.governing.joint_state for one in margins), "settled")


def gas_of(files: PredictionFiles) -> Gas:
    """Return the pressures that fire.

    Raises
    ------
    FiredeckError
        If no file states any, or the duty has other cylinders than the plan.
    """
    firing, bores = files.prediction.firing, [bore.name for bore in files.plan.bores]
    wanted = files.fastening.fastening.cylinder_pressure
    if firing is not None and firing.duty:
        return _gas_of_duty(files, firing.duty, bores)
    if firing is not None and firing.pressure is not None:
        factors = firing.factors or (1.0,) * len(bores)
        values = {bore: firing.pressure * factor for bore, factor in zip(bores, factors, strict=True)}
        return Gas(values, f"as stated; {firing.source}")
    if wanted is None:
        return Gas({}, "")
    factors = wanted.cylinder_factors or (1.0,) * len(bores)
    values = {bore: wanted.value * factor for bore, factor in zip(bores, factors, strict=True)}
    return Gas(values, f"cylinder pressure of {files.fastening.file.name}; {wanted.source}")


def _gas_of_duty(files: PredictionFiles, name: str, bores: list[str]) -> Gas:
    duty = read_duty(files.folder / name).duty
    design = design_pressures(duty, len(bores), name=name, file=files.file, key="firing.duty")
    values = {bore: one.value for bore, one in zip(bores, design, strict=True)}
    return Gas(values, f"design pressures of {name} ({duty.kind}); {duty.basis}")

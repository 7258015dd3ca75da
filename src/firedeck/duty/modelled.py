"""The cycle model worked up: one cycle, and how far it may be off for what its inputs may be off."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.duty import DutyDefinition, ModelSource
from firedeck.duty.cases import CycleInputs
from firedeck.duty.cycle import CycleResult, run_cycle, sweep_cycles
from firedeck.duty.geometry import Cylinder, power_from_bmep
from firedeck.duty.limits import LIMITS, DutyError
from firedeck.duty.normal_draws import normal_draws
from firedeck.evidence import Estimate

__all__ = [
    "MODEL_DOUBT",
    "Contribution",
    "ModelledCycle",
    "doubted_inputs",
    "draw_inputs",
    "model_cycle",
    "model_inputs",
    "model_source",
    "swept_volume",
    "widened",
]

Floats = NDArray[np.float64]

#: Relative uncertainty (95 %) of the model's peak pressure for known inputs [1]. Common practice, no source.
MODEL_DOUBT = 0.10

#: Cycles drawn over what the inputs may be off.
_DRAWS = 120
#: Half width of a 95 % interval over its standard deviation [1].
_SIDE = 1.96

#: Input -> words and unit that a person is shown.
_WORDS: dict[str, tuple[str, str]] = {
    "manifold_pressure": ("absolute manifold pressure", "MPa"),
    "exhaust_pressure": ("absolute exhaust pressure", "MPa"),
    "charge_temperature": ("charge temperature", "K"),
    "compression_ratio": ("compression ratio", "1"),
    "air_ratio": ("lambda", "1"),
    "burn_50": ("angle of 50 % burnt", "deg"),
    "burn_duration": ("10-90 % burn duration", "deg"),
    "filling": ("filling", "1"),
    "heat_factor": ("heat-transfer factor", "1"),
}


@dataclass(frozen=True)
class Contribution:
    """What the doubt of one input does to the answer.

    Attributes
    ----------
    words : str
        What the input is called.
    half : float
        Half width of its 95 % interval, in `unit`.
    unit : str
        Unit of `half`.
    peak, bmep : float
        Change that a rise of the input by `half` brings to peak pressure and brake mean effective
        pressure [MPa].
    """

    words: str
    half: float
    unit: str
    peak: float
    bmep: float


@dataclass(frozen=True)
class ModelledCycle:
    """The cycle model for the inputs as stated, with 95 % intervals.

    Attributes
    ----------
    nominal : CycleResult
        The cycle for the inputs as stated.
    low, high : ndarray
        Interval of the pressure at the nominal cycle's angles [MPa], shape (n,).
    peak, imep, bmep : Estimate
        Peak pressure, indicated (gross) and brake mean effective pressure [MPa].
    power : Estimate
        Brake power of the whole engine [kW].
    wall_heat : Estimate
        Heat lost to the walls between the valve events over the heat released [1].
    contributions : tuple of Contribution
        What each input's doubt does, the one that moves the peak most first.
    notes : tuple of str
        What to doubt.
    """

    nominal: CycleResult
    low: Floats
    high: Floats
    peak: Estimate
    imep: Estimate
    bmep: Estimate
    power: Estimate
    wall_heat: Estimate
    contributions: tuple[Contribution, ...]
    notes: tuple[str, ...]


def swept_volume(definition: DutyDefinition) -> float:
    """Swept volume of all cylinders [mm^3]."""
    return Cylinder.from_engine(definition.engine).swept_volume * definition.engine.cylinders


def widened(estimate: Estimate, relative: float) -> Estimate:
    """Interval widened in quadrature by a relative doubt [1] (95 %)."""
    extra = relative * abs(estimate.value)
    low = estimate.value - math.hypot(estimate.value - estimate.low, extra)
    high = estimate.value + math.hypot(estimate.high - estimate.value, extra)
    return Estimate(estimate.value, low, high, estimate.flags)


def model_source(definition: DutyDefinition) -> ModelSource:
    """Return the definition's source, which must be the cycle model.

    Raises
    ------
    DutyError
        If it is another.
    """
    if not isinstance(definition.source, ModelSource):
        raise DutyError(
            "the duty's source is not the cycle model", where="source", remedy='write kind = "model"'
        )
    return definition.source


def model_inputs(source: ModelSource) -> CycleInputs:
    """Turn what a user wrote into inputs of the cycle model."""
    return CycleInputs(
        manifold_pressure=source.absolute_pressure,
        charge_temperature=source.charge_temperature,
        speed=source.speed,
        burn_50=source.burn_50,
        burn_duration=source.burn_duration,
        fuel=source.fuel,
        air_ratio=source.air_ratio,
        wiebe_exponent=source.wiebe_exponent,
        exhaust_pressure=source.exhaust_pressure,
        filling=source.filling,
        heat_factor=source.heat_factor,
    )


def doubted_inputs(definition: DutyDefinition) -> dict[str, tuple[float, float]]:
    """Value and half width of the 95 % interval of each input that may be off, in the input's unit."""
    source = model_source(definition)
    values: dict[str, float | None] = {**vars(model_inputs(source))}
    values["compression_ratio"] = definition.engine.compression_ratio
    if values["exhaust_pressure"] is None:
        values["exhaust_pressure"] = source.absolute_pressure
    return {
        name: (float(value), half)
        for name in _WORDS
        if (half := float(getattr(source.doubts, name))) > 0.0 and (value := values[name]) is not None
    }


def draw_inputs(
    doubted: dict[str, tuple[float, float]], count: int, *, follow_manifold: bool = False
) -> dict[str, Floats]:
    """Draw inputs over their normal doubts, evenly spread, within what the model covers.

    Parameters
    ----------
    doubted : dict
        As `doubted_inputs`.
    count : int
        Draws.
    follow_manifold : bool
        Whether the exhaust pressure moves with the manifold pressure, as it does where none is stated.

    Returns
    -------
    dict of str to ndarray
        Input to values, shape (count,).
    """
    if not doubted:
        return {}
    normal = normal_draws(count, len(doubted)) / _SIDE
    drawn = {name: value + half * normal[:, k] for k, (name, (value, half)) in enumerate(doubted.items())}
    if follow_manifold and "manifold_pressure" in drawn:
        apart = drawn.get("exhaust_pressure", doubted["manifold_pressure"][0])
        drawn["exhaust_pressure"] = drawn["manifold_pressure"] + apart - doubted["manifold_pressure"][0]
    return {name: np.clip(values, LIMITS[name].low, LIMITS[name].high) for name, values in drawn.items()}


def model_cycle(definition: DutyDefinition) -> ModelledCycle:
    """Run the cycle model for the inputs as stated and over what they may be off.

    Parameters
    ----------
    definition : DutyDefinition
        With a model as its source.

    Raises
    ------
    DutyError
        If the source is no model or an input is outside its range.
    """
    source = model_source(definition)
    cylinder, inputs = Cylinder.from_engine(definition.engine), model_inputs(source)
    nominal = run_cycle(cylinder, inputs)
    doubted = doubted_inputs(definition)
    runs = _runs(
        cylinder, inputs, draw_inputs(doubted, _DRAWS, follow_manifold=inputs.exhaust_pressure is None)
    )
    found = {
        name: _interval(getattr(nominal, name), [getattr(run, name) for run in runs])
        for name in ("peak", "imep", "bmep", "wall_heat")
    }
    bmep = widened(found["bmep"], MODEL_DOUBT)
    low, high = _band(nominal, runs)
    return ModelledCycle(
        nominal,
        low,
        high,
        widened(found["peak"], MODEL_DOUBT),
        widened(found["imep"], MODEL_DOUBT),
        bmep,
        _power(bmep, definition, source),
        found["wall_heat"],
        _contributions(cylinder, inputs, nominal, doubted),
        _notes(doubted),
    )


def _runs(cylinder: Cylinder, inputs: CycleInputs, drawn: dict[str, Floats]) -> list[CycleResult]:
    """Whole cycles for drawn inputs."""
    count = len(next(iter(drawn.values()))) if drawn else 0
    runs = []
    for k in range(count):
        own: dict[str, Any] = {name: float(values[k]) for name, values in drawn.items()}
        ratio = own.pop("compression_ratio", cylinder.compression_ratio)
        runs.append(run_cycle(replace(cylinder, compression_ratio=ratio), replace(inputs, **own)))
    return runs


def _interval(value: float, values: list[float]) -> Estimate:
    if not values:
        return Estimate(value, value, value)
    low, high = np.quantile(values, [0.025, 0.975])
    return Estimate(value, min(float(low), value), max(float(high), value))


def _band(nominal: CycleResult, runs: list[CycleResult]) -> tuple[Floats, Floats]:
    """Interval of the pressure at each angle, the model's own doubt within it."""
    low = high = nominal.pressure
    if runs:
        stack = np.stack([np.interp(nominal.angle, run.angle, run.pressure) for run in runs])
        low, high = np.quantile(stack, [0.025, 0.975], axis=0)
    own = MODEL_DOUBT * nominal.pressure
    below = np.hypot(np.minimum(low - nominal.pressure, 0.0), own)
    above = np.hypot(np.maximum(high - nominal.pressure, 0.0), own)
    return np.maximum(nominal.pressure - below, 0.0), nominal.pressure + above


def _power(bmep: Estimate, definition: DutyDefinition, source: ModelSource) -> Estimate:
    swept = swept_volume(definition)
    ends = [power_from_bmep(end, swept, source.speed) for end in (bmep.value, bmep.low, bmep.high)]
    return Estimate(ends[0], ends[1], ends[2])


def _contributions(
    cylinder: Cylinder, inputs: CycleInputs, nominal: CycleResult, doubted: dict[str, tuple[float, float]]
) -> tuple[Contribution, ...]:
    """Change of the answer when each input alone rises by its half width."""
    found = []
    for name, (value, half) in doubted.items():
        raised = np.clip(value + half, LIMITS[name].low, LIMITS[name].high)
        sweep = sweep_cycles(cylinder, inputs, {name: np.array([raised])})
        words, unit = _WORDS[name]
        found.append(
            Contribution(
                words, half, unit, float(sweep.peak[0]) - nominal.peak, float(sweep.bmep[0]) - nominal.bmep
            )
        )
    return tuple(sorted(found, key=lambda one: -abs(one.peak)))


def _notes(doubted: dict[str, tuple[float, float]]) -> tuple[str, ...]:
    if set(doubted) <= {"heat_factor"}:
        return (
            "no doubts of the inputs were stated: the interval holds only the model's own and that of the "
            "heat loss; state them under source.doubts",
        )
    named = ", ".join(_WORDS[name][0] for name in doubted)
    return (f"the interval holds what these inputs may be off, as stated: {named}",)

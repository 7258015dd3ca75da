"""The other way round: boost and power at which a peak pressure comes about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtri

from firedeck.definition.duty import DutyDefinition, ModelSource, RuleSource
from firedeck.duty.cycle import run_cycle, sweep_cycles
from firedeck.duty.geometry import Cylinder, power_from_bmep
from firedeck.duty.limits import LIMITS, DutyError, check_limit
from firedeck.duty.modelled import (
    MODEL_DOUBT,
    ModelledCycle,
    doubted_inputs,
    draw_inputs,
    model_cycle,
    model_inputs,
    model_source,
    swept_volume,
)
from firedeck.duty.rule import PRESSURE_RATIOS, bmep_for_peak
from firedeck.duty.sources import duty_from_model, duty_from_rule, model_notes
from firedeck.evidence import Estimate

__all__ = ["LoadAtPeak", "LoadCurve", "MovedInput", "load_at_peak"]

Floats = NDArray[np.float64]

#: Loads drawn over what model and inputs may be off.
_DRAWS = 96
_SIDE = 1.96


_WITHOUT_KNOCK = "the pressure asked for is without knock; what knock adds comes on top of it"


@dataclass(frozen=True)
class MovedInput:
    """An input that was moved to reach the pressure.

    Attributes
    ----------
    words : str
        What it is called.
    before, after : float
        As the duty states it, and at the pressure asked for, in `unit`.
    unit : str
        Unit of both.
    """

    words: str
    before: float
    after: float
    unit: str


@dataclass(frozen=True)
class LoadCurve:
    """Power against peak pressure, the same input moved all along.

    Attributes
    ----------
    peak, low, high : ndarray
        Peak pressure with its 95 % interval [MPa], shape (n,).
    power : ndarray
        Brake power of the whole engine [kW], shape (n,); not a number where no speed is known.
    bmep : ndarray
        Brake mean effective pressure [MPa], shape (n,).
    """

    peak: Floats
    low: Floats
    high: Floats
    power: Floats
    bmep: Floats


@dataclass(frozen=True)
class LoadAtPeak:
    """Load at which a peak pressure is reached.

    Attributes
    ----------
    peak : float
        The peak pressure asked for [MPa].
    statistic : str
        ``"mean"``: the mean peak reaches it; ``"extreme"``: the largest of the duty's cycles does.
    power : Estimate or None
        Brake power of the whole engine [kW]; None when no speed is known.
    bmep : Estimate
        Brake mean effective pressure [MPa].
    manifold_pressure : Estimate or None
        Absolute manifold pressure [MPa]; None by the rule.
    boost : Estimate or None
        The same above ambient pressure [MPa].
    moved : tuple of MovedInput
        What was moved to get there.
    curve : LoadCurve
        Power over a range of peak pressures about the one asked for.
    notes : tuple of str
        Assumptions.
    """

    peak: float
    statistic: str
    power: Estimate | None
    bmep: Estimate
    manifold_pressure: Estimate | None
    boost: Estimate | None
    moved: tuple[MovedInput, ...]
    curve: LoadCurve
    notes: tuple[str, ...]


def load_at_peak(definition: DutyDefinition, peak: float, *, statistic: str = "extreme") -> LoadAtPeak:
    """Load at which the hardest cylinder's peak pressure reaches a value.

    Parameters
    ----------
    definition : DutyDefinition
        The engine, with a model or a rule as its source; of a model only the boost is varied.
    peak : float
        Peak cylinder pressure, without knock [MPa].
    statistic : str
        ``"mean"`` or ``"extreme"``.

    Raises
    ------
    DutyError
        If the source is a trace, which says nothing about other loads, or no boost within the
        model's range reaches the pressure.
    """
    if statistic not in ("mean", "extreme"):
        raise DutyError(f"no statistic is called {statistic!r}", where="statistic", remedy="mean or extreme")
    check_limit("peak_pressure", peak, "peak")
    source = definition.source
    if isinstance(source, ModelSource):
        return _by_model(definition, peak, statistic)
    if isinstance(source, RuleSource):
        return _by_rule(definition, source, peak, statistic)
    raise DutyError(
        "a trace says what the pressure was at its own load, not at another",
        where="source",
        remedy="use the cycle model, set so that it meets the trace",
    )


def _by_model(definition: DutyDefinition, peak: float, statistic: str) -> LoadAtPeak:
    source = model_source(definition)
    worked = model_cycle(definition)
    duty = duty_from_model(definition, worked)
    hardest = duty.hardest
    over = _over_mean(hardest.mean, hardest.extreme, statistic) * hardest.mean.value / worked.nominal.peak
    pressure = _pressure_for(definition, peak / over)
    pressures, bmeps, bounded = _drawn_loads(definition, peak / over)
    bmep = _spread(_bmep(definition, pressure), bmeps)
    manifold = _spread(pressure, pressures)
    swept, ambient = swept_volume(definition), source.ambient_pressure
    notes = (
        "boost alone is moved; burning, mixture and temperatures are kept as given, which knock may forbid",
        *_exhaust_note(source),
        *bounded,
        _WITHOUT_KNOCK,
        *model_notes(source, worked)[2:],
    )
    return LoadAtPeak(
        peak,
        statistic,
        _through(bmep, lambda one: power_from_bmep(one, swept, source.speed)),
        bmep,
        manifold,
        _through(manifold, lambda one: one - ambient),
        (MovedInput("absolute manifold pressure", source.absolute_pressure, pressure, "MPa"),),
        _model_curve(definition, worked, pressure, over),
        notes,
    )


def _exhaust_note(source: ModelSource) -> tuple[str, ...]:
    if source.exhaust_pressure is None:
        return ("the exhaust pressure is taken to rise with the manifold pressure",)
    return (f"the exhaust pressure is kept at {source.exhaust_pressure:.3g} MPa whatever the boost",)


def _over_mean(mean: Estimate, extreme: Estimate, statistic: str) -> float:
    return extreme.value / mean.value if statistic == "extreme" else 1.0


def _through(one: Estimate, turn: Callable[[float], float]) -> Estimate:
    """Put value and ends of an estimate through a rising function."""
    return Estimate(turn(one.value), turn(one.low), turn(one.high), one.flags)


def _spread(value: float, values: Floats) -> Estimate:
    low, high = np.quantile(values, [0.025, 0.975], method="higher")
    return Estimate(value, min(float(low), value), max(float(high), value))


def _pressure_for(definition: DutyDefinition, peak: float) -> float:
    """Absolute manifold pressure [MPa] at which the model's peak is `peak` [MPa]."""
    cylinder, inputs = Cylinder.from_engine(definition.engine), model_inputs(model_source(definition))
    low, high = LIMITS["manifold_pressure"].low, LIMITS["manifold_pressure"].high

    def excess(pressure: float) -> float:
        return run_cycle(cylinder, replace(inputs, manifold_pressure=pressure)).peak - peak

    if excess(low) > 0.0 or excess(high) < 0.0:
        raise DutyError(
            f"no manifold pressure from {low:g} to {high:g} MPa brings the peak to {peak:.1f} MPa",
            where="peak",
            remedy="check the pressure's unit, or change burning or compression ratio",
        )
    return float(brentq(excess, low, high, xtol=1e-6))


def _bmep(definition: DutyDefinition, pressure: float) -> float:
    inputs = replace(model_inputs(model_source(definition)), manifold_pressure=pressure)
    return run_cycle(Cylinder.from_engine(definition.engine), inputs).bmep


def _drawn_loads(definition: DutyDefinition, peak: float) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Manifold pressure and mean pressure [MPa] that reach `peak` [MPa] for drawn inputs and model errors."""
    source = model_source(definition)
    cylinder, inputs = Cylinder.from_engine(definition.engine), model_inputs(source)
    doubted = doubted_inputs(definition)
    doubted.pop("manifold_pressure", None)  # it is what is looked for
    if source.exhaust_pressure is None:
        doubted.pop("exhaust_pressure", None)
    drawn = draw_inputs(doubted, _DRAWS)
    error = ndtri((np.arange(_DRAWS) + 0.5) / _DRAWS) / _SIDE * MODEL_DOUBT
    wanted = peak / (1.0 + np.random.default_rng(1).permutation(error))
    low, high = LIMITS["manifold_pressure"].low, LIMITS["manifold_pressure"].high
    pressure = np.full(_DRAWS, source.absolute_pressure)
    for _ in range(20):
        found = sweep_cycles(cylinder, inputs, {**drawn, "manifold_pressure": pressure})
        off = wanted / found.peak
        if np.all(np.abs(off - 1.0)[(pressure > low) & (pressure < high)] < 1e-5):
            break
        # peak pressure rises all but in proportion to manifold pressure
        pressure = np.clip(pressure * off, low, high)
    stopped = pressure >= high
    if np.count_nonzero(stopped) <= 0.02 * _DRAWS:
        return pressure, found.bmep, ()
    note = f"the interval has no upper end: it reaches beyond the model's {high:g} MPa manifold pressure"
    return np.where(stopped, np.inf, pressure), np.where(stopped, np.inf, found.bmep), (note,)


def _model_curve(
    definition: DutyDefinition, worked: ModelledCycle, pressure: float, over: float
) -> LoadCurve:
    source = model_source(definition)
    low, high = LIMITS["manifold_pressure"].low, LIMITS["manifold_pressure"].high
    ends = min(pressure, source.absolute_pressure), max(pressure, source.absolute_pressure)
    grid = np.linspace(max(0.7 * ends[0], low), min(1.25 * ends[1], high), 25)
    cylinder, inputs = Cylinder.from_engine(definition.engine), model_inputs(source)
    sweep = sweep_cycles(cylinder, inputs, {"manifold_pressure": grid})
    peak = sweep.peak * over
    own = worked.peak
    power = sweep.power * definition.engine.cylinders
    return LoadCurve(peak, peak * own.low / own.value, peak * own.high / own.value, power, sweep.bmep)


def _by_rule(definition: DutyDefinition, source: RuleSource, peak: float, statistic: str) -> LoadAtPeak:
    duty = duty_from_rule(definition)
    hardest = duty.hardest
    mean = hardest.mean
    over = _over_mean(mean, hardest.extreme, statistic) * max(definition.cylinder_factors, default=1.0)
    bmep = bmep_for_peak(peak / over, source.timing)
    speed, swept = source.speed, swept_volume(definition)
    power = None if speed is None else _through(bmep, lambda one: power_from_bmep(one, swept, speed))
    before = duty.bmep.value if duty.bmep is not None else float("nan")
    band = PRESSURE_RATIOS[source.timing]
    grid = np.linspace(0.6, 1.4, 17) * bmep.value
    peaks = grid * band.value * over
    curve = LoadCurve(
        peaks,
        peaks * band.low / band.value,
        peaks * band.high / band.value,
        np.full(grid.size, np.nan) if speed is None else power_from_bmep(1.0, swept, speed) * grid,
        grid,
    )
    moved = (MovedInput("brake mean effective pressure", before, bmep.value, "MPa"),)
    notes = (*duty.notes[:3], _WITHOUT_KNOCK)
    return LoadAtPeak(peak, statistic, power, bmep, None, None, moved, curve, notes)

"""The other way round: boost and power at which a peak pressure comes about."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scipy.optimize import brentq

from firedeck.definition.duty import DutyDefinition, ModelSource, RuleSource
from firedeck.duty.cycle import run_cycle
from firedeck.duty.geometry import Cylinder, power_from_bmep
from firedeck.duty.limits import LIMITS, DutyError, check_limit
from firedeck.duty.rule import bmep_for_peak
from firedeck.duty.sources import MODEL_DOUBT, duty_from_model, duty_from_rule, model_inputs, swept_volume
from firedeck.evidence import Estimate

__all__ = ["LoadAtPeak", "load_at_peak"]


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
    notes : tuple of str
        Assumptions.
    """

    peak: float
    statistic: str
    power: Estimate | None
    bmep: Estimate
    manifold_pressure: Estimate | None
    boost: Estimate | None
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
        return _by_model(definition, source, peak, statistic)
    if isinstance(source, RuleSource):
        return _by_rule(definition, source, peak, statistic)
    raise DutyError(
        "a trace says what the pressure was at its own load, not at another",
        where="source",
        remedy="use the cycle model, set so that it meets the trace",
    )


def _by_model(definition: DutyDefinition, source: ModelSource, peak: float, statistic: str) -> LoadAtPeak:
    duty = duty_from_model(definition)
    nominal = run_cycle(Cylinder.from_engine(definition.engine), model_inputs(source))
    over = (
        _over_mean(duty.hardest.mean, duty.hardest.extreme, statistic)
        * duty.hardest.mean.value
        / nominal.peak
    )
    ends = [
        _pressure_for(definition, source, peak / over * (1.0 + k * MODEL_DOUBT)) for k in (0.0, -1.0, 1.0)
    ]
    loads = [_load(definition, source, pressure) for pressure in ends]
    ambient = source.ambient_pressure
    notes = (
        "burning, mixture and temperatures kept as given while the boost changes; knock may forbid that",
        *duty.notes[1:],
    )
    return LoadAtPeak(
        peak,
        statistic,
        _band([power for _, power in loads]),
        _band([bmep for bmep, _ in loads]),
        _band(ends),
        _band([end - ambient for end in ends]),
        notes,
    )


def _band(ends: list[float]) -> Estimate:
    """Estimate from value, low and high."""
    value, low, high = ends
    return Estimate(value, low, high)


def _over_mean(mean: Estimate, extreme: Estimate, statistic: str) -> float:
    return extreme.value / mean.value if statistic == "extreme" else 1.0


def _pressure_for(definition: DutyDefinition, source: ModelSource, peak: float) -> float:
    """Absolute manifold pressure [MPa] at which the model's peak is `peak` [MPa]; the range's end if none."""
    cylinder, inputs = Cylinder.from_engine(definition.engine), model_inputs(source)
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


def _load(definition: DutyDefinition, source: ModelSource, pressure: float) -> tuple[float, float]:
    inputs = replace(model_inputs(source), manifold_pressure=pressure)
    bmep = run_cycle(Cylinder.from_engine(definition.engine), inputs).bmep
    return bmep, power_from_bmep(bmep, swept_volume(definition), source.speed)


def _by_rule(definition: DutyDefinition, source: RuleSource, peak: float, statistic: str) -> LoadAtPeak:
    duty = duty_from_rule(definition)
    hardest = duty.hardest
    mean = hardest.mean
    over = _over_mean(mean, hardest.extreme, statistic) * max(definition.cylinder_factors, default=1.0)
    bmep = bmep_for_peak(peak / over, source.timing)
    power = None
    if source.speed is not None:
        swept = swept_volume(definition)
        power = _band(
            [power_from_bmep(end, swept, source.speed) for end in (bmep.value, bmep.low, bmep.high)]
        )
    return LoadAtPeak(peak, statistic, power, bmep, None, None, duty.notes)

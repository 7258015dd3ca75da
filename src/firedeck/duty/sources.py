"""The duty from each of its sources: measured traces, the cycle model, the rule of thumb."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from firedeck.definition.duty import DutyDefinition, ModelSource, RuleSource
from firedeck.duty.cases import CycleInputs
from firedeck.duty.cycle import FRICTION_SOURCE, sweep_cycles
from firedeck.duty.geometry import Cylinder, bmep_from_power, bmep_from_torque, power_from_bmep
from firedeck.duty.limits import DutyError
from firedeck.duty.modelled import (
    MODEL_DOUBT,
    ModelledCycle,
    model_cycle,
    model_inputs,
    model_source,
    swept_volume,
    widened,
)
from firedeck.duty.normal_draws import normal_draws
from firedeck.duty.result import CylinderDuty, Duty
from firedeck.duty.rule import PEAK_SCATTER, PRESSURE_RATIOS, RULE_SOURCE, peak_from_bmep
from firedeck.duty.statistics import describe_scatter, largest_peak
from firedeck.duty.trace import TraceResult
from firedeck.evidence import Basis, Estimate, Source

__all__ = [
    "duty_from_model",
    "duty_from_rule",
    "duty_from_traces",
    "model_notes",
    "rule_bmep",
]

#: Relative uncertainty (95 %) of a cylinder that was not measured, against one that was [1]. Common
#: practice, no source.
NEIGHBOUR_DOUBT = 0.08
#: What knock may add when nothing is known of it [MPa]. From memory, not checked.
UNKNOWN_KNOCK = Estimate(0.0, 0.0, 5.0)

_SAMPLE = 400


def _scaled(estimate: Estimate, factor: float) -> Estimate:
    return Estimate(estimate.value * factor, estimate.low * factor, estimate.high * factor, estimate.flags)


def _factors(definition: DutyDefinition) -> tuple[float, ...]:
    return definition.cylinder_factors or (1.0,) * definition.engine.cylinders


def _knock(definition: DutyDefinition) -> tuple[Estimate, tuple[str, ...]]:
    allowance = definition.knock_allowance
    if allowance is None:
        note = "no knock allowance was given; knock may add 1 to 5 MPa, heavy knock more (from memory)"
        return UNKNOWN_KNOCK, (note,)
    return Estimate(allowance, allowance, allowance), ("knock allowance as given by the user",)


def _same_for_all(
    definition: DutyDefinition, mean: Estimate, deviation: Estimate, extreme: Estimate
) -> tuple[CylinderDuty, ...]:
    knock, _ = _knock(definition)
    return tuple(
        CylinderDuty(
            k + 1, _scaled(mean, factor), _scaled(deviation, factor), _scaled(extreme, factor), knock
        )
        for k, factor in enumerate(_factors(definition))
    )


def _cylinder_note(definition: DutyDefinition) -> tuple[str, ...]:
    if definition.cylinder_factors or definition.engine.cylinders == 1:
        return ()
    return ("all cylinders taken alike; differences of 5 to 10 % between cylinders are usual (from memory)",)


def duty_from_traces(definition: DutyDefinition, results: Sequence[TraceResult]) -> Duty:
    """Duty from measured traces, one or more cylinders of the engine.

    Parameters
    ----------
    definition : DutyDefinition
        The engine and the number of cycles.
    results : sequence of TraceResult
        Worked-up records, each of another cylinder. A cylinder that was not measured takes after
        the hardest that was.

    Raises
    ------
    DutyError
        If there is no record, or one of a cylinder that the engine does not have.
    """
    if not results:
        raise DutyError("no trace was given", where="source", remedy="record at least one cylinder")
    count = definition.engine.cylinders
    by_number = {result.cylinder: result for result in results}
    strange = [number for number in by_number if not 1 <= number <= count]
    if strange:
        raise DutyError(
            f"a trace is of cylinder {strange[0]}, but the engine has {count}",
            where="source",
            remedy="correct the cylinder number in the trace mapping",
        )
    measured = {number: _measured_cylinder(result) for number, result in by_number.items()}
    hardest = max(measured.values(), key=lambda entry: entry.design_pressure.value)
    cylinders = tuple(measured.get(k) or _like(hardest, k) for k in range(1, count + 1))
    notes = [
        f"cylinder {result.cylinder}: {note}"
        for result in results
        for note in (*result.notes, *result.extreme.notes)
    ]
    missing = [str(k) for k in range(1, count + 1) if k not in measured]
    if missing:
        notes.append(
            f"cylinders {', '.join(missing)} were not measured and take after cylinder {hardest.cylinder}"
        )
    speeds = [result.speed for result in results if result.speed is not None]
    return Duty(
        "trace",
        cylinders,
        results[0].extreme.cycles,
        results[0].extreme.law,
        Source(Basis.MEASURED, "cylinder pressure trace"),
        speed=float(np.mean(speeds)) if speeds else None,
        notes=tuple(dict.fromkeys(notes)),
    )


def _measured_cylinder(result: TraceResult) -> CylinderDuty:
    doubt = result.gain_doubt
    knock = UNKNOWN_KNOCK if result.knock is None else result.knock.allowance
    return CylinderDuty(
        result.cylinder,
        widened(result.peak.mean, doubt),
        widened(result.peak.deviation, doubt),
        widened(result.extreme.estimate, doubt),
        knock,
    )


def _like(model: CylinderDuty, number: int) -> CylinderDuty:
    return replace(
        model,
        cylinder=number,
        mean=widened(model.mean, NEIGHBOUR_DOUBT),
        extreme=widened(model.extreme, NEIGHBOUR_DOUBT),
    )


def duty_from_model(definition: DutyDefinition, modelled: ModelledCycle | None = None) -> Duty:
    """Duty from the cycle model, its scatter from that of burning and charge.

    Parameters
    ----------
    definition : DutyDefinition
        With a model as its source.
    modelled : ModelledCycle, optional
        The worked-up cycle, where it is at hand.

    Raises
    ------
    DutyError
        If the source is no model or an input is outside its range.
    """
    source = model_source(definition)
    worked = modelled or model_cycle(definition)
    peaks = _sampled_peaks(Cylinder.from_engine(definition.engine), model_inputs(source), source)
    scatter = describe_scatter(peaks)
    largest = largest_peak(peaks, definition.cycles)
    cylinders = _same_for_all(
        definition,
        _widened_like(scatter.mean, worked.peak),
        widened(scatter.deviation, 0.3),
        _widened_like(largest.estimate, worked.peak),
    )
    return Duty(
        "model",
        cylinders,
        definition.cycles,
        largest.law,
        Source(Basis.DERIVED, "single-zone cycle model"),
        worked.bmep,
        worked.power,
        source.speed,
        (
            *model_notes(source, worked),
            "scatter from cycle to cycle follows the scatter of burning and charge that was given",
            *_knock(definition)[1],
            *_cylinder_note(definition),
        ),
    )


def _widened_like(estimate: Estimate, other: Estimate) -> Estimate:
    """Interval widened in quadrature by the relative interval of another estimate, either side its own."""
    below, above = (other.value - other.low) / other.value, (other.high - other.value) / other.value
    return Estimate(
        estimate.value, widened(estimate, below).low, widened(estimate, above).high, estimate.flags
    )


def _sampled_peaks(cylinder: Cylinder, inputs: CycleInputs, source: ModelSource) -> NDArray[np.float64]:
    """Peak pressures [MPa] of cycles whose burning and charge scatter as the source says."""
    draws = normal_draws(_SAMPLE, 3)
    duration = inputs.burn_duration + source.burn_duration_scatter * draws[:, 1]
    variations = {
        "burn_50": inputs.burn_50 + source.burn_50_scatter * draws[:, 0],
        "burn_duration": np.maximum(duration, 0.25 * inputs.burn_duration),
        "manifold_pressure": inputs.manifold_pressure * (1.0 + source.charge_scatter * draws[:, 2]),
    }
    return sweep_cycles(cylinder, inputs, variations).peak


def model_notes(source: ModelSource, worked: ModelledCycle) -> tuple[str, ...]:
    """Say what a modelled cycle takes for granted."""
    exhaust = "manifold pressure" if source.exhaust_pressure is None else "the pressure given"
    filling = (
        "cylinder at manifold pressure when the intake closes"
        if source.filling is None
        else f"filling {source.filling:.2f} of swept volume at manifold density"
    )
    heat = worked.wall_heat
    return (
        f"absolute manifold pressure {source.absolute_pressure:.3f} MPa; {filling}",
        f"burnt gas left over {100 * worked.nominal.residual:.1f} %, exhaust at {exhaust}",
        f"one zone, fuel evaporated, no blow-by; {100 * heat.value:.0f} % ({100 * heat.low:.0f} to "
        f"{100 * heat.high:.0f} %) of the heat released goes to the walls before the exhaust opens",
        f"friction after {FRICTION_SOURCE}",
        f"band of {100 * MODEL_DOUBT:.0f} % for the model itself ({Basis.COMMON_PRACTICE})",
        *worked.notes,
    )


def rule_bmep(definition: DutyDefinition, source: RuleSource) -> float:
    """Brake mean effective pressure [MPa] that a rule starts from."""
    if source.bmep is not None:
        return source.bmep
    if source.torque is not None:
        return bmep_from_torque(source.torque, swept_volume(definition))
    if source.power is None or source.speed is None:
        raise DutyError("the rule needs power and speed, torque, or bmep", where="source", remedy="add one")
    return bmep_from_power(source.power, swept_volume(definition), source.speed)


def duty_from_rule(definition: DutyDefinition) -> Duty:
    """Duty from power, torque or mean pressure by rule of thumb, with a wide band.

    Parameters
    ----------
    definition : DutyDefinition
        With a rule as its source.

    Raises
    ------
    DutyError
        If the source is no rule or its mean pressure outside what the rule covers.
    """
    source = definition.source
    if not isinstance(source, RuleSource):
        raise DutyError("the duty's source is not the rule", where="source", remedy='write kind = "rule"')
    bmep = rule_bmep(definition, source)
    mean = peak_from_bmep(bmep, source.timing)
    cov, k = PEAK_SCATTER, _deviations_out(definition.cycles)
    deviation = Estimate(cov.value * mean.value, cov.low * mean.low, cov.high * mean.high)
    extreme = Estimate(
        mean.value * (1.0 + k * cov.value), mean.low * (1.0 + k * cov.low), mean.high * (1.0 + k * cov.high)
    )
    band = PRESSURE_RATIOS[source.timing]
    power = None
    if source.speed is not None:
        value = power_from_bmep(bmep, swept_volume(definition), source.speed)
        power = Estimate(value, value, value)
    notes = (
        f"peak pressure is {band.low:g} to {band.high:g} times bmep, timing {source.timing} ({RULE_SOURCE})",
        f"it scatters {100 * cov.low:.0f} to {100 * cov.high:.0f} % from cycle to cycle ({RULE_SOURCE})",
        "a rule of thumb: measure a trace before trusting a margin to it",
        *_knock(definition)[1],
        *_cylinder_note(definition),
    )
    cylinders = _same_for_all(definition, mean, deviation, extreme)
    exact = Estimate(bmep, bmep, bmep)
    return Duty(
        "rule", cylinders, definition.cycles, "normal", RULE_SOURCE, exact, power, source.speed, notes
    )


def _deviations_out(cycles: int) -> float:
    """Tell by how many standard deviations the largest of `cycles` normal values tops the mean."""
    return -float(ndtri(-math.expm1(math.log(0.5) / cycles)))

"""Duties as plain columns and plain data: for CSV, Parquet and JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from firedeck.duty.indicator import PolytropicFit, pressure_fan
from firedeck.duty.modelled import ModelledCycle, widened
from firedeck.duty.result import Duty
from firedeck.duty.trace import TraceResult
from firedeck.evidence import Estimate
from firedeck.study.duty.cases import (
    DutyComparison,
    LoadReading,
    ModelReading,
    RuleReading,
    ThicknessReading,
)
from firedeck.study.duty.trace import TraceReading

__all__ = [
    "DUTY_UNITS",
    "comparison_columns",
    "comparison_record",
    "curve_columns",
    "cycle_columns",
    "duty_columns",
    "duty_record",
    "fan_columns",
    "load_record",
    "model_columns",
    "thickness_record",
]

Columns = dict[str, list[object]]

#: Unit of every column.
DUTY_UNITS: Mapping[str, str] = {
    **{
        f"{name}{end}_MPa": "MPa"
        for name in ("mean", "deviation", "extreme", "knock", "design", "peak", "bmep", "pressure")
        for end in ("", "_low", "_high")
    },
    **{f"{name}_MPa": "MPa" for name in ("raw_peak", "imep_gross", "imep_net", "peg_shift", "ringing")},
    **{f"{name}_MPa": "MPa" for name in ("lowest_2_5_percent", "quarter", "three_quarters")},
    **{f"{name}_MPa": "MPa" for name in ("highest_2_5_percent", "highest_cycle")},
    "angle_deg": "degree", "peak_angle_deg": "degree", "temperature_degC": "degC", "power_kW": "kW",
}  # fmt: skip


def _estimate(name: str, one: Estimate, unit: str = "MPa") -> dict[str, object]:
    return {f"{name}_{unit}": one.value, f"{name}_low_{unit}": one.low, f"{name}_high_{unit}": one.high}


def _transposed(rows: list[dict[str, object]]) -> Columns:
    return {name: [row[name] for row in rows] for name in rows[0]} if rows else {}


def _cylinder_rows(duty: Duty) -> list[dict[str, object]]:
    return [
        {
            "cylinder": one.cylinder,
            **_estimate("mean", one.mean),
            **_estimate("deviation", one.deviation),
            **_estimate("extreme", one.extreme),
            **_estimate("knock", one.knock_allowance),
            **_estimate("design", one.design_pressure),
        }
        for one in duty.cylinders
    ]


def duty_columns(duty: Duty) -> Columns:
    """Return one row a cylinder."""
    return _transposed(_cylinder_rows(duty))


def cycle_columns(reading: TraceReading) -> Columns:
    """Return one row a cycle of every measured cylinder."""
    columns: Columns = {}
    for result in reading.results:
        table, count = result.cycles, result.cycles.peak.size
        ringing = np.full(count, math.nan) if result.knock is None else result.knock.amplitude
        part = {
            "cylinder": [result.cylinder] * count,
            "cycle": list(range(1, count + 1)),
            "peak_MPa": table.peak.tolist(),
            "peak_angle_deg": table.peak_angle.tolist(),
            "raw_peak_MPa": table.raw_peak.tolist(),
            "imep_gross_MPa": table.imep_gross.tolist(),
            "imep_net_MPa": table.imep_net.tolist(),
            "peg_shift_MPa": table.shift.tolist(),
            "ringing_MPa": ringing.tolist(),
        }
        for name, values in part.items():
            columns.setdefault(name, []).extend(values)
    return columns


def fan_columns(reading: TraceReading) -> Columns:
    """Return one row a crank angle of every measured cylinder."""
    columns: Columns = {}
    for result in reading.results:
        fan = pressure_fan(result)
        part = {
            "cylinder": [result.cylinder] * fan.angle.size,
            "angle_deg": fan.angle.tolist(),
            "mean_MPa": fan.mean.tolist(),
            "lowest_2_5_percent_MPa": fan.low.tolist(),
            "quarter_MPa": fan.quarter.tolist(),
            "three_quarters_MPa": fan.three_quarters.tolist(),
            "highest_2_5_percent_MPa": fan.high.tolist(),
            "highest_cycle_MPa": fan.worst.tolist(),
        }
        for name, values in part.items():
            columns.setdefault(name, []).extend(values)
    return columns


def model_columns(worked: ModelledCycle) -> Columns:
    """Return one row a crank angle of the modelled cycle."""
    one = worked.nominal
    return {
        "angle_deg": one.angle.tolist(),
        "pressure_MPa": one.pressure.tolist(),
        "pressure_low_MPa": worked.low.tolist(),
        "pressure_high_MPa": worked.high.tolist(),
        "temperature_degC": one.temperature.tolist(),
    }


def curve_columns(reading: LoadReading) -> Columns:
    """Return one row a load."""
    curve = reading.load.curve
    return {
        "peak_MPa": curve.peak.tolist(),
        "peak_low_MPa": curve.low.tolist(),
        "peak_high_MPa": curve.high.tolist(),
        "power_kW": curve.power.tolist(),
        "bmep_MPa": curve.bmep.tolist(),
    }


def comparison_columns(comparison: DutyComparison) -> Columns:
    """Return one row a cylinder of every duty."""
    return _transposed(
        [
            {"trust": place, "duty": name, "source": duty.kind, **row}
            for place, (name, duty) in enumerate(
                zip(comparison.names, comparison.duties, strict=True), start=1
            )
            for row in _cylinder_rows(duty)
        ]
    )


def _maybe(name: str, one: Estimate | None, unit: str = "MPa") -> dict[str, object]:
    return {} if one is None else _estimate(name, one, unit)


def duty_record(reading: TraceReading | ModelReading | RuleReading) -> dict[str, object]:
    """Return a duty as plain data for JSON."""
    duty = reading.duty
    record: dict[str, object] = {
        "name": reading.definition.name,
        "source": duty.kind,
        "basis": str(duty.basis),
        "cycles": duty.cycles,
        "law": duty.law,
        "speed_per_min": duty.speed,
        **_maybe("power", duty.power, "kW"),
        **_maybe("bmep", duty.bmep),
        "cylinders": _cylinder_rows(duty),
        "hardest_cylinder": duty.hardest.cylinder,
        "notes": list(duty.notes),
        "provenance": reading.provenance,
    }
    if isinstance(reading, ModelReading):
        record["cycle"] = _cycle_record(reading.worked)
    if isinstance(reading, TraceReading):
        record["traces"] = [
            _trace_record(result, reading.fits[place], reading.indicated[place])
            for place, result in enumerate(reading.results)
        ]
    return record


def _cycle_record(worked: ModelledCycle) -> dict[str, object]:
    one = worked.nominal
    return {
        **_estimate("peak", worked.peak),
        "peak_angle_deg": one.peak_angle,
        **_estimate("imep", worked.imep),
        **_estimate("bmep", worked.bmep),
        **_estimate("power", worked.power, "kW"),
        "wall_heat_share": worked.wall_heat.value,
        "residual_share": one.residual,
        "inputs_that_may_be_off": [
            {
                "input": row.words,
                "half": row.half,
                "unit": row.unit,
                "peak_MPa": row.peak,
                "bmep_MPa": row.bmep,
            }
            for row in worked.contributions
        ],
    }


def _trace_record(
    result: TraceResult, fits: tuple[PolytropicFit, ...], indicated: Estimate
) -> dict[str, object]:
    centre, knock = result.top_dead_centre, result.knock
    return {
        "cylinder": result.cylinder,
        "cycles": result.peak.count,
        **_estimate("top_dead_centre", centre.angle, "deg"),
        "top_dead_centre_method": centre.method,
        **_estimate("peak_mean", widened(result.peak.mean, result.gain_doubt)),
        **_estimate("peak_deviation", result.peak.deviation),
        "peak_cov": result.peak.coefficient,
        **_estimate("imep_mean", indicated),
        "imep_cov": result.imep.coefficient,
        **_estimate("largest", result.extreme.estimate),
        "largest_by_other_laws_MPa": result.extreme.others,
        "polytropic_exponents": {fit.stretch: fit.exponent for fit in fits},
        "knocking_share": None if knock is None else knock.share,
        "loudest_ringing_MPa": None if knock is None else float(knock.amplitude.max()),
        "notes": list(result.notes),
    }


def load_record(reading: LoadReading) -> dict[str, object]:
    """Return the load at which a peak pressure is reached as plain data for JSON."""
    load = reading.load
    return {
        "name": reading.definition.name,
        "source": reading.definition.source.kind,
        "peak_MPa": load.peak,
        "statistic": load.statistic,
        **_maybe("power", load.power, "kW"),
        **_estimate("bmep", load.bmep),
        **_maybe("manifold_pressure", load.manifold_pressure),
        **_maybe("boost", load.boost),
        "moved": [
            {"input": one.words, "before": one.before, "after": one.after, "unit": one.unit}
            for one in load.moved
        ],
        "notes": list(load.notes),
        "provenance": reading.provenance,
    }


def thickness_record(reading: ThicknessReading) -> dict[str, object]:
    """Return what gasket thicknesses do as plain data for JSON."""
    return {
        "name": reading.definition.name,
        "thicknesses": [
            {
                "thickness_mm": change.thickness,
                "compression_ratio": change.compression_ratio,
                "quench_mm": change.quench,
                "peak_MPa": peak,
                "notes": list(change.notes),
            }
            for change, peak in zip(reading.changes, reading.peaks, strict=True)
        ],
    }


def comparison_record(comparison: DutyComparison) -> dict[str, object]:
    """Return duties side by side as plain data for JSON."""
    return {
        "duties": [
            {"trust": place, "name": name, **duty_record(reading)}
            for place, (name, reading) in enumerate(
                zip(comparison.names, comparison.readings, strict=True), start=1
            )
        ],
        "against_the_first": [
            {
                "duty": comparison.names[one.second],
                "ratio": one.ratio,
                "overlap": one.overlap,
                "text": one.text,
            }
            for one in comparison.against
        ],
        "notes": list(comparison.notes),
    }

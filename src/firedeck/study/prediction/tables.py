"""A prediction as plain columns: for CSV, Parquet and JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping

from firedeck.contact import JointState
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.prediction.predicting import PredictionReading
from firedeck.verdict import judge_margins

__all__ = [
    "PREDICTION_UNITS",
    "bore_columns",
    "bow_columns",
    "breach_columns",
    "certificate_record",
    "fastener_load_columns",
    "margin_columns",
    "prediction_record",
    "profile_columns",
    "seal_state_columns",
]

#: Unit of every column.
PREDICTION_UNITS: Mapping[str, str] = {
    "mean_N_per_mm": "N/mm", "lowest_N_per_mm": "N/mm", "lowest_angle_deg": "degree", "closure_mm": "mm",
    "at_mm": "mm", "angle_deg": "degree", "x_mm": "mm", "y_mm": "mm", "line_load_N_per_mm": "N/mm",
    "contact_MPa": "MPa", "lost_closure_mm": "mm", "lost_line_load_N_per_mm": "N/mm", "head_mm": "mm",
    "opening_mm": "mm", "tension_N": "N", "lowest_N": "N", "highest_N": "N", "range_N": "N", "depth_mm": "mm",
    "amplitude_mm": "mm", "crest_deg": "degree", "gas_MPa": "MPa", "breach_MPa": "MPa",
    "breach_low_MPa": "MPa", "breach_high_MPa": "MPa",
}  # fmt: skip


def seal_state_columns(reading: PredictionReading) -> Columns:
    """Return one row a seal and state."""
    lost = {(name, one.seal): one for name, found in reading.swings.items() for one in found}
    return columns_of(
        [
            {
                "seal": answer.seal,
                "kind": answer.kind,
                "state": name,
                "mean_N_per_mm": carried.mean,
                "lowest_N_per_mm": carried.lowest,
                "lowest_angle_deg": carried.weakest_angle,
                "closure_mm": float(carried.closure.mean()),
                "lost_closure_mm": lost[name, answer.seal].opening
                if (name, answer.seal) in lost
                else math.nan,
                "lost_line_load_N_per_mm": lost[name, answer.seal].load
                if (name, answer.seal) in lost
                else math.nan,
                "beyond_table_share": carried.beyond,
            }
            for answer in reading.seals
            for name, carried in answer.states.items()
        ]
    )


def profile_columns(reading: PredictionReading) -> Columns:
    """Return every point of every seal in every state."""
    columns: Columns = {}
    for answer in reading.seals:
        for name, carried in answer.states.items():
            part = {
                "seal": [answer.seal] * len(carried.arc),
                "state": [name] * len(carried.arc),
                "at_mm": carried.arc.tolist(),
                "angle_deg": carried.angle.tolist(),
                "x_mm": carried.place[:, 0].tolist(),
                "y_mm": carried.place[:, 1].tolist(),
                "line_load_N_per_mm": carried.line_load.tolist(),
                "contact_MPa": carried.pressure.tolist(),
                "closure_mm": carried.closure.tolist(),
            }
            for key, values in part.items():
                columns.setdefault(key, []).extend(values)
    return columns


def margin_columns(reading: PredictionReading) -> Columns:
    """Return one row a seal: the rule that governs, the least margin first."""
    return columns_of(
        [
            {
                "seal": margin.seal,
                "kind": margin.kind,
                "verdict": str(margin.state),
                "rule": margin.governing.rule,
                "state": margin.governing.joint_state,
                "value": margin.governing.value,
                "limit": margin.governing.limit,
                "unit": margin.governing.unit,
                "ratio": margin.governing.ratio,
                "ratio_low": margin.governing.low,
                "angle_deg": margin.governing.angle,
                "beyond_table_share": margin.beyond,
            }
            for margin in reading.margins
        ]
    )


def fastener_load_columns(reading: PredictionReading) -> Columns:
    """Return one row a fastener: tension in every still state, and its range over a cycle."""
    ranges = reading.tension_range()
    still = {name: state for name, state in reading.states.all.items() if "firing" not in name}
    rows: list[dict[str, object]] = []
    for k, seat in enumerate(reading.joint.seats):
        low, high = ranges[seat.name]
        tensions = {f"{name}_N": float(state.tension[k]) for name, state in still.items()}
        rows.append(
            {
                "fastener": seat.name,
                "x_mm": seat.place[0],
                "y_mm": seat.place[1],
                **tensions,
                "lowest_N": low,
                "highest_N": high,
                "range_N": high - low,
            }
        )
    return columns_of(rows)


def bow_columns(reading: PredictionReading) -> Columns:
    """Return one row a pair of neighbouring fasteners and state."""
    return columns_of(
        [
            {
                "state": name,
                "fastener_a": bow.fasteners[0],
                "fastener_b": bow.fasteners[1],
                "head_mm": bow.head,
                "opening_mm": bow.opening,
            }
            for name, found in reading.bows.items()
            for bow in found
        ]
    )


def bore_columns(reading: PredictionReading) -> Columns:
    """Return one row a bore, depth, state and Fourier order."""
    return columns_of(
        [
            {
                "state": name,
                "bore": shape.bore,
                "depth_mm": shape.depth,
                "order": order,
                "amplitude_mm": float(shape.amplitude[order]),
                "crest_deg": float(shape.phase[order]),
            }
            for name, shapes in reading.shapes.items()
            for shape in shapes
            for order in range(len(shape.amplitude))
        ]
    )


def breach_columns(reading: PredictionReading) -> Columns:
    """Return one row a bore: where its gas would get out first."""
    return columns_of(
        [
            {
                "bore": one.bore,
                "state": one.state,
                "gas_MPa": one.gas,
                "to": one.path.b if one.path.a == one.bore else one.path.a,
                "seal": one.path.seal,
                "x_mm": one.path.point[0],
                "y_mm": one.path.point[1],
                **estimate_columns("breach", one.breach, "MPa"),
                "ratio": one.ratio,
            }
            for one in reading.breaches
        ]
    )


def certificate_record(state: JointState) -> dict[str, object]:
    """Return what was checked of a state."""
    one = state.certificate
    return {
        "residual": one.residual,
        "lowest_point_load_N": one.lowest_load,
        "force_error": one.force_error,
        "moment_error": one.moment_error,
        "newton_steps": one.steps,
        "sound": one.sound,
    }


def prediction_record(reading: PredictionReading) -> dict[str, object]:
    """Return a prediction as plain data for JSON; numbers that are not known are null."""
    joint, files = reading.joint, reading.files
    record: dict[str, object] = {
        "prediction": files.prediction.name,
        "deck": files.plan.name,
        "gasket": files.gasket.name,
        "verdict": str(judge_margins(reading.margins)),
        "level": reading.level,
        "gas_MPa": dict(reading.gas.pressures),
        "gas_from": reading.gas.origin,
        "margins": as_rows(margin_columns(reading)),
        "seals": as_rows(seal_state_columns(reading)),
        "doubts": {
            seal: {
                "mean_settled_N_per_mm": list(doubt.mean),
                "lowest_under_gas_N_per_mm": list(doubt.lowest),
                "by": {one.name: {"mean": one.mean, "lowest": one.lowest} for one in doubt.variants},
            }
            for seal, doubt in reading.doubts.items()
        },
        "breaches": as_rows(breach_columns(reading)),
        "fasteners": as_rows(fastener_load_columns(reading)),
        "clamp_over_gas": {state: dict(found) for state, found in reading.ratios.items()},
        "bow": as_rows(bow_columns(reading)),
        "bores": as_rows(bore_columns(reading)),
        "levels": [{"seal": one.seal, "mean": one.mean, "lowest": one.lowest} for one in reading.levels],
        "certificates": {name: certificate_record(state) for name, state in reading.states.all.items()},
        "mesh": {
            "element_mm": joint.grid.pitch,
            "head_freedoms": joint.head.freedoms,
            "block_freedoms": joint.block.freedoms,
            "kept_nodes": len(joint.kept_places),
            "gasket_points": len(joint.laid.places),
            "patches": int(joint.laid.patch.max()) + 1,
        },
        "assumptions": list(reading.assumptions),
        "provenance": dict(files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}

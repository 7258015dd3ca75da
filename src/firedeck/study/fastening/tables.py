"""A fastening as plain columns: for CSV, Parquet and JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping

from firedeck.evidence import Estimate
from firedeck.loading.reckoning import GroupReckoning
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.fastening.assessment import FasteningReading
from firedeck.study.fastening.torque import GroupTorques, PreloadRow, TorquePlan
from firedeck.units import to_unit

__all__ = [
    "FASTENING_UNITS",
    "cylinder_columns",
    "fastener_columns",
    "fastening_record",
    "move_columns",
    "round_columns",
    "torque_columns",
    "torque_record",
]

#: Unit of every column.
FASTENING_UNITS: Mapping[str, str] = {
    **{f"{state}{end}_N": "N" for state in ("tightened", "settled", "hot") for end in ("", "_low", "_high")},
    "peak_N": "N",
    "x_mm": "mm",
    "y_mm": "mm",
    "clamp_N": "N",
    "gas_N": "N",
    "pressure_MPa": "MPa",
    "seal_diameter_mm": "mm",
    "preload_N": "N",
    "least_N": "N",
    "most_N": "N",
    **{f"torque_{case}_Nm": "N*m" for case in ("low", "typical", "high")},
    **{f"torque_{case}_lbfft": "lbf*ft" for case in ("low", "typical", "high")},
    "torque_Nm": "N*m",
    "yield_torque_low_Nm": "N*m",
    "yield_torque_typical_Nm": "N*m",
    "angle_deg": "degree",
    "stretch_mm": "mm",
}

_UNKNOWN = Estimate(math.nan, math.nan, math.nan)


def fastener_columns(reading: FasteningReading) -> Columns:
    """Return one row a fastener, in the plan's order."""
    clamp = reading.clamp
    turn = {name: place for place, name in enumerate(clamp.joint.sequence, start=1)}
    return columns_of(
        [
            {
                "fastener": state.name,
                "group": state.group,
                "sequence": turn[state.name],
                "x_mm": float(at[0]),
                "y_mm": float(at[1]),
                **estimate_columns("tightened", state.tightened, "N"),
                "peak_N": state.peak,
                **estimate_columns("settled", state.settled, "N"),
                **estimate_columns("hot", state.hot or _UNKNOWN, "N"),
            }
            for state, at in zip(clamp.fasteners, clamp.joint.positions, strict=True)
        ]
    )


def cylinder_columns(reading: FasteningReading) -> Columns:
    """Return one row a cylinder, the worst first."""
    states = {part.part: str(part.state) for part in reading.verdict.parts}
    return columns_of(
        [
            {
                "cylinder": one.cold.cylinder,
                "verdict": states[one.cold.cylinder],
                "ratio": one.cold.ratio.value,
                "ratio_low": one.cold.ratio.low,
                "ratio_high": one.cold.ratio.high,
                "ratio_hot": math.nan if one.hot is None else one.hot,
                "ratio_more_friction": one.cold.ratio_more_friction,
                "ratio_less_friction": one.cold.ratio_less_friction,
                "chance_below_1": one.cold.lifts,
                "fasteners_owned": one.cold.fasteners,
                "clamp_N": one.cold.clamp,
                "gas_N": one.cold.gas,
                "pressure_MPa": one.pressure,
                "seal_diameter_mm": one.seal_diameter,
            }
            for one in reading.clamp.cylinders
        ]
    )


def move_columns(reading: FasteningReading) -> Columns:
    """Return what every fastener holds after every move of the wrench, typical friction."""
    history = reading.clamp.history
    return columns_of(
        [
            {"move": place, "turned": move.fastener, "fastener": name, "preload_N": float(force)}
            for place, (move, row) in enumerate(zip(history.moves, history.preload, strict=True), start=1)
            for name, force in zip(history.names, row, strict=True)
        ]
    )


def fastening_record(reading: FasteningReading) -> dict[str, object]:
    """Return a fastening as plain data for JSON; numbers that are not known are null."""
    files, verdict = reading.files, reading.verdict
    record: dict[str, object] = {
        "fastening": files.fastening.name,
        "deck": files.plan.name,
        "verdict": str(verdict.state),
        "parts": [
            {
                "part": part.part,
                "verdict": str(part.state),
                "reasons": [
                    {
                        "rule": reason.rule,
                        "leads_to": str(reason.state),
                        "finding": reason.text,
                        "source": reason.source,
                    }
                    for reason in part.reasons
                ],
            }
            for part in verdict.parts
        ],
        "remarks": list(verdict.remarks),
        "assumptions": list(reading.assumptions),
        "groups": [_group_record(group) for group in reading.clamp.groups],
        "sequence": list(reading.clamp.joint.sequence),
        "sequence_proposed": reading.clamp.joint.proposed,
        "total": estimate_columns("settled", reading.clamp.total, "N"),
        "fasteners": as_rows(fastener_columns(reading)),
        "cylinders": as_rows(cylinder_columns(reading)),
        "provenance": dict(files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}


def _group_record(group: GroupReckoning) -> dict[str, object]:
    spread, settled, heat = group.spread, group.settled, group.heat
    return {
        "group": group.place.group.name,
        "fasteners": len(group.place.holes),
        "method": group.place.tightening.method,
        **estimate_columns("tightened", spread.one, "N"),
        "scatter": {
            part.name: {"standard": part.standard, "common": part.common, "source": str(part.source)}
            for part in spread.contributions
        },
        "preload_over_usual_at_10_percent_more_friction": spread.friction_effect,
        "yield": {
            case: {
                "preload_N": check.preload,
                "utilisation": check.utilisation,
                "utilisation_settled": check.utilisation_settled,
                "yield_preload_N": check.yield_preload,
                "yield_torque_Nmm": check.yield_torque,
            }
            for case, check in group.yields.items()
        },
        **estimate_columns("settled", settled.preload, "N"),
        "embedding_loss_N": settled.embedding_loss,
        "relaxation_loss_N": settled.relaxation_loss,
        **estimate_columns("hot", heat.preload if heat else _UNKNOWN, "N"),
        "hot_utilisation": heat.utilisation if heat else math.nan,
        "bearing": [
            {"face": check.face, "pressure_MPa": check.pressure, "limit_MPa": check.limit}
            for check in group.bearing
        ],
        "threads": [
            {"thread": check.thread, "area_mm2": check.area, "strips_at_N": check.load}
            for check in group.strips
        ],
    }


def torque_columns(plan: TorquePlan) -> Columns:
    """Return one row a group and preload."""
    return columns_of([_torque_row(table, row) for table in plan.tables for row in table.rows])


def _torque_row(table: GroupTorques, row: PreloadRow) -> dict[str, object]:
    cases = dict(zip(("low", "typical", "high"), row.torques, strict=True))
    return {
        "group": table.place.group.name,
        "preload_N": row.preload,
        **{f"torque_{case}_Nm": torque / 1000.0 for case, torque in cases.items()},
        **{
            f"torque_{case}_lbfft": to_unit(torque, "torque", "force_pound * foot")
            for case, torque in cases.items()
        },
        "least_N": row.least,
        "most_N": row.most,
        "utilisation_typical": row.checks[1].utilisation,
        "utilisation_low_friction": row.checks[0].utilisation,
        "yield_torque_low_Nm": row.checks[0].yield_torque / 1000.0,
        "yield_torque_typical_Nm": row.checks[1].yield_torque / 1000.0,
        "angle_deg": math.nan if row.angle is None else row.angle,
        "stretch_mm": row.stretch,
        "yields": row.yields or "no",
    }


def round_columns(plan: TorquePlan) -> Columns:
    """Return one row for every turn of the wrench in the chosen way, in order."""
    sequence, joint = plan.reading.clamp.joint.sequence, plan.reading.clamp.joint
    rows: list[dict[str, object]] = []
    number = 0
    for one in plan.chosen.rounds:
        amounts = {step.group: step for step in one.steps}
        own = {step.fastener: step.torque for step in one.each}
        for _ in range(one.again):
            number += 1
            for name in sequence:
                step = amounts.get(joint.group_of(name).group.name)
                kind = step.kind if step else "torque"
                amount = own.get(name, step.amount if step else math.nan)
                if step or name in own:
                    rows.append(_turn(number, len(rows) + 1, name, kind, amount))
    return columns_of(rows)


def _turn(number: int, turn: int, name: str, kind: str, amount: float) -> dict[str, object]:
    torque = amount / 1000.0 if kind == "torque" else math.nan
    return {
        "round": number,
        "turn": turn,
        "fastener": name,
        "action": kind,
        "torque_Nm": torque,
        "amount": torque if kind == "torque" else amount,
        "unit": {"torque": "N*m", "angle": "degree", "loosen": "degree", "stretch": "mm"}.get(kind, "N"),
    }


def torque_record(plan: TorquePlan) -> dict[str, object]:
    """Return a torque plan as plain data for JSON; numbers that are not known are null."""
    names = plan.reading.clamp.joint.names
    record: dict[str, object] = {
        "fastening": plan.reading.files.fastening.name,
        "aimed_N": plan.aimed,
        "verdict": str(plan.reading.verdict.state),
        "torques": as_rows(torque_columns(plan)),
        "way": plan.chosen.way,
        "sequence": list(plan.reading.clamp.joint.sequence),
        "turns": as_rows(round_columns(plan)),
        "ways": [
            {
                "way": way.way,
                "open": way.open,
                "rounds": sum(one.again for one in way.rounds),
                "left_N": dict(zip(names, way.final.tolist(), strict=True)) if way.open else None,
                "highest_N": way.highest if way.open else None,
                "remark": way.remark,
            }
            for way in plan.ways
        ],
        "remarks": list(plan.reading.verdict.remarks),
        "assumptions": list(plan.reading.assumptions),
        "provenance": dict(plan.reading.files.provenance),
    }
    return {key: plain(value) for key, value in record.items()}

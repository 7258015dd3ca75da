"""A fastening as plain columns: for CSV, Parquet and JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping

from firedeck.evidence import Estimate
from firedeck.loading.reckoning import GroupReckoning
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.fastening import FasteningReading

__all__ = ["FASTENING_UNITS", "cylinder_columns", "fastener_columns", "fastening_record", "move_columns"]

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

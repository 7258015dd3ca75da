"""A reading as plain columns: for CSV, Parquet, JSON and the report."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from firedeck.definition.film import Response
from firedeck.evidence import Estimate, decode_flags
from firedeck.film.response import density_of
from firedeck.seal.profile import SealProfile
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.prints.calibrating import CalibrationResult
from firedeck.study.prints.found_pieces import standings
from firedeck.study.prints.reading import Comparison, PrintReading

__all__ = [
    "UNITS",
    "curve_columns",
    "difference_columns",
    "leak_columns",
    "piece_columns",
    "reading_record",
    "rule_columns",
    "seal_columns",
    "seal_difference_columns",
    "sector_columns",
]

#: Standard uncertainties to either side of an interval that holds the truth in 95 of 100 cases.
_NORMAL_95 = 1.96

#: Unit of every column.
UNITS: Mapping[str, str] = {
    "length_mm": "mm", "mean_N_per_mm": "N/mm", "mean_low_N_per_mm": "N/mm", "mean_high_N_per_mm": "N/mm",
    "weakest_N_per_mm": "N/mm", "weakest_low_N_per_mm": "N/mm", "weakest_high_N_per_mm": "N/mm",
    "weakest_angle_deg": "degree", "weakest_at_mm": "mm", "weakest_x_mm": "mm", "weakest_y_mm": "mm",
    "fastener_distance_mm": "mm", "peak_MPa": "MPa", "width_mm": "mm", "at_mm": "mm", "angle_deg": "degree",
    "line_load_N_per_mm": "N/mm", "low_N_per_mm": "N/mm", "high_N_per_mm": "N/mm", "noise_N_per_mm": "N/mm",
    "common_N_per_mm": "N/mm", "contact_MPa": "MPa", "contact_low_MPa": "MPa", "contact_high_MPa": "MPa",
    "breach_MPa": "MPa", "breach_low_MPa": "MPa", "breach_high_MPa": "MPa", "x_mm": "mm", "y_mm": "mm",
    "difference_N_per_mm": "N/mm", "pressure_MPa": "MPa", "pressure_low_MPa": "MPa",
    "pressure_high_MPa": "MPa", "smallest_N_per_mm": "N/mm",
}  # fmt: skip


def seal_columns(reading: PrintReading) -> Columns:
    """Return one row a seal."""
    states = {verdict.seal: verdict for verdict in reading.verdict.seals}
    rows: list[dict[str, object]] = []
    for summary in reading.summaries:
        weakest = summary.weakest
        verdict = states[summary.name]
        rows.append(
            {
                "seal": summary.name,
                "kind": str(summary.kind),
                "verdict": str(verdict.state),
                "governed_by": verdict.governing.text,
                "length_mm": summary.length,
                **estimate_columns("mean", summary.mean, "N_per_mm"),
                **estimate_columns("weakest", weakest.line_load if weakest else _UNSEEN, "N_per_mm"),
                "weakest_angle_deg": weakest.angle if weakest else math.nan,
                "weakest_at_mm": weakest.at if weakest else math.nan,
                "weakest_x_mm": weakest.point[0] if weakest else math.nan,
                "weakest_y_mm": weakest.point[1] if weakest else math.nan,
                "fastener": weakest.fastener if weakest else "",
                "fastener_distance_mm": weakest.fastener_distance if weakest else math.nan,
                "evenness": summary.evenness,
                "peak_MPa": summary.peak,
                "width_mm": summary.width,
                "saturated_share": summary.saturated,
                "under_stated_share": summary.under_stated,
                "below_range_share": summary.below,
                "hidden_share": summary.hidden,
                "inferred_share": summary.inferred,
            }
        )
    return columns_of(rows)


_UNSEEN = Estimate(math.nan, math.nan, math.nan)


def sector_columns(profiles: tuple[SealProfile, ...]) -> Columns:
    """Return one row a sector of every seal."""
    columns: Columns = {}
    for profile in profiles:
        table = profile.sectors
        part = {
            "seal": [profile.name] * len(table.at),
            "at_mm": table.at.tolist(),
            "angle_deg": table.angle.tolist(),
            "line_load_N_per_mm": table.line_load.tolist(),
            "low_N_per_mm": table.low.tolist(),
            "high_N_per_mm": table.high.tolist(),
            "noise_N_per_mm": table.noise.tolist(),
            "common_N_per_mm": table.common.tolist(),
            "peak_MPa": table.peak.tolist(),
            "width_mm": table.width.tolist(),
            "inferred_share": table.inferred.tolist(),
            "flags": [" ".join(decode_flags(int(bits))) for bits in table.flags],
        }
        for name, values in part.items():
            columns.setdefault(name, []).extend(values)
    return columns


def leak_columns(reading: PrintReading) -> Columns:
    """Return one row for every pair of media, the one that opens first on top."""
    factor = reading.files.criteria.contact_factor
    return columns_of(
        [
            {
                "a": path.a,
                "b": path.b,
                "seal": path.seal,
                "x_mm": path.point[0],
                "y_mm": path.point[1],
                **estimate_columns("contact", path.joint, "MPa"),
                **estimate_columns("breach", path.breach(factor), "MPa"),
                "flags": " ".join(path.joint.flags),
            }
            for path in reading.leaks
        ]
    )


def rule_columns(reading: PrintReading) -> Columns:
    """Return one row for every rule that was applied to a seal."""
    rows: list[dict[str, object]] = [
        {
            "seal": judged.seal,
            "rule": one.rule,
            "leads_to": str(one.state),
            "because": one.text,
            "backing": one.source,
        }
        for judged in reading.verdict.seals
        for one in judged.reasons
    ]
    return columns_of(rows)


def seal_difference_columns(comparison: Comparison) -> Columns:
    """Return one row for every seal that both prints have."""
    rows: list[dict[str, object]] = [
        {
            "seal": seal.name,
            **estimate_columns("mean", seal.mean, "N_per_mm"),
            **estimate_columns("weakest", seal.weakest, "N_per_mm"),
            "smallest_N_per_mm": seal.smallest,
            "sectors": len(seal.shown),
            "sectors_that_differ": int(seal.shown.sum()),
        }
        for seal in comparison.seals
    ]
    return columns_of(rows)


def curve_columns(response: Response) -> Columns:
    """Return a film's response curve with the 95 % band of its pressure, one row a knot."""
    pressure = np.asarray(response.pressure)
    spread = _NORMAL_95 * np.sqrt(np.clip(np.diag(np.asarray(response.log_covariance)), 0.0, None))
    return {
        "pressure_MPa": pressure.tolist(),
        "pressure_low_MPa": (pressure * np.exp(-spread)).tolist(),
        "pressure_high_MPa": (pressure * np.exp(spread)).tolist(),
        "net_density": list(response.net_density),
    }


def piece_columns(result: CalibrationResult) -> Columns:
    """Return one row for every calibration piece, in reading order."""
    shown = [piece.signal[result.channel] for piece in result.pieces]
    return {
        "piece": list(range(1, len(shown) + 1)),
        "pressure_MPa": [piece.pressure for piece in result.pieces],
        "share_of_light": list(shown),
        "net_density": density_of(shown).tolist(),
        "standing": standings(result),
    }


def difference_columns(comparison: Comparison) -> Columns:
    """Return one row a sector of every seal that both prints have."""
    columns: Columns = {}
    for seal in comparison.seals:
        part = {
            "seal": [seal.name] * len(seal.at),
            "at_mm": seal.at.tolist(),
            "angle_deg": seal.angle.tolist(),
            "difference_N_per_mm": seal.difference.tolist(),
            "low_N_per_mm": seal.low.tolist(),
            "high_N_per_mm": seal.high.tolist(),
            "shown": seal.shown.tolist(),
        }
        for name, values in part.items():
            columns.setdefault(name, []).extend(values)
    return columns


def reading_record(reading: PrintReading) -> dict[str, object]:
    """Return a reading as plain data for JSON; numbers that are not known are null."""
    balance = reading.balance
    record: dict[str, object] = {
        "test": reading.files.test.name,
        "gasket": reading.files.gasket.name,
        "verdict": str(reading.verdict.state),
        "remarks": list(reading.verdict.remarks),
        "notes": list(reading.notes),
        "registration": [
            {
                "scan": sheet.scan.file,
                "mirrored": sheet.registration.mirrored,
                "rotation_deg": sheet.registration.rotation_deg,
                "scale_x": sheet.registration.scale_x,
                "scale_y": sheet.registration.scale_y,
                "holes": sheet.registration.hole_count,
                "hole_rms_mm": sheet.registration.hole_rms,
                "marks": sheet.registration.mark_count,
                "mark_rms_mm": sheet.registration.mark_rms,
            }
            for sheet in reading.sheets
        ],
        "clamp_balance": None
        if balance is None
        else {
            "text": balance.text,
            "fits": balance.fits,
            **estimate_columns("printed", balance.printed, "N"),
            **estimate_columns("in_range", balance.in_range, "N"),
            **estimate_columns("expected", balance.expected, "N"),
            "saturated_area_mm2": balance.saturated_area,
            "below_range_area_mm2": balance.below_area,
        },
        "seals": as_rows(seal_columns(reading)),
        "leak_paths": as_rows(leak_columns(reading)),
        "provenance": dict(reading.map.provenance),
    }
    return {key: plain(value) for key, value in record.items()}

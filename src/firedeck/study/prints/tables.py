"""A reading as plain columns: for CSV, Parquet, JSON and the report."""

from __future__ import annotations

import math
from collections.abc import Mapping

from firedeck.evidence import Estimate, decode_flags
from firedeck.seal.profile import SealProfile
from firedeck.study.columns import Columns, as_rows, columns_of, estimate_columns, plain
from firedeck.study.prints.reading import Comparison, PrintReading

__all__ = ["UNITS", "difference_columns", "leak_columns", "reading_record", "seal_columns", "sector_columns"]

#: Unit of every column.
UNITS: Mapping[str, str] = {
    "length_mm": "mm", "mean_N_per_mm": "N/mm", "mean_low_N_per_mm": "N/mm", "mean_high_N_per_mm": "N/mm",
    "weakest_N_per_mm": "N/mm", "weakest_low_N_per_mm": "N/mm", "weakest_high_N_per_mm": "N/mm",
    "weakest_angle_deg": "degree", "weakest_at_mm": "mm", "weakest_x_mm": "mm", "weakest_y_mm": "mm",
    "fastener_distance_mm": "mm", "peak_MPa": "MPa", "width_mm": "mm", "at_mm": "mm", "angle_deg": "degree",
    "line_load_N_per_mm": "N/mm", "low_N_per_mm": "N/mm", "high_N_per_mm": "N/mm", "noise_N_per_mm": "N/mm",
    "common_N_per_mm": "N/mm", "contact_MPa": "MPa", "contact_low_MPa": "MPa", "contact_high_MPa": "MPa",
    "breach_MPa": "MPa", "breach_low_MPa": "MPa", "breach_high_MPa": "MPa", "x_mm": "mm", "y_mm": "mm",
    "difference_N_per_mm": "N/mm",
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

"""Results as plain columns and rows, for CSV, Parquet and JSON."""

from __future__ import annotations

import math

import numpy as np

from firedeck.evidence import Estimate

__all__ = ["Columns", "as_rows", "columns_of", "estimate_columns", "plain"]

#: Column name -> values; a name carries its unit.
Columns = dict[str, list[object]]


def estimate_columns(name: str, estimate: Estimate, unit: str) -> dict[str, object]:
    """Return value and interval under names that carry the unit, such as ``mean_low_N_per_mm``."""
    return {
        f"{name}_{unit}": estimate.value,
        f"{name}_low_{unit}": estimate.low,
        f"{name}_high_{unit}": estimate.high,
    }


def columns_of(rows: list[dict[str, object]]) -> Columns:
    """Return rows as columns; no columns where there are no rows."""
    return {name: [row[name] for row in rows] for name in rows[0]} if rows else {}


def as_rows(columns: Columns) -> list[dict[str, object]]:
    """Return columns as rows."""
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def plain(value: object) -> object:
    """Replace numbers that JSON cannot hold by null, and NumPy's kinds by Python's."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value

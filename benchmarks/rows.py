"""Rows of figures, with the keys of `benchmarks.table.Figure`; light to load where memory is measured."""

from __future__ import annotations

import math
from typing import Any

__all__ = ["at_least", "at_most", "left_out"]


def at_most(
    name: str,
    value: float,
    unit: str,
    goal: float,
    note: str = "",
    *,
    against: str = "",
    ratio: float | None = None,
) -> dict[str, Any]:
    """Return the row of a figure that must not be greater than its goal."""
    return {
        "name": name, "value": value, "unit": unit, "goal": f"<= {goal:g} {unit}", "met": value <= goal,
        "against": against, "ratio": ratio, "note": note,
    }  # fmt: skip


def at_least(name: str, ratio: float, goal: float, against: str, note: str = "") -> dict[str, Any]:
    """Return the row of a ratio to an alternative that must reach its goal."""
    return {
        "name": name, "value": ratio, "unit": "times", "goal": f">= {goal:g} times", "met": ratio >= goal,
        "against": against, "ratio": ratio, "note": note,
    }  # fmt: skip


def left_out(name: str, why: str) -> dict[str, Any]:
    """Return the row of a figure that was not measured; it has no goal."""
    return {
        "name": name, "value": math.nan, "unit": "", "goal": "", "met": None, "against": "",
        "ratio": None, "note": f"left out: {why}",
    }  # fmt: skip

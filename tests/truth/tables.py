"""From many cases to the figures that the reader must meet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from benchmarks.table import Figure
from tests.truth.case import CaseResult

__all__ = ["figures", "split_lines"]


def _pooled(results: Sequence[CaseResult], name: str) -> np.ndarray:
    return np.concatenate([getattr(result, name) for result in results])


def _judged(results: Sequence[CaseResult]) -> np.ndarray:
    return _pooled(results, "in_range") & ~_pooled(results, "hidden")


def _errors(results: Sequence[CaseResult]) -> np.ndarray:
    judged = _judged(results)
    return np.abs(_pooled(results, "read")[judged] / _pooled(results, "true")[judged] - 1)


def _coverage(results: Sequence[CaseResult]) -> float:
    judged = _judged(results)
    true = _pooled(results, "true")[judged]
    low, high = _pooled(results, "low")[judged], _pooled(results, "high")[judged]
    return float(np.mean((low <= true) & (true <= high)))


def _flagged(results: Sequence[CaseResult]) -> float:
    """Return the share of truly saturated sectors that the reader flagged."""
    top = np.concatenate([np.full(len(result.true), result.top) for result in results])
    over = (_pooled(results, "crown") > top) & ~_pooled(results, "hidden")
    return float(np.mean(_pooled(results, "saturated")[over])) if over.any() else float("nan")


def figures(results: Sequence[CaseResult], made: int) -> list[Figure]:
    """Return every figure with its goal, from the prints read out of those `made`."""
    errors = _errors(results)
    force = np.abs([result.force_error for result in results])
    registration = _pooled(results, "registration")
    felt = np.vstack([result.felt for result in results])
    joint = np.vstack([result.joint for result in results])
    felt_error = felt[:, 1] / felt[:, 0] - 1
    held = float(np.mean((joint[:, 2] <= joint[:, 0]) & (joint[:, 0] <= joint[:, 3])))
    seen = 100 * (1 - float(np.mean(_pooled(results, "hidden"))))
    rows = [
        ("prints made", made, "1", ">= 200", None),
        ("prints refused or failed", made - len(results), "1", "<= 0", None),
        ("sectors judged", len(errors), "1", "", None),
        ("sectors that the print shows", seen, "%", "", None),
        ("sector line load, 95th percentile error", 100 * np.quantile(errors, 0.95), "%", "<= 5 %", None),
        ("sectors within 5 %", 100 * np.mean(errors <= 0.05), "%", ">= 95 %", None),
        (
            "force over the area read, 95th percentile error",
            100 * np.quantile(force, 0.95),
            "%",
            "<= 3 %",
            None,
        ),
        ("registration, 95th percentile", np.quantile(registration, 0.95), "mm", "<= 0.15 mm", None),
        ("95 % intervals that hold the truth", 100 * _coverage(results), "%", "92 to 98 %", None),
        ("weakest place named right", 100 * np.mean(_pooled(results, "weakest")), "%", ">= 95 %", None),
        ("saturated sectors flagged", 100 * _flagged(results), "%", ">= 100 %", None),
        (
            "contact at leak paths as felt, median error",
            100 * abs(np.median(felt_error)),
            "%",
            "<= 3 %",
            None,
        ),
        ("as felt, 95th percentile error", 100 * np.quantile(np.abs(felt_error), 0.95), "%", "<= 12 %", None),
        ("in the joint, intervals that hold the truth", 100 * held, "%", ">= 90 %", None),
    ]
    return [_figure(*row) for row in rows]


def _figure(name: str, value: float, unit: str, goal: str, met: bool | None) -> Figure:
    if goal and met is None:
        numbers = [float(word) for word in goal.split() if word.replace(".", "").isdigit()]
        if goal.startswith("<="):
            met = bool(value <= numbers[0])
        elif goal.startswith(">="):
            met = bool(value >= numbers[0])
        else:
            met = bool(numbers[0] <= value <= numbers[1])
    return Figure(name, float(value), unit, goal, met, against="generated truth")


def split_lines(results: Sequence[CaseResult]) -> list[str]:
    """Return the sector error and coverage of every group of prints that share a trait."""
    lines = []
    for trait in results[0].traits:
        for value in sorted({result.traits[trait] for result in results}):
            part = [result for result in results if result.traits[trait] == value]
            error, coverage = np.quantile(_errors(part), 0.95), _coverage(part)
            lines.append(
                f"{trait:>12} {value:<14} {len(part):4d} prints  p95 error {100 * error:5.2f} %  "
                f"intervals hold {100 * coverage:5.1f} %"
            )
    return lines

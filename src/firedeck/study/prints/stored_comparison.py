"""The comparison of two prints opened again: what every seal that both have differs by."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

from firedeck.errors import FiredeckError
from firedeck.evidence import Estimate
from firedeck.report.words import difference, number

__all__ = ["DifferingSeal", "seal_differences"]


@dataclass(frozen=True)
class DifferingSeal:
    """One seal of both prints, second minus first, in words.

    Attributes
    ----------
    name : str
        The seal.
    mean, weakest : str
        Difference of the mean and of the weakest line load with its interval [N/mm].
    smallest : str
        Smallest difference of the mean that these prints could have shown [N/mm].
    sectors, differ : int
        How many sectors it has, and in how many of them the prints differ [1].
    """

    name: str
    mean: str
    weakest: str
    smallest: str
    sectors: int
    differ: int


def seal_differences(folder: Path) -> list[DifferingSeal]:
    """Return what a comparison that was written says of every seal.

    Parameters
    ----------
    folder : Path
        Folder of the comparison.

    Raises
    ------
    FiredeckError
        If its table cannot be read.
    """
    try:
        with (folder / "seals.csv").open(encoding="utf-8", newline="") as file:
            return [_seal(row) for row in csv.DictReader(file)]
    except (OSError, ValueError, KeyError) as fault:
        raise FiredeckError(
            "the comparison cannot be read", where=folder.name, remedy="compare the prints again"
        ) from fault


def _seal(row: dict[str, str]) -> DifferingSeal:
    mean = _estimate(row, "mean")
    is_bounded = math.isfinite(mean.low) and math.isfinite(mean.high)
    return DifferingSeal(
        row["seal"],
        difference(mean),
        difference(_estimate(row, "weakest")),
        number(float(row["smallest_N_per_mm"]), 2) if is_bounded else "none: saturated",
        int(row["sectors"]),
        int(row["sectors_that_differ"]),
    )


def _estimate(row: dict[str, str], name: str) -> Estimate:
    value, low, high = (float(row[f"{name}{end}_N_per_mm"] or "nan") for end in ("", "_low", "_high"))
    return Estimate(value, low, high)

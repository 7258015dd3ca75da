"""The plain reading's balance: force on the print by kinds of cell, against the preload."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.plain_given import PITCH_MM, Curve, Floats, Given
from benchmarks.plain_map import BELOW, MARKS, SATURATED, UNDER, PlainMap

__all__ = ["Balance", "balance"]

#: Steps of the signal that cells are counted in.
STEPS = 256


@dataclass(frozen=True)
class Balance:
    """Force on the print, its interval, force within the stated range and its doubt, preload [N]."""

    printed: float
    low: float
    high: float
    in_range: float
    in_range_sd: float
    preload: float


def balance(pressed: PlainMap, given: Given) -> Balance:
    """Add up the map: cells clear of pressure, pressed but unread, under the range, in it, saturated."""
    curve, area = given.curve, PITCH_MM**2
    counted = np.isfinite(pressed.value) & ((pressed.flags & MARKS) == 0)
    flags, signal = pressed.flags[counted], pressed.signal[counted]
    clear = 2 * pressed.blank_sd
    kind = np.full(len(flags), 3)
    kind[(flags & UNDER) > 0] = 2
    kind[(flags & SATURATED) > 0] = 4
    below = (flags & BELOW) > 0
    kind[below] = signal[below] > clear
    step = np.clip(signal * STEPS, 0, STEPS - 1).astype(np.int64)
    counts = np.bincount(kind * STEPS + step, minlength=5 * STEPS).reshape(5, STEPS)
    forces = np.bincount(kind, pressed.value[counted], 5) * area
    core = forces[2] + forces[3]
    spread = 1.96 * _common_sd(counts[2] + counts[3], pressed, curve)
    limit = min(float(curve.to_pressure(np.array(clear))), curve.lowest)
    hidden = (counts[1].sum() * curve.lowest + counts[0].sum() * limit) * area
    high = np.inf if counts[4].any() else core + spread + hidden
    return Balance(
        float(forces.sum()), core + forces[4] - spread, float(high), float(forces[3]),
        _common_sd(counts[3], pressed, curve), given.preload,
    )  # fmt: skip


def _common_sd(counts: Floats, pressed: PlainMap, curve: Curve) -> float:
    """Return the error of calibration and blank level of the force on the cells counted [N]."""
    middle = (np.arange(STEPS) + 0.5) / STEPS
    modes = np.array([np.interp(middle, curve.signal, mode) for mode in curve.modes]) @ counts
    zero = (curve.slope(middle) * (1 - middle)) @ counts * pressed.blank_sd
    return float(np.sqrt((modes**2).sum() + zero**2)) * PITCH_MM**2

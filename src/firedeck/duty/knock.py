"""Knock: how strongly the gas in the cylinder rings, cycle by cycle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.statistics import largest_peak
from firedeck.evidence import Estimate
from firedeck.kernel.trace import window_amplitudes

__all__ = ["Knock", "first_mode_frequency", "knock_of_cycles"]

Floats = NDArray[np.float64]

#: Speed of sound in burnt gas [mm/s] that the first mode is placed by. Common practice, no source.
SOUND_SPEED = 950e3
#: First root of the derivative of the Bessel function J1: the first transverse mode of a cylinder.
_FIRST_ROOT = 1.8412
#: Crank angles [deg] in which knock rings, and in which nothing should.
RING_WINDOW, QUIET_WINDOW = (-10.0, 70.0), (-80.0, -30.0)
#: A cycle knocks when it rings this many times louder than it does before burning. Common
#: practice, no source.
_LOUD = 3.0


@dataclass(frozen=True)
class Knock:
    """Ringing of the cycles.

    Attributes
    ----------
    amplitude : ndarray
        Largest band-passed pressure of each cycle, either sign [MPa], shape (c,).
    noise : float
        Median of the same before burning: what the sensor shows without knock [MPa].
    share : float
        Share of cycles that knock [1].
    band : tuple of float
        Band looked at [Hz].
    allowance : Estimate
        What knock may add to the peak in the duty's cycles [MPa].
    notes : tuple of str
        What to doubt.
    """

    amplitude: Floats
    noise: float
    share: float
    band: tuple[float, float]
    allowance: Estimate
    notes: tuple[str, ...] = ()


def first_mode_frequency(bore: float) -> float:
    """Frequency of the first transverse mode of the charge [Hz], for a `bore` [mm]."""
    return _FIRST_ROOT * SOUND_SPEED / (math.pi * bore)


def knock_of_cycles(
    cycles: Floats,
    grid: Floats,
    bore: float,
    speed: float,
    count: int,
    band: tuple[float, float] | None = None,
) -> Knock | None:
    """Measure knock in folded cycles.

    Parameters
    ----------
    cycles : ndarray
        Pressure [MPa], consecutive cycles, shape (c, m).
    grid : ndarray
        Crank angles, evenly spaced over a whole cycle [deg], shape (m,).
    bore : float
        Cylinder bore [mm].
    speed : float
        Engine speed [1/min].
    count : int
        Cycles that the allowance is for.
    band : tuple of float, optional
        Band [Hz]; from 0.8 to 3 times the first mode when not given.

    Returns
    -------
    Knock or None
        None when the record is too coarse in time to show the first mode.
    """
    rate = 6.0 * speed / (grid[1] - grid[0])
    mode = first_mode_frequency(bore)
    low, high = band or (0.8 * mode, 3.0 * mode)
    high = min(high, 0.45 * rate)
    if high < 1.2 * low or (band is None and high < 1.1 * mode):
        return None
    # Loaded here: it takes as long as all else together, and only measured pressures are filtered.
    from scipy import signal

    sections = signal.butter(3, [low, high], btype="bandpass", fs=rate, output="sos")
    ringing = signal.sosfiltfilt(sections, cycles.ravel()).reshape(cycles.shape)
    loud = window_amplitudes(ringing, *np.searchsorted(grid, RING_WINDOW))
    quiet = window_amplitudes(ringing, *np.searchsorted(grid, QUIET_WINDOW))
    noise = float(np.median(quiet))
    knocking = loud > max(_LOUD * noise, 1e-9)
    allowance, notes = _allowance(loud[knocking], loud.size, noise, count)
    return Knock(loud, noise, float(np.mean(knocking)), (low, high), allowance, notes)


def _allowance(ringing: Floats, cycles: int, noise: float, count: int) -> tuple[Estimate, tuple[str, ...]]:
    """Largest ringing to expect, from that of the knocking ones among `cycles` recorded cycles."""
    if ringing.size == 0:
        note = f"no cycle rings louder than {_LOUD:.0f} times the noise of {noise:.3f} MPa"
        return Estimate(0.0, 0.0, _LOUD * noise), (note,)
    most = float(ringing.max())
    if ringing.size < 20:
        note = f"{ringing.size} cycles knocked, too few to say how badly more of them would"
        return Estimate(most, most, float("inf")), (note,)
    expected = max(round(count * ringing.size / cycles), 1)
    found = largest_peak(ringing, expected, law="lognormal")
    note = f"knock carried on by the lognormal law; the loudest cycle recorded rang {most:.2f} MPa"
    return Estimate(max(found.estimate.value, most), most, max(found.estimate.high, most)), (note,)

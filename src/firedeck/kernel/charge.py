"""The charge: its properties before and after it burns, how fast it burns, how it heats the wall."""

from __future__ import annotations

import math
from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

__all__ = ["Gas", "gas_properties", "wiebe_rate", "wiebe_share", "woschni_coefficient"]

Floats = NDArray[np.float64]


class Gas(NamedTuple):
    """Property tables of a charge: before it burns and after.

    Temperatures [K] and logarithms of pressure [ln MPa] are evenly spaced. Energies [N*mm/kg]
    count heat of formation, so that burning needs no separate heat term; gas constants in
    N*mm/(kg*K).
    """

    temperature_low: float
    temperature_step: float
    log_pressure_low: float
    log_pressure_step: float
    fresh_constant: float
    fresh_energy: Floats
    burnt_energy: Floats
    burnt_constant: Floats


@nb.njit(cache=True, nogil=True)
def wiebe_share(position: float, rate: float, exponent: float) -> float:
    """Burnt share [1] at a `position` [1] between start (0) and nominal end (1) of burning.

    The law runs on past its nominal end, where 1 - exp(-rate) is burnt, so that all of the charge
    burns and the pressure has no corner.
    """
    if position <= 0.0:
        return 0.0
    return 1.0 - math.exp(-rate * math.pow(position, exponent + 1.0))


@nb.njit(cache=True, nogil=True)
def wiebe_rate(position: float, rate: float, exponent: float) -> float:
    """Slope of `wiebe_share` with position [1]."""
    if position <= 0.0:
        return 0.0
    power = math.pow(position, exponent)
    return rate * (exponent + 1.0) * power * math.exp(-rate * power * position)


@nb.njit(cache=True, nogil=True)
def woschni_coefficient(bore: float, pressure: float, temperature: float, velocity: float) -> float:
    """Heat-transfer coefficient after Woschni [N/(mm*s*K)]; times 1000 it is in W/(m^2*K).

    Parameters
    ----------
    bore : float
        Cylinder bore [mm].
    pressure : float
        Gas pressure [MPa].
    temperature : float
        Mean gas temperature [K].
    velocity : float
        Characteristic gas velocity [m/s].
    """
    # 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8 with m, kPa, K, m/s: Heywood, Internal Combustion Engine
    # Fundamentals, eq. 12.19 (coefficient from memory; the form is that of SAE 670931)
    metres, kilopascals = bore * 1e-3, pressure * 1e3
    cooling: float = metres**-0.2 * kilopascals**0.8 * temperature**-0.55
    return 3.26e-3 * cooling * math.pow(velocity, 0.8)


@nb.njit(cache=True, nogil=True)
def gas_properties(gas: Gas, temperature: float, pressure: float, burnt: float) -> tuple[float, ...]:
    """Look up a part-burnt charge.

    Parameters
    ----------
    gas : Gas
        Tables.
    temperature, pressure : float
        State [K], [MPa].
    burnt : float
        Burnt mass share [1].

    Returns
    -------
    tuple of float
        Energy [N*mm/kg] and its slopes with temperature, pressure and burnt share; gas constant
        [N*mm/(kg*K)] and its slopes likewise.
    """
    last_t = gas.fresh_energy.size - 2
    last_p = gas.burnt_energy.shape[1] - 2
    place = (temperature - gas.temperature_low) / gas.temperature_step
    i = min(max(int(place), 0), last_t)
    a = place - i
    place = (math.log(pressure) - gas.log_pressure_low) / gas.log_pressure_step
    j = min(max(int(place), 0), last_p)
    b = place - j
    per_t, per_p = 1.0 / gas.temperature_step, 1.0 / (gas.log_pressure_step * pressure)
    fresh = gas.fresh_energy[i] + a * (gas.fresh_energy[i + 1] - gas.fresh_energy[i])
    fresh_t = (gas.fresh_energy[i + 1] - gas.fresh_energy[i]) * per_t
    e00, e10 = gas.burnt_energy[i, j], gas.burnt_energy[i + 1, j]
    e01, e11 = gas.burnt_energy[i, j + 1], gas.burnt_energy[i + 1, j + 1]
    energy = (1.0 - b) * (e00 + a * (e10 - e00)) + b * (e01 + a * (e11 - e01))
    energy_t = ((1.0 - b) * (e10 - e00) + b * (e11 - e01)) * per_t
    energy_p = ((1.0 - a) * (e01 - e00) + a * (e11 - e10)) * per_p
    r00, r10 = gas.burnt_constant[i, j], gas.burnt_constant[i + 1, j]
    r01, r11 = gas.burnt_constant[i, j + 1], gas.burnt_constant[i + 1, j + 1]
    constant = (1.0 - b) * (r00 + a * (r10 - r00)) + b * (r01 + a * (r11 - r01))
    constant_t = ((1.0 - b) * (r10 - r00) + b * (r11 - r01)) * per_t
    constant_p = ((1.0 - a) * (r01 - r00) + a * (r11 - r10)) * per_p
    return (
        (1.0 - burnt) * fresh + burnt * energy,
        (1.0 - burnt) * fresh_t + burnt * energy_t,
        burnt * energy_p,
        energy - fresh,
        (1.0 - burnt) * gas.fresh_constant + burnt * constant,
        burnt * constant_t,
        burnt * constant_p,
        constant - gas.fresh_constant,
    )

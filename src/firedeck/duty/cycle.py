"""The cycle model: from boost, charge, fuel and burning to pressure trace, peak and power."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.cases import CycleInputs, GasStack, prepare_cases, single_gas
from firedeck.duty.gas import GasTable, heated_air
from firedeck.duty.geometry import Cylinder, power_from_bmep
from firedeck.duty.limits import DutyError
from firedeck.evidence import Basis, Source
from firedeck.kernel.cycle import OUTCOME, run_case, run_cases

__all__ = [
    "FRICTION_SOURCE",
    "CycleInputs",
    "CycleResult",
    "SweepResult",
    "friction_pressure",
    "run_cycle",
    "run_motored",
    "sweep_cycles",
]

Floats = NDArray[np.float64]

#: Backing of `friction_pressure`.
FRICTION_SOURCE = Source(Basis.MEMORY, "Chen and Flynn, SAE 650733", "form and coefficients")

_KELVIN = 273.15
_STEP = 0.5


@dataclass(frozen=True)
class CycleResult:
    """One cycle of one cylinder.

    Attributes
    ----------
    angle : ndarray
        Crank angle after firing top dead centre [deg], shape (n,).
    pressure : ndarray
        Absolute pressure [MPa], shape (n,).
    temperature : ndarray
        Mean gas temperature [degC], shape (n,).
    peak, peak_angle : float
        Peak pressure [MPa] and its angle [deg].
    peak_temperature : float
        [degC]
    imep, pmep, fmep, bmep : float
        Indicated (gross), pumping, friction and brake mean effective pressure [MPa].
    power : float
        Brake power of this one cylinder [kW].
    residual : float
        Burnt mass share at intake closing [1].
    charge_mass : float
        Trapped mass [kg].
    closing_pressure, closing_temperature : float
        At intake closing [MPa], [degC].
    opening_temperature : float
        At exhaust opening [degC].
    wall_heat : float
        Heat lost to the walls over the energy released [1].
    balance : float
        Energy that the integration lost over the energy released [1].
    """

    angle: Floats
    pressure: Floats
    temperature: Floats
    peak: float
    peak_angle: float
    peak_temperature: float
    imep: float
    pmep: float
    fmep: float
    bmep: float
    power: float
    residual: float
    charge_mass: float
    closing_pressure: float
    closing_temperature: float
    opening_temperature: float
    wall_heat: float
    balance: float


@dataclass(frozen=True)
class SweepResult:
    """Many cycles; each attribute has shape (n,) and the unit it has in `CycleResult`."""

    peak: Floats
    peak_angle: Floats
    imep: Floats
    fmep: Floats
    bmep: Floats
    power: Floats
    residual: Floats
    balance: Floats


def friction_pressure(peak: Floats | float, piston_speed: Floats | float) -> Floats:
    """Friction mean effective pressure [MPa] after Chen and Flynn; see `FRICTION_SOURCE`.

    Parameters
    ----------
    peak : ndarray or float
        Peak cylinder pressure [MPa].
    piston_speed : ndarray or float
        Mean piston speed [m/s].
    """
    speed = np.asarray(piston_speed, dtype=np.float64)
    return np.asarray(0.04 + 0.005 * np.asarray(peak) + 0.009 * speed + 9e-5 * speed**2)


def run_cycle(
    cylinder: Cylinder, inputs: CycleInputs, *, gas: GasTable | None = None, step: float = _STEP
) -> CycleResult:
    """Run the cycle model once.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    inputs : CycleInputs
        Running condition.
    gas : GasTable, optional
        Use this gas in place of fuel and air.
    step : float
        Largest crank step [deg].

    Returns
    -------
    CycleResult
        The cycle between intake closing and exhaust opening.

    Raises
    ------
    DutyError
        If an input lies outside the model's range or the gas gets hotter than its data reach.
    """
    cases, stack = prepare_cases(cylinder, inputs, {}, gas)
    outcomes = np.zeros(1, dtype=OUTCOME)
    angle, trace = run_case(cases[0], single_gas(stack, cases), float(step), outcomes[0])
    _check_hot(outcomes, stack)
    row, swept = outcomes[0], cylinder.swept_volume
    mean = _mean_pressures(cases, outcomes)
    released = row["released"] if row["released"] > 0.0 else math.nan
    return CycleResult(
        angle=angle,
        pressure=trace[:, 0].copy(),
        temperature=trace[:, 1] - _KELVIN,
        peak=float(row["peak"]),
        peak_angle=float(row["peak_angle"]),
        peak_temperature=float(row["peak_temperature"]) - _KELVIN,
        imep=float(mean["imep"][0]),
        pmep=float(mean["pmep"][0]),
        fmep=float(mean["fmep"][0]),
        bmep=float(mean["bmep"][0]),
        power=power_from_bmep(float(mean["bmep"][0]), swept, inputs.speed),
        residual=float(row["residual"]),
        charge_mass=float(row["mass"]),
        closing_pressure=float(row["closing_pressure"]),
        closing_temperature=float(row["closing_temperature"]) - _KELVIN,
        opening_temperature=float(row["opening_temperature"]) - _KELVIN,
        wall_heat=float(row["heat"] / released),
        balance=float(row["balance"]),
    )


def run_motored(
    cylinder: Cylinder,
    *,
    speed: float,
    manifold_pressure: float = 0.1,
    temperature: float = 30.0,
    wall_temperature: float = 100.0,
    heat_factor: float = 1.0,
) -> CycleResult:
    """Run the cylinder turned without firing, filled with air.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    speed : float
        Engine speed [1/min].
    manifold_pressure : float
        Absolute manifold pressure [MPa].
    temperature, wall_temperature : float
        Of the air as it enters, and of the walls [degC].
    heat_factor : float
        Multiplies the heat-transfer correlation [1].

    Raises
    ------
    DutyError
        If an input lies outside the model's range.
    """
    # the burning that a case must have is put late and carries no heat
    inputs = CycleInputs(
        manifold_pressure,
        temperature,
        speed,
        burn_50=70.0,
        burn_duration=5.0,
        burnt_share=0.0,
        residual=0.0,
        wall_temperature=wall_temperature,
        heat_factor=heat_factor,
    )
    return run_cycle(cylinder, inputs, gas=heated_air(0.0), step=0.25)


def sweep_cycles(
    cylinder: Cylinder,
    inputs: CycleInputs,
    variations: Mapping[str, Floats],
    *,
    gas: GasTable | None = None,
    step: float = _STEP,
) -> SweepResult:
    """Run the cycle model for many conditions at once, on all processors.

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    inputs : CycleInputs
        What stays the same.
    variations : mapping of str to ndarray
        Names of `CycleInputs` fields, or ``"compression_ratio"``, to one value per case; all of
        one length (n,).
    gas : GasTable, optional
        Use this gas in place of fuel and air.
    step : float
        Largest crank step [deg].

    Raises
    ------
    DutyError
        As `run_cycle`, or if the variations differ in length or in name.
    """
    cases, stack = prepare_cases(cylinder, inputs, variations, gas)
    outcomes = np.zeros(cases.size, dtype=OUTCOME)
    workers = min(os.cpu_count() or 1, max(cases.size // 8, 1))
    parts = np.array_split(np.arange(cases.size), workers)

    def work(part: NDArray[np.intp]) -> None:
        own = slice(int(part[0]), int(part[-1]) + 1)
        run_cases(cases[own], *stack, float(step), outcomes[own])

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(work, parts))
    _check_hot(outcomes, stack)
    mean = _mean_pressures(cases, outcomes)
    return SweepResult(
        outcomes["peak"].copy(),
        outcomes["peak_angle"].copy(),
        mean["imep"],
        mean["fmep"],
        mean["bmep"],
        mean["bmep"] * _swept(cases) * cases["speed"] / 120.0 * 1e-6,
        outcomes["residual"].copy(),
        outcomes["balance"].copy(),
    )


def _check_hot(outcomes: NDArray[Any], stack: GasStack) -> None:
    gas = stack[0]
    high = gas.temperature_low + gas.temperature_step * (stack[2].shape[1] - 1)
    hottest = float(np.max(outcomes["peak_temperature"]))
    if not hottest <= high:
        raise DutyError(
            f"the charge would reach {hottest:.0f} K; its data end at {high:.0f} K",
            remedy="check charge temperature, compression ratio and burn duration",
        )


def _swept(cases: NDArray[Any]) -> Floats:
    return np.asarray(0.25 * np.pi * cases["bore"] ** 2 * cases["stroke"])


def _mean_pressures(cases: NDArray[Any], outcomes: NDArray[Any]) -> dict[str, Floats]:
    swept = _swept(cases)
    imep = (outcomes["work"] + outcomes["open_work"]) / swept
    pmep = cases["exhaust_pressure"] - cases["manifold_pressure"]
    fmep = friction_pressure(outcomes["peak"], 2.0 * cases["stroke"] * 1e-3 * cases["speed"] / 60.0)
    return {"imep": imep, "pmep": pmep, "fmep": fmep, "bmep": imep - pmep - fmep}

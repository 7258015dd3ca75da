"""Duty: the cycle model against a plain integration, a sweep, and a million-sample pressure trace.

Run as a script for a table; a collector calls `figures`. The plain integration is the same physics
on the same gas tables by scipy's general solver; both peaks are compared before any figure is given.
Times are the least disturbed of several rounds, compiled beforehand.
"""

from __future__ import annotations

import math
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator

from firedeck.definition.trace_mapping import TraceMapping
from firedeck.duty.cases import WIEBE_RATE, CycleInputs, wiebe_position
from firedeck.duty.cycle import run_cycle, sweep_cycles
from firedeck.duty.gas import GasTable, charge_gas
from firedeck.duty.geometry import Cylinder
from firedeck.duty.phasing import stated_top_dead_centre
from firedeck.duty.trace import analyse_trace
from firedeck.files.trace_file import read_trace_file

CYLINDER = Cylinder(86.0, 86.0, 143.0, 9.5, -130.0, 130.0)
# lambda on a node of the gas tables, residual stated: the plain integration has no fixed point to find
INPUTS = CycleInputs(0.25, 50.0, 6500.0, 10.0, 25.0, air_ratio=0.86, residual=0.0)
SWEEP, SAMPLES = 10_000, 1_000_000


def main() -> None:
    """Print the table."""
    for figure in figures():
        ratio = f"{figure['ratio']:.3g} times {figure['against']}" if figure["ratio"] else ""
        goal = {True: "met", False: "MISSED", None: ""}[figure["met"]]
        value = f"{figure['value']:10.4g} {figure['unit']:3}"
        print(f"{figure['name']:48} {value} {figure['goal']:9} {goal:7} {ratio}")


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure.

    Returns
    -------
    list of dict
        ``name``, ``value``, ``unit``, ``goal``, ``met``, ``against`` and ``ratio``.
    """
    return [*_cycle_figures(), *_sweep_figures(), *_trace_figures()]


def _figure(
    name: str, value: float, unit: str, limit: float | None, against: str = "", ratio: float | None = None
) -> dict[str, Any]:
    goal = "" if limit is None else f"<= {limit:g} {unit}"
    met = None if limit is None else value <= limit
    return {
        "name": name,
        "value": value,
        "unit": unit,
        "goal": goal,
        "met": met,
        "against": against,
        "ratio": ratio,
    }


def _least(work: Callable[[], object], rounds: int) -> float:
    best = math.inf
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def _built_gas() -> object:
    charge_gas.cache_clear()
    return charge_gas("petrol", 0.86)


def _cycle_figures() -> list[dict[str, Any]]:
    table = charge_gas("petrol", 0.86)
    ours, plain = run_cycle(CYLINDER, INPUTS), _plain_peak(table)
    if abs(plain / ours.peak - 1.0) > 2e-3:
        raise AssertionError(f"the two integrations disagree: {ours.peak} and {plain} MPa")
    quick = _least(lambda: run_cycle(CYLINDER, INPUTS), 10)
    slow = _least(lambda: _plain_peak(table), 2)
    full = CycleInputs(0.25, 50.0, 6500.0, 10.0, 25.0, air_ratio=0.85)
    settled = _least(lambda: run_cycle(CYLINDER, full), 10)
    charge_gas.cache_clear()
    build = _least(_built_gas, 3)
    coarse, fine = (run_cycle(CYLINDER, full, step=step) for step in (0.5, 0.25))
    return [
        _figure(
            "cycle model, one run", quick * 1e3, "ms", 50.0, "solve_ivp on the same tables", slow / quick
        ),
        _figure("cycle model, one run with residual gas solved", settled * 1e3, "ms", 50.0),
        _figure("gas tables of one mixture", build * 1e3, "ms", None),
        _figure("peak when the step is halved", abs(fine.peak / coarse.peak - 1.0) * 100.0, "%", 0.1),
        _figure("first-law residual of a run", abs(coarse.balance) * 100.0, "%", 0.1),
    ]


def _plain_peak(table: GasTable) -> float:
    """Peak pressure [MPa] of `INPUTS` by a general solver, every property looked up afresh."""
    gas = table.gas
    temperatures = gas.temperature_low + gas.temperature_step * np.arange(gas.fresh_energy.size)
    pressures = gas.log_pressure_low + gas.log_pressure_step * np.arange(gas.burnt_energy.shape[1])
    burnt_energy = RegularGridInterpolator((temperatures, pressures), gas.burnt_energy)
    burnt_constant = RegularGridInterpolator((temperatures, pressures), gas.burnt_constant)
    exponent = INPUTS.wiebe_exponent
    at = {share: wiebe_position(share, exponent) for share in (0.1, 0.5, 0.9)}
    length = INPUTS.burn_duration / (at[0.9] - at[0.1])
    start = INPUTS.burn_50 - at[0.5] * length
    first = float(CYLINDER.volume(CYLINDER.intake_closes))
    kelvin, wall = INPUTS.charge_temperature + 273.15, INPUTS.wall_temperature + 273.15
    mass = INPUTS.manifold_pressure * first / (gas.fresh_constant * kelvin)

    def state(angle: float, temperature: float, pressure: float) -> tuple[float, float]:
        y = max((angle - start) / length, 0.0)
        burnt = INPUTS.burnt_share * (1.0 - math.exp(-WIEBE_RATE * y ** (exponent + 1.0)))
        place = [[temperature, math.log(pressure)]]
        energy = np.interp(temperature, temperatures, gas.fresh_energy)
        energy = (1.0 - burnt) * energy + burnt * burnt_energy(place)[0]
        return float(energy), (1.0 - burnt) * gas.fresh_constant + burnt * burnt_constant(place)[0]

    def slope(angle: float, values: np.ndarray) -> list[float]:
        temperature, pressure = values
        volume = float(CYLINDER.volume(angle))
        grow = float(CYLINDER.volume(angle + 1e-3) - CYLINDER.volume(angle - 1e-3)) / 2e-3
        motored = INPUTS.manifold_pressure * (first / volume) ** 1.33
        velocity = 2.28 * 2 * CYLINDER.stroke * 1e-3 * INPUTS.speed / 60
        if angle > start:
            share = 3.24e-3 * CYLINDER.swept_volume * kelvin / (INPUTS.manifold_pressure * first)
            velocity += share * max(pressure - motored, 0.0)
        film = 3.26e-3 * (CYLINDER.bore * 1e-3) ** -0.2 * (pressure * 1e3) ** 0.8
        film *= temperature**-0.55 * velocity**0.8
        area = math.pi / 2 * CYLINDER.bore**2 + 4 * volume / CYLINDER.bore
        lost = film * area * (temperature - wall) / (6 * INPUTS.speed)
        # slopes of the state by differences: energy and gas law are two equations for two unknowns
        dt, dp, da = 0.5, pressure * 1e-3, 1e-3
        u, r = state(angle, temperature, pressure)
        u_t, r_t = (
            (b - a) / dt for a, b in zip((u, r), state(angle, temperature + dt, pressure), strict=True)
        )
        u_p, r_p = (
            (b - a) / dp for a, b in zip((u, r), state(angle, temperature, pressure + dp), strict=True)
        )
        u_a, r_a = (
            (b - a) / da for a, b in zip((u, r), state(angle + da, temperature, pressure), strict=True)
        )
        left = [
            [mass * u_t, mass * u_p],
            [mass * (r + temperature * r_t), mass * temperature * r_p - volume],
        ]
        right = [-pressure * grow - lost - mass * u_a, pressure * grow - mass * temperature * r_a]
        return list(np.linalg.solve(left, right))

    found = solve_ivp(
        slope,
        (CYLINDER.intake_closes, CYLINDER.exhaust_opens),
        [kelvin, INPUTS.manifold_pressure],
        rtol=1e-6,
        max_step=1.0,
    )
    return float(found.y[1].max())


def _sweep_figures() -> list[dict[str, Any]]:
    random = np.random.default_rng(0)
    variations = {
        "burn_50": random.normal(10.0, 2.0, SWEEP),
        "manifold_pressure": random.uniform(0.1, 0.4, SWEEP),
        "air_ratio": random.uniform(0.8, 1.0, SWEEP),
        "compression_ratio": random.uniform(8.0, 12.0, SWEEP),
    }
    start = time.perf_counter()
    found = sweep_cycles(CYLINDER, CycleInputs(0.25, 50.0, 6500.0, 10.0, 25.0), variations)
    taken = time.perf_counter() - start
    worst = float(np.abs(found.balance).max()) * 100.0
    return [
        _figure(f"sweep of {SWEEP} cases", taken, "s", 60.0),
        _figure(f"worst first-law residual of {SWEEP} cases", worst, "%", 0.1),
    ]


def _trace_figures() -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trace.csv"
        _write_trace(path)
        mapping = TraceMapping(speed="5000 1/min")

        def read() -> Any:  # noqa: ANN401
            return read_trace_file(path, mapping)[0]

        def work() -> float:
            return analyse_trace(
                read(), CYLINDER, top_dead_centre=stated_top_dead_centre(0.0)
            ).peak.mean.value

        work()
        reading, whole = _least(read, 3), _least(work, 3)
        plain = _least(lambda: pd.read_csv(path, sep=";", decimal=",", skiprows=1, header=None), 3)
    return [
        _figure(
            f"read {SAMPLES} samples of text",
            reading,
            "s",
            None,
            "pandas reading the same file",
            plain / reading,
        ),
        _figure(
            f"file of {SAMPLES} samples to peak statistics",
            whole,
            "s",
            1.0,
            "pandas, reading alone",
            plain / whole,
        ),
    ]


def _write_trace(path: Path) -> None:
    cycle = run_cycle(CYLINDER, INPUTS)
    angle = np.arange(SAMPLES) * 0.5
    within = (angle + 360.0) % 720.0 - 360.0
    pressure = np.interp(within, cycle.angle, cycle.pressure, left=0.25, right=0.25)
    pressure += 0.01 * np.random.default_rng(1).standard_normal(SAMPLES)
    table = pd.DataFrame({"crank [deg]": within, "pcyl [bar]": 10.0 * pressure})
    table.to_csv(path, sep=";", decimal=",", index=False, float_format="%.3f")


if __name__ == "__main__":
    main()

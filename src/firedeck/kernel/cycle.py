"""Single-zone engine cycle from intake closing to exhaust opening, over gas property tables.

Units throughout: mm, MPa, N*mm for energy, kg, K, crank angle in deg after firing top dead
centre. The equations stand in the theory page on duty.
"""

from __future__ import annotations

import math
from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray

from firedeck.kernel.charge import Gas, gas_properties, wiebe_rate, wiebe_share, woschni_coefficient
from firedeck.kernel.crank import cylinder_volume, volume_rate, wall_area

__all__ = ["CASE", "OUTCOME", "crank_grid", "run_case", "run_cases"]

Floats = NDArray[np.float64]
#: One entry of an array of `CASE` or `OUTCOME`.
Record = np.void


_CASE_FIELDS = (
    "bore",  # [mm]
    "stroke",  # [mm]
    "rod",  # [mm]
    "ratio",  # compression ratio [1]
    "intake_closes",  # [deg after firing top dead centre, negative]
    "exhaust_opens",  # [deg after firing top dead centre]
    "speed",  # [1/min]
    "manifold_pressure",  # absolute [MPa]
    "exhaust_pressure",  # absolute [MPa]
    "charge_temperature",  # [K]
    "filling",  # fresh charge over manifold density times swept volume [1]; NaN: from pressure
    "residual",  # burnt mass share at intake closing [1]; NaN: solved for
    "burn_start",  # [deg]
    "burn_duration",  # from first to last of the Wiebe law [deg]
    "wiebe_exponent",  # m of y^(m+1) [1]
    "wiebe_rate",  # a [1]
    "burnt_share",  # share of the fresh charge that burns at all [1]
    "wall_temperature",  # [K]
    "heat_factor",  # multiplies the heat-transfer correlation [1]
    "gas_weight",  # weight of the next gas table [1]
)
#: One case of the cycle model; a field per input, see the comments beside the names.
CASE = np.dtype([(name, np.float64) for name in _CASE_FIELDS] + [("gas_index", np.int64)])

#: What one case answers: pressures [MPa], temperatures [K], angle [deg], energies [N*mm],
#: masses [kg]; `work` is done while the valves are shut, `open_work` between them and bottom dead
#: centre; `balance` is the energy that the integration lost over the energy released [1].
OUTCOME = np.dtype(
    [
        (name, np.float64)
        for name in (
            "peak",
            "peak_angle",
            "peak_temperature",
            "work",
            "open_work",
            "heat",
            "mass",
            "residual",
            "closing_pressure",
            "closing_temperature",
            "opening_pressure",
            "opening_temperature",
            "released",
            "balance",
        )
    ]
)

#: The Wiebe law is spent by this multiple of its nominal duration.
BURN_REACH = 1.5
#: Exponent of the motored pressure that the heat-transfer correlation compares with.
MOTORED_EXPONENT = 1.33


@nb.njit(cache=True, nogil=True)
def _burnt_share(case: Record, angle: float, residual: float) -> float:
    position = (angle - case["burn_start"]) / case["burn_duration"]
    share: float = case["burnt_share"] * wiebe_share(position, case["wiebe_rate"], case["wiebe_exponent"])
    return residual + (1.0 - residual) * share


@nb.njit(cache=True, nogil=True)
def _burn_slope(case: Record, angle: float, residual: float) -> float:
    position = (angle - case["burn_start"]) / case["burn_duration"]
    slope = wiebe_rate(position, case["wiebe_rate"], case["wiebe_exponent"])
    share: float = case["burnt_share"] * slope / case["burn_duration"]
    return (1.0 - residual) * share


@nb.njit(cache=True, nogil=True)
def _heat_rate(
    case: Record, start: Floats, angle: float, temperature: float, pressure: float, volume: float
) -> float:
    """Heat from gas to wall [N*mm/deg]; `start` holds p [MPa], T [K], V [mm^3] at intake closing."""
    if case["heat_factor"] == 0.0:
        return 0.0
    velocity = 2.28 * 2.0 * case["stroke"] * 1e-3 * case["speed"] / 60.0
    if angle > case["burn_start"]:
        swept = 0.25 * math.pi * case["bore"] ** 2 * case["stroke"]
        motored = start[0] * (start[2] / volume) ** MOTORED_EXPONENT
        above = max(pressure - motored, 0.0)
        velocity += 3.24e-3 * swept * start[1] / (start[0] * start[2]) * above
    film = woschni_coefficient(case["bore"], pressure, temperature, velocity)
    seconds_per_degree = 1.0 / (6.0 * case["speed"])
    heat: float = case["heat_factor"] * film * (temperature - case["wall_temperature"])
    heat *= wall_area(volume, case["bore"]) * seconds_per_degree
    return heat


@nb.njit(cache=True, nogil=True)
def _slopes(
    case: Record,
    gas: Gas,
    start: Floats,
    mass: float,
    residual: float,
    angle: float,
    temperature: float,
    pressure: float,
) -> tuple[float, float, float, float]:
    """Slopes per degree of temperature, pressure, heat to the wall and work on the piston."""
    volume = cylinder_volume(angle, case["bore"], case["stroke"], case["rod"], case["ratio"])
    grow = volume_rate(angle, case["bore"], case["stroke"], case["rod"])
    burn = _burn_slope(case, angle, residual)
    burnt = _burnt_share(case, angle, residual)
    _, u_t, u_p, u_x, r, r_t, r_p, r_x = gas_properties(gas, temperature, pressure, burnt)
    heat = _heat_rate(case, start, angle, temperature, pressure, volume)
    work = pressure * grow
    room = volume - mass * temperature * r_p
    rise = mass * (r + temperature * r_t) / room
    lift = (mass * temperature * r_x * burn - work) / room
    t_slope = (-work - heat - mass * u_x * burn - mass * u_p * lift) / (mass * (u_t + u_p * rise))
    return t_slope, rise * t_slope + lift, heat, work


@nb.njit(cache=True, nogil=True)
def crank_grid(case: Record, step: float, parts: int) -> Floats:
    """Crank angles [deg] from intake closing to exhaust opening, finer while the charge burns.

    Parameters
    ----------
    case : CASE record
        The case.
    step : float
        Largest step [deg].
    parts : int
        While the charge burns, no step is more than the burn duration over this.
    """
    first, last = case["intake_closes"], case["exhaust_opens"]
    ignite = min(max(case["burn_start"], first), last)
    done = min(max(ignite + BURN_REACH * case["burn_duration"], first), last)
    ends = (first, ignite, done, last)
    steps = (step, min(step, case["burn_duration"] / parts), step)
    counts = np.zeros(3, dtype=np.int64)
    for k in range(3):
        counts[k] = max(math.ceil((ends[k + 1] - ends[k]) / steps[k] - 1e-9), 0)
    grid = np.empty(counts.sum() + 1)
    grid[0] = first
    place = 1
    for k in range(3):
        for i in range(1, counts[k] + 1):
            grid[place] = ends[k] + (ends[k + 1] - ends[k]) * i / counts[k]
            place += 1
    return grid


@nb.njit(cache=True, nogil=True)
def _integrate(
    case: Record, gas: Gas, start: Floats, mass: float, residual: float, grid: Floats, trace: Floats
) -> tuple[float, float]:
    """Fill `trace` with pressure [MPa] and temperature [K] per grid angle; return heat and work [N*mm]."""
    pressure, temperature = start[0], start[1]
    heat = work = 0.0
    trace[0, 0], trace[0, 1] = pressure, temperature
    for i in range(grid.size - 1):
        angle, h = grid[i], grid[i + 1] - grid[i]
        t1, p1, q1, w1 = _slopes(case, gas, start, mass, residual, angle, temperature, pressure)
        middle = angle + 0.5 * h
        t2, p2, q2, w2 = _slopes(
            case, gas, start, mass, residual, middle, temperature + 0.5 * h * t1, pressure + 0.5 * h * p1
        )
        t3, p3, q3, w3 = _slopes(
            case, gas, start, mass, residual, middle, temperature + 0.5 * h * t2, pressure + 0.5 * h * p2
        )
        t4, p4, q4, w4 = _slopes(
            case, gas, start, mass, residual, angle + h, temperature + h * t3, pressure + h * p3
        )
        temperature += h * (t1 + 2.0 * t2 + 2.0 * t3 + t4) / 6.0
        pressure += h * (p1 + 2.0 * p2 + 2.0 * p3 + p4) / 6.0
        heat += h * (q1 + 2.0 * q2 + 2.0 * q3 + q4) / 6.0
        work += h * (w1 + 2.0 * w2 + 2.0 * w3 + w4) / 6.0
        trace[i + 1, 0], trace[i + 1, 1] = pressure, temperature
    return heat, work


@nb.njit(cache=True, nogil=True)
def _close_intake(
    case: Record, gas: Gas, residual: float, residual_temperature: float, start: Floats
) -> float:
    """Set p, T, V at intake closing in `start`; return the trapped mass [kg]."""
    volume = cylinder_volume(case["intake_closes"], case["bore"], case["stroke"], case["rod"], case["ratio"])
    temperature: float = (1.0 - residual) * case["charge_temperature"] + residual * residual_temperature
    pressure: float = case["manifold_pressure"]
    constant = gas_properties(gas, temperature, pressure, residual)[4]
    if not math.isnan(case["filling"]):
        swept = 0.25 * math.pi * case["bore"] ** 2 * case["stroke"]
        density = case["manifold_pressure"] / (gas.fresh_constant * case["charge_temperature"])
        pressure = case["filling"] * density * swept / (1.0 - residual) * constant * temperature / volume
    start[0], start[1], start[2] = pressure, temperature, volume
    return pressure * volume / (constant * temperature)


@nb.njit(cache=True, nogil=True)
def _left_over(
    case: Record, gas: Gas, mass: float, pressure: float, temperature: float
) -> tuple[float, float]:
    """Share and temperature [K] of burnt gas that stays behind, blown down without heat loss."""
    _, u_t, _, _, r, _, _, _ = gas_properties(gas, temperature, pressure, 1.0)
    falls = min(case["exhaust_pressure"] / pressure, 1.0)
    left_temperature = temperature * falls ** (r / (r + u_t))
    clearance = 0.25 * math.pi * case["bore"] ** 2 * case["stroke"] / (case["ratio"] - 1.0)
    return case["exhaust_pressure"] * clearance / (r * left_temperature) / mass, left_temperature


@nb.njit(cache=True, nogil=True)
def _open_work(case: Record, closing: float, opening: float) -> float:
    """Work between the valve events and bottom dead centre [N*mm].

    Pressure is taken as even before intake closing, and as falling in proportion to crank angle
    from its value at exhaust opening to that of the exhaust at bottom dead centre.
    """
    bore, stroke, rod, ratio = case["bore"], case["stroke"], case["rod"], case["ratio"]
    largest = cylinder_volume(180.0, bore, stroke, rod, ratio)
    work = closing * (cylinder_volume(case["intake_closes"], bore, stroke, rod, ratio) - largest)
    parts = 40
    span = 180.0 - case["exhaust_opens"]
    before = cylinder_volume(case["exhaust_opens"], bore, stroke, rod, ratio)
    for i in range(parts):
        after = cylinder_volume(case["exhaust_opens"] + span * (i + 1) / parts, bore, stroke, rod, ratio)
        middle = opening + (case["exhaust_pressure"] - opening) * (i + 0.5) / parts
        work += middle * (after - before)
        before = after
    return work


@nb.njit(cache=True, nogil=True)
def _find_peak(grid: Floats, pressures: Floats) -> tuple[float, float]:
    """Top of the parabola through the highest point and its neighbours: pressure and angle."""
    k = int(np.argmax(pressures))
    if k == 0 or k == grid.size - 1:
        return pressures[k], grid[k]
    left, right = grid[k] - grid[k - 1], grid[k + 1] - grid[k]
    fall, rise = (pressures[k] - pressures[k - 1]) / left, (pressures[k + 1] - pressures[k]) / right
    bend = (rise - fall) / (left + right)
    if bend >= 0.0:
        return pressures[k], grid[k]
    slope = fall + bend * left
    return pressures[k] - 0.25 * slope * slope / bend, grid[k] - 0.5 * slope / bend


@nb.njit(cache=True, nogil=True)
def run_case(case: Record, gas: Gas, step: float, outcome: Record) -> tuple[Floats, Floats]:
    """Run one case, repeating it until the burnt gas left over agrees with itself.

    Parameters
    ----------
    case : CASE record
        The case.
    gas : Gas
        Its property tables.
    step : float
        Largest crank step [deg].
    outcome : OUTCOME record
        Filled in.

    Returns
    -------
    tuple of ndarray
        Crank angles [deg], shape (n,), and trace, shape (n, 2): pressure [MPa], temperature [K].
    """
    start = np.empty(3)
    residual, left_temperature = _settle(case, gas, step, start)
    grid = crank_grid(case, step, 100)
    trace = np.empty((grid.size, 2))
    mass = _close_intake(case, gas, residual, left_temperature, start)
    heat, work = _integrate(case, gas, start, mass, residual, grid, trace)
    _tell(case, gas, grid, trace, start, mass, residual, heat, work, outcome)
    return grid, trace


@nb.njit(cache=True, nogil=True)
def _settle(case: Record, gas: Gas, step: float, start: Floats) -> tuple[float, float]:
    """Share [1] and temperature [K] of burnt gas that a cycle inherits, when it leaves the same behind."""
    solve = math.isnan(case["residual"])
    residual = 0.03 if solve else case["residual"]
    temperature = 1100.0
    # only the state at exhaust opening matters here, which coarse steps give well enough
    grid = crank_grid(case, 4.0 * step, 25)
    trace = np.empty((grid.size, 2))
    for _ in range(30):
        mass = _close_intake(case, gas, residual, temperature, start)
        _integrate(case, gas, start, mass, residual, grid, trace)
        share, left = _left_over(case, gas, mass, trace[-1, 0], trace[-1, 1])
        settled = residual == 0.0 or abs(left - temperature) < 0.5
        if settled and (not solve or abs(share - residual) < 1e-5):
            break
        temperature = left
        residual = min(share, 0.5) if solve else residual
    return residual, temperature


@nb.njit(cache=True, nogil=True)
def _tell(
    case: Record,
    gas: Gas,
    grid: Floats,
    trace: Floats,
    start: Floats,
    mass: float,
    residual: float,
    heat: float,
    work: float,
    outcome: Record,
) -> None:
    peak, angle = _find_peak(grid, trace[:, 0])
    first = gas_properties(gas, start[1], start[0], _burnt_share(case, grid[0], residual))[0]
    burnt = _burnt_share(case, grid[-1], residual)
    last = gas_properties(gas, trace[-1, 1], trace[-1, 0], burnt)[0]
    # the same burning at the closing state, as the measure of what was released
    unburnt = gas_properties(gas, start[1], start[0], residual)[0]
    released = mass * (unburnt - gas_properties(gas, start[1], start[0], burnt)[0])
    outcome["peak"] = peak
    outcome["peak_angle"] = angle
    outcome["peak_temperature"] = np.max(trace[:, 1])
    outcome["work"] = work
    outcome["open_work"] = _open_work(case, start[0], trace[-1, 0])
    outcome["heat"] = heat
    outcome["mass"] = mass
    outcome["residual"] = residual
    outcome["closing_pressure"] = start[0]
    outcome["closing_temperature"] = start[1]
    outcome["opening_pressure"] = trace[-1, 0]
    outcome["opening_temperature"] = trace[-1, 1]
    outcome["released"] = released
    scale = released if released > 0.0 else mass * gas.fresh_constant * start[1]
    outcome["balance"] = (mass * (last - first) + work + heat) / scale


@nb.njit(cache=True, nogil=True)
def _blend(
    gas: Gas,
    constants: Floats,
    fresh: Floats,
    energies: Floats,
    burnt_constants: Floats,
    index: int,
    weight: float,
) -> Gas:
    """Gas between table `index` and the next."""
    other = min(index + 1, constants.size - 1)
    return Gas(
        gas.temperature_low,
        gas.temperature_step,
        gas.log_pressure_low,
        gas.log_pressure_step,
        (1.0 - weight) * constants[index] + weight * constants[other],
        (1.0 - weight) * fresh[index] + weight * fresh[other],
        (1.0 - weight) * energies[index] + weight * energies[other],
        (1.0 - weight) * burnt_constants[index] + weight * burnt_constants[other],
    )


@nb.njit(cache=True, nogil=True)
def run_cases(
    cases: NDArray[Any],
    gas: Gas,
    constants: Floats,
    fresh: Floats,
    energies: Floats,
    burnt_constants: Floats,
    step: float,
    outcomes: NDArray[Any],
) -> None:
    """Run many cases; each blends the two gas tables that its ``gas_index`` and ``gas_weight`` name.

    Parameters
    ----------
    cases, outcomes : ndarray of CASE, ndarray of OUTCOME
        Inputs, and the results that are filled in; shape (n,).
    gas : Gas
        Gives the spacing that all tables share.
    constants, fresh, energies, burnt_constants : ndarray
        Tables of all gases, first axis the gas; units as in `Gas`.
    step : float
        Largest crank step [deg].
    """
    for i in range(cases.size):
        case = cases[i]
        mixed = _blend(
            gas, constants, fresh, energies, burnt_constants, case["gas_index"], case["gas_weight"]
        )
        run_case(case, mixed, step, outcomes[i])

"""The cycle model: closed balance, convergence, limits, plain refusals."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firedeck.duty.cases import WIEBE_RATE, CycleInputs, wiebe_position
from firedeck.duty.cycle import friction_pressure, run_cycle, run_motored, sweep_cycles
from firedeck.duty.gas import charge_gas, heated_air, perfect_gas
from firedeck.duty.geometry import Cylinder
from firedeck.duty.limits import LIMITS, DutyError

CYLINDER = Cylinder(86.0, 86.0, 143.0, 9.5, -130.0, 130.0)
INPUTS = CycleInputs(
    manifold_pressure=0.25,
    charge_temperature=50.0,
    speed=6500.0,
    burn_50=10.0,
    burn_duration=25.0,
    air_ratio=0.85,
)


@pytest.mark.parametrize("fuel", ["petrol", "ethanol", "methanol", "E85"])
@pytest.mark.parametrize("air_ratio", [0.75, 1.0, 1.25])
def test_first_law_closes(fuel, air_ratio):
    cycle = run_cycle(CYLINDER, replace(INPUTS, fuel=fuel, air_ratio=air_ratio))
    assert abs(cycle.balance) < 1e-3


def test_work_and_heat_account_for_the_energy_of_the_gas():
    # the balance again, from the trace alone: work by quadrature, energy from the charge's tables
    table = charge_gas("petrol", 0.86)
    inputs = replace(INPUTS, air_ratio=0.86, residual=0.0, heat_factor=0.0)
    cycle = run_cycle(CYLINDER, inputs, gas=table, step=0.125)
    work = np.trapezoid(cycle.pressure, CYLINDER.volume(cycle.angle))
    gas = table.gas
    axis = gas.temperature_low + gas.temperature_step * np.arange(gas.fresh_energy.size)
    before = np.interp(cycle.temperature[0] + 273.15, axis, gas.fresh_energy)
    column = round((math.log(cycle.pressure[-1]) - gas.log_pressure_low) / gas.log_pressure_step)
    hot = cycle.temperature[-1] + 273.15
    burnt = np.interp(hot, axis, gas.burnt_energy[:, column])
    fresh = np.interp(hot, axis, gas.fresh_energy)
    after = inputs.burnt_share * burnt + (1.0 - inputs.burnt_share) * fresh
    released = cycle.charge_mass * table.fuel_share * table.heating_value * 1e9
    assert cycle.charge_mass * (before - after) == pytest.approx(work, abs=1e-3 * released)


def test_halving_the_step_leaves_the_peak():
    peaks = [run_cycle(CYLINDER, INPUTS, step=step).peak for step in (1.0, 0.5, 0.25)]
    assert peaks[1] == pytest.approx(peaks[0], rel=1e-3)
    assert peaks[2] == pytest.approx(peaks[1], rel=1e-3)


def test_agrees_with_a_plain_integration():
    """The same physics by a general solver, gas of constant specific heats."""
    gas_constant, cv, heat = 0.28, 0.85, 2600.0
    inputs = replace(INPUTS, residual=0.0, burnt_share=1.0, heat_factor=1.0)
    cycle = run_cycle(CYLINDER, inputs, gas=perfect_gas(gas_constant, cv, heat=heat), step=0.25)
    exponent = inputs.wiebe_exponent
    at = {share: wiebe_position(share, exponent) for share in (0.1, 0.5, 0.9)}
    length = inputs.burn_duration / (at[0.9] - at[0.1])
    start = inputs.burn_50 - at[0.5] * length
    closed = CYLINDER.volume(CYLINDER.intake_closes)
    mass = 0.25 * closed / (gas_constant * 1e6 * 323.15)

    def slope(angle, state):
        temperature = state[0]
        volume = float(CYLINDER.volume(angle))
        grow = float(CYLINDER.volume(angle + 1e-3) - CYLINDER.volume(angle - 1e-3)) / 2e-3
        pressure = mass * gas_constant * 1e6 * temperature / volume
        y = max((angle - start) / length, 0.0)
        burn = (
            WIEBE_RATE * (exponent + 1) * y**exponent * math.exp(-WIEBE_RATE * y ** (exponent + 1)) / length
        )
        motored = 0.25 * (closed / volume) ** 1.33
        piston = 2 * 0.086 * 6500 / 60
        fast = 3.24e-3 * CYLINDER.swept_volume * 323.15 / (0.25 * closed) * max(pressure - motored, 0.0)
        velocity = 2.28 * piston + (fast if angle > start else 0.0)
        film = 3.26 * 0.086**-0.2 * (pressure * 1e3) ** 0.8 * temperature**-0.55 * velocity**0.8 * 1e-3
        wall = math.pi / 2 * 86.0**2 + 4 * volume / 86.0
        lost = film * wall * (temperature - 453.15) / (6 * 6500)
        return [(mass * heat * 1e6 * burn - lost - pressure * grow) / (mass * cv * 1e6)]

    plain = solve_ivp(slope, (-130.0, 130.0), [323.15], rtol=1e-8, max_step=0.5, t_eval=cycle.angle)
    pressures = mass * gas_constant * 1e6 * plain.y[0] / CYLINDER.volume(cycle.angle)
    assert cycle.peak == pytest.approx(pressures.max(), rel=1e-3)
    np.testing.assert_allclose(cycle.pressure, pressures, rtol=2e-3)


def test_sweep_gives_what_single_runs_give():
    burn = np.array([2.0, 8.0, 20.0])
    ratios = np.array([8.0, 9.0, 11.0])
    mixture = np.array([0.8, 0.913, 1.0])
    swept = sweep_cycles(
        CYLINDER, INPUTS, {"burn_50": burn, "compression_ratio": ratios, "air_ratio": mixture}
    )
    for k in range(3):
        cylinder = replace(CYLINDER, compression_ratio=float(ratios[k]))
        single = run_cycle(cylinder, replace(INPUTS, burn_50=float(burn[k]), air_ratio=float(mixture[k])))
        assert swept.peak[k] == pytest.approx(single.peak, rel=1e-9)
        assert swept.bmep[k] == pytest.approx(single.bmep, rel=1e-9)
        assert swept.power[k] == pytest.approx(single.power, rel=1e-9)


def test_what_a_tuner_expects():
    base = run_cycle(CYLINDER, INPUTS)
    assert run_cycle(CYLINDER, replace(INPUTS, manifold_pressure=0.3)).peak > base.peak
    assert run_cycle(CYLINDER, replace(INPUTS, burn_50=20.0)).peak < base.peak
    assert run_cycle(replace(CYLINDER, compression_ratio=11.0), INPUTS).peak > base.peak
    assert run_cycle(CYLINDER, replace(INPUTS, charge_temperature=80.0)).imep < base.imep
    assert run_cycle(replace(CYLINDER, intake_closes=-110.0), INPUTS).peak < base.peak
    assert 4.0 < base.peak / base.imep < 6.6
    assert 0.0 < base.residual < 0.08


def test_filling_sets_the_trapped_charge():
    full = run_cycle(CYLINDER, replace(INPUTS, filling=1.0, residual=0.0))
    half = run_cycle(CYLINDER, replace(INPUTS, filling=0.5, residual=0.0))
    assert full.charge_mass == pytest.approx(2 * half.charge_mass, rel=1e-9)
    gas = charge_gas("petrol", 0.86).gas
    density = 0.25 / (gas.fresh_constant * 323.15)
    assert full.charge_mass == pytest.approx(density * CYLINDER.swept_volume, rel=2e-3)


def test_back_pressure_costs_power_and_leaves_more_behind():
    free = run_cycle(CYLINDER, replace(INPUTS, exhaust_pressure=0.15))
    choked = run_cycle(CYLINDER, replace(INPUTS, exhaust_pressure=0.4))
    assert choked.residual > 2 * free.residual
    assert choked.bmep < free.bmep
    assert (free.pmep, choked.pmep) == pytest.approx((-0.1, 0.15))


def test_motored_peak_leads_top_dead_centre_by_heat_loss_alone():
    assert run_motored(CYLINDER, speed=2000.0, heat_factor=0.0).peak_angle == pytest.approx(0.0, abs=0.02)
    assert -1.5 < run_motored(CYLINDER, speed=2000.0).peak_angle < -0.1


def test_friction_grows_with_pressure_and_speed():
    # Chen and Flynn, SAE 650733, form and coefficients from memory: 0.4 bar + 0.005 pmax
    # + 0.09 bar/(m/s) Sp + 0.0009 Sp^2
    assert float(friction_pressure(12.0, 20.0)) == pytest.approx(0.316)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"manifold_pressure": -0.05}, "absolute manifold pressure is -0.05 MPa"),
        ({"manifold_pressure": 2.5}, "absolute manifold pressure is 2.5 MPa"),
        ({"air_ratio": 14.7}, "lambda"),
        ({"charge_temperature": 323.0}, "charge temperature"),
        ({"burn_50": -60.0}, "50 % burnt"),
        ({"burn_duration": 120.0, "burn_50": -20.0}, "before the intake has closed"),
        ({"fuel": "coal"}, "no fuel is called 'coal'"),
        ({"residual": 0.9}, "residual"),
        ({"speed": math.nan}, "engine speed"),
    ],
)
def test_refuses_what_the_model_does_not_cover(change, words):
    with pytest.raises(DutyError) as refusal:
        run_cycle(CYLINDER, replace(INPUTS, **change))
    assert words in str(refusal.value)
    assert refusal.value.remedy


def test_refuses_a_charge_hotter_than_its_data():
    with pytest.raises(DutyError, match="its data end at 3800 K"):
        run_cycle(CYLINDER, replace(INPUTS, heat_factor=0.0), gas=heated_air(9000.0))


def test_refuses_strange_variations():
    with pytest.raises(DutyError, match="no input 'boost'"):
        sweep_cycles(CYLINDER, INPUTS, {"boost": np.ones(3)})
    with pytest.raises(DutyError, match="differ in number"):
        sweep_cycles(CYLINDER, INPUTS, {"speed": np.full(3, 5000.0), "burn_50": np.ones(2)})


def test_a_cylinder_must_compress():
    with pytest.raises(DutyError, match="not compressed below 1"):
        replace(CYLINDER, compression_ratio=0.95)
    with pytest.raises(DutyError, match="cannot turn a stroke"):
        replace(CYLINDER, rod=40.0)


def test_limits_are_told_in_their_unit():
    assert all(limit.low < limit.high for limit in LIMITS.values())
    with pytest.raises(DutyError, match=r"300 to 20000 1/min"):
        run_cycle(CYLINDER, replace(INPUTS, speed=100.0))

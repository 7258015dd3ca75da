"""Laws that hold for every duty: geometry, energy, monotony, and files that say the same in other words."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firedeck.definition.trace_mapping import TraceMapping
from firedeck.duty.cases import CycleInputs
from firedeck.duty.cycle import run_cycle
from firedeck.duty.gas import perfect_gas
from firedeck.duty.geometry import (
    Cylinder,
    bmep_from_power,
    bmep_from_torque,
    power_from_bmep,
)
from firedeck.duty.statistics import LAWS, largest_peak
from firedeck.files.trace_file import read_trace_file

cylinders = st.builds(
    lambda bore, stroke, rod, ratio: Cylinder(bore, stroke, rod * stroke, ratio, -130.0, 130.0),
    st.floats(60.0, 130.0),
    st.floats(50.0, 130.0),
    st.floats(1.3, 2.5),
    st.floats(6.0, 14.0),
)
inputs = st.builds(
    CycleInputs,
    manifold_pressure=st.floats(0.05, 0.5),
    charge_temperature=st.floats(0.0, 100.0),
    speed=st.floats(1000.0, 10000.0),
    burn_50=st.floats(0.0, 40.0),
    burn_duration=st.floats(10.0, 50.0),
    air_ratio=st.sampled_from([0.7, 0.85, 1.0, 1.3]),
    fuel=st.sampled_from(["petrol", "ethanol"]),
)


@given(cylinders, st.floats(-360.0, 360.0))
def test_volume_lies_between_its_ends(cylinder, angle):
    volume = float(cylinder.volume(angle))
    assert cylinder.clearance_volume * (1 - 1e-12) <= volume
    assert volume <= cylinder.clearance_volume * cylinder.compression_ratio * (1 + 1e-12)
    assert volume == pytest.approx(float(cylinder.volume(-angle)))


@given(st.floats(10.0, 2000.0), st.floats(1e5, 1e7), st.floats(500.0, 15000.0))
def test_power_torque_and_mean_pressure_agree(power, swept, speed):
    bmep = bmep_from_power(power, swept, speed)
    torque = power * 1e6 / (2 * math.pi * speed / 60.0)
    assert bmep_from_torque(torque, swept) == pytest.approx(bmep)
    assert power_from_bmep(bmep, swept, speed) == pytest.approx(power)


@settings(max_examples=60)
@given(cylinders, inputs)
def test_first_law_closes_everywhere(cylinder, condition):
    cycle = run_cycle(cylinder, condition)
    assert abs(cycle.balance) < 1e-3
    assert cycle.pressure.max() <= cycle.peak <= cycle.pressure.max() * 1.01
    assert cycle.pressure.min() > 0.0


@settings(max_examples=30)
@given(cylinders, st.floats(1.2, 1.45), st.floats(0.05, 0.5))
def test_without_burning_and_heat_loss_compression_is_isentropic(cylinder, gamma, pressure):
    gas = perfect_gas(0.287, 0.287 / (gamma - 1.0))
    condition = CycleInputs(pressure, 30.0, 3000.0, 10.0, 20.0, residual=0.0, heat_factor=0.0)
    cycle = run_cycle(cylinder, condition, gas=gas)
    invariant = cycle.pressure * cylinder.volume(cycle.angle) ** gamma
    np.testing.assert_allclose(invariant, invariant[0], rtol=1e-5)


@settings(max_examples=30)
@given(cylinders, inputs, st.floats(1.05, 1.5))
def test_more_boost_means_more_peak_and_more_work(cylinder, condition, more):
    plain = run_cycle(cylinder, condition)
    boosted = run_cycle(
        cylinder, CycleInputs(**{**vars(condition), "manifold_pressure": condition.manifold_pressure * more})
    )
    assert boosted.peak > plain.peak
    assert boosted.imep > plain.imep


@settings(max_examples=40)
@given(
    st.integers(0, 10_000),
    st.sampled_from(LAWS),
    st.floats(0.5, 3.0),
    st.floats(1.0, 20.0),
)
def test_extremes_follow_the_scale(seed, law, scale, mean):
    values = mean + 0.05 * mean * np.random.default_rng(seed).standard_normal(200)
    one, other = largest_peak(values, 5000, law=law), largest_peak(values * scale, 5000, law=law)
    assert other.estimate.value == pytest.approx(one.estimate.value * scale, rel=1e-6)
    assert one.estimate.low <= one.estimate.value <= one.estimate.high
    assert largest_peak(values, 50_000, law=law).estimate.value >= one.estimate.value


@settings(max_examples=25)
@given(
    st.sampled_from([";", "\t", "|"]),
    st.booleans(),
    st.sampled_from(["bar", "kPa", "MPa", "psi"]),
    st.integers(0, 4),
    st.booleans(),
)
def test_same_trace_in_other_words(tmp_path_factory, delimiter, comma, unit, comments, trailing):
    angle = np.arange(400) * 2.0 % 720.0
    pressure = 0.1 + 5.0 * np.exp(-(((angle - 370.0) / 30.0) ** 2))
    factor = {"bar": 10.0, "kPa": 1e3, "MPa": 1.0, "psi": 145.0377377}[unit]
    rows = [
        f"{a:.1f}{delimiter}{p * factor:.6f}" + delimiter * trailing
        for a, p in zip(angle, pressure, strict=True)
    ]
    body = "\n".join(rows).replace(".", "," if comma else ".")
    head = "# a comment\n" * comments + f"crank [deg]{delimiter}pcyl [{unit}]\n"
    path = tmp_path_factory.mktemp("traces") / "trace.txt"
    path.write_text(head + body, encoding="utf-8")
    (record,) = read_trace_file(path, TraceMapping(speed="3000 1/min"))
    np.testing.assert_allclose(record.pressure, pressure, atol=2e-6)
    np.testing.assert_allclose(np.diff(record.angle), 2.0)

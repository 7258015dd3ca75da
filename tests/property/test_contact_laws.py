"""Laws that every balanced joint and every closure law obeys."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from firedeck.contact import ClosureLaw, Warmth, tighten
from firedeck.contact.law import law_tables
from firedeck.kernel.closure import point_loads, stored_energy
from tests.contact_joints import bead_law, square_joint

PRELOADS = st.lists(st.floats(2e3, 25e3), min_size=4, max_size=4)


def preloads_of(joint, values):
    return {seat.name: value for seat, value in zip(joint.seats, values, strict=True)}


@given(PRELOADS, st.floats(0.0, 25.0), st.floats(0.0, 0.3), st.sampled_from(["fast", "check"]))
@settings(max_examples=25)
def test_every_state_balances_forces_and_moments_without_tension(values, pressure, relaxation, level):
    joint = square_joint()
    steps = tighten(joint, preloads_of(joint, values), level=level, shares=(0.5, 1.0))
    settled = steps[-1].settle(embedding=0.002, relaxation=relaxation)
    warm = settled.warm(Warmth([(0.0, 160.0), (10.0, 120.0)], [(0.0, 110.0), (50.0, 90.0)], 95.0))
    for state in (*steps, settled, warm, warm.fire({"bore": pressure})):
        assert state.certificate.sound
        assert state.certificate.residual <= 1e-8
        assert state.certificate.force_error <= 1e-7
        assert state.certificate.moment_error <= 1e-7
        assert state.balance.load.min() >= 0.0
        assert state.tension.min() >= 0.0


def test_a_symmetric_joint_is_elastically_symmetric():
    joint = square_joint(symmetric=True)
    places = joint.kept_places
    mirrored = np.array([np.argmin(np.hypot(*(places - [120.0 - x, y]).T)) for x, y in places])
    stiffness = joint.pair.stiffness
    assert np.abs(stiffness[np.ix_(mirrored, mirrored)] - stiffness).max() <= 1e-9 * stiffness.max()
    gas = joint.pair.arriving[:, joint.pair.names.index("gas bore")]
    assert gas[mirrored] == pytest.approx(gas, abs=1e-9 * np.abs(gas).max())


@given(st.floats(4e3, 20e3), st.floats(1.02, 1.5))
@settings(max_examples=15)
def test_more_torque_never_clamps_less(preload, factor):
    joint = square_joint()
    loads = []
    for value in (preload, preload * factor):
        state = tighten(joint, preloads_of(joint, [value] * 4), shares=(1.0,))[-1]
        loads.append(state.balance.load.sum())
    assert loads[1] > loads[0]


@given(st.floats(4e3, 20e3), st.floats(0.5, 20.0))
@settings(max_examples=15)
def test_gas_takes_from_the_seals_and_gives_to_the_fasteners(preload, pressure):
    joint = square_joint()
    state = tighten(joint, preloads_of(joint, [preload] * 4), shares=(1.0,))[-1]
    fired = state.fire({"bore": pressure})
    assert fired.balance.load.sum() < state.balance.load.sum()
    assert fired.tension.sum() > state.tension.sum()
    # Back without gas, the joint is where it was: no point met more closure than before.
    if np.all(fired.largest <= state.largest + 1e-12):
        assert fired.fire({}).tension == pytest.approx(state.tension, rel=1e-7)


LAWS = st.tuples(st.floats(20.0, 500.0), st.floats(0.03, 0.3), st.floats(0.2, 0.95)).map(
    lambda given_: ClosureLaw.from_table(
        "drawn",
        [(0.0, 0.0), (0.5 * given_[1], 0.3 * given_[0]), (given_[1], given_[0])],
        [[(given_[1], given_[0]), (given_[1] * given_[2], 0.0)]],
    )
)


def load_path(law, path):
    """Loads over a path of closures from fresh, the largest closure remembered."""
    tables = law_tables([law])
    largest, loads = np.zeros(1), []
    zero, one = np.zeros(1, dtype=np.int64), np.ones(1)
    for closure in path:
        load, slope = np.zeros(1), np.zeros(1)
        point_loads(np.array([closure]), largest, zero, one, tables, load, slope)
        largest = np.maximum(largest, closure)
        loads.append(load[0])
    return np.array(loads)


@given(LAWS, arrays(float, 40, elements=st.floats(-0.05, 0.35)))
def test_a_gasket_point_never_pulls_and_never_gives_energy(law, turns):
    path = np.concatenate([np.linspace(a, b, 60) for a, b in zip([0.0, *turns], [*turns, 0.0], strict=True)])
    loads = load_path(law, path)
    work = np.sum(0.5 * (loads[1:] + loads[:-1]) * np.diff(path))
    assert loads.min() >= 0.0
    assert work >= -1e-3 * loads.max() * 0.35


@given(LAWS, st.floats(0.01, 0.4), st.integers(0, 100))
def test_load_rises_with_closure_whatever_was_met(law, largest, seed):
    tables = law_tables([law])
    closure = np.sort(np.random.default_rng(seed).uniform(-0.05, 0.5, 200))
    load, slope = np.zeros(200), np.zeros(200)
    zero = np.zeros(200, dtype=np.int64)
    point_loads(closure, np.full(200, largest), zero, np.ones(200), tables, load, slope)
    assert np.all(np.diff(load) >= -1e-9 * load.max())
    assert slope.min() >= 0.0


@given(LAWS, st.floats(0.02, 0.3))
def test_slope_is_that_of_the_load(law, closure):
    tables = law_tables([law])
    zero, one, largest = np.zeros(1, dtype=np.int64), np.ones(1), np.array([0.25])
    load, slope = np.zeros((3, 1)), np.zeros((3, 1))
    h = 1e-7
    for k, at in enumerate((closure - h, closure, closure + h)):
        point_loads(np.array([at]), largest, zero, one, tables, load[k], slope[k])
    one_sided = sorted([(load[1, 0] - load[0, 0]) / h, (load[2, 0] - load[1, 0]) / h])
    assert one_sided[0] - 1e-2 * one_sided[1] - 1.0 <= slope[1, 0] <= one_sided[1] * 1.01 + 1.0


@given(LAWS, LAWS, st.floats(0.05, 0.95), st.floats(0.0, 1.0))
def test_in_series_closures_add_at_equal_load_also_on_the_way_back(first, second, share, fall):
    top = share * min(first.load[-1], second.load[-1])
    both = first.in_series(second)
    closures = [float(law.at_load(np.array([top]))[0][0]) for law in (first, second, both)]
    assert closures[2] == pytest.approx(closures[0] + closures[1], rel=1e-9)
    recoveries = [law.at_load(np.array([top]))[1][0] for law in (first, second, both)]
    assert recoveries[2] == pytest.approx(recoveries[0] + recoveries[1], rel=1e-2, abs=1e-6)
    at = closures[2] - fall * recoveries[2][0]
    loads = load_path(both, [closures[2], at])
    assert loads[1] <= loads[0] * (1.0 + 1e-9)


def test_a_cycle_of_the_bead_keeps_what_lies_between_its_branches():
    law = bead_law("bead", 300.0, 0.12, 1.2)
    tables = law_tables([law])
    zero, one = np.zeros(1, dtype=np.int64), np.ones(1)
    up = stored_energy(np.array([0.12]), np.zeros(1), np.zeros(1), zero, one, tables)
    back = stored_energy(np.zeros(1), np.array([0.12]), np.array([0.12]), zero, one, tables)
    # Up: 300 (0.4/2 + 0.6/4) 0.12 less what straight lines between rows add. Back: two triangles and a strip.
    assert up == pytest.approx(12.6, rel=5e-3)
    assert back == pytest.approx(-(0.015 * 0.5 * (300.0 + 105.0) + 0.015 * 0.5 * 105.0), rel=2e-2)

"""Laws of fastening that hold for any numbers: statics, monotony, round trips, no tension."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firedeck.definition.thread import parse_thread
from firedeck.kernel.bolt import thermal_preload
from firedeck.kernel.interaction import balance
from firedeck.loading.gas_load import Bores, CylinderPressure, PlacedPreloads, clamp_ratios, share_fasteners
from firedeck.loading.interaction import Bed, SharedJoint, tighten
from firedeck.loading.joint_diagram import GasketedJoint, LinearJoint, LoadingLine
from firedeck.loading.preload import friction_from_test, preload_for_torque, torque_for_preload, torque_shares
from firedeck.loading.sequence import centre_out, even_in_one_pass, staged_moves
from firedeck.loading.spread import preload_spread
from firedeck.loading.strength import check_stripping
from firedeck.loading.yielding import check_yield, preload_at_yield
from tests.fasteners import stud, tightening

STUD = stud()
friction = st.floats(0.03, 0.35)
torque = st.floats(5e3, 3e5)
preload = st.floats(1e3, 2e5)
stiffness = st.floats(2e4, 2e6)


@given(preload, friction, friction)
def test_torque_and_preload_are_inverse(force, thread, bearing):
    turned = torque_for_preload(STUD, force, thread, bearing)
    assert preload_for_torque(STUD, turned, thread, bearing) == pytest.approx(force, rel=1e-12)


@given(torque, friction, friction, st.floats(1.01, 2.0))
def test_more_torque_more_preload_more_friction_less(turned, thread, bearing, factor):
    base = preload_for_torque(STUD, turned, thread, bearing)
    assert preload_for_torque(STUD, turned * factor, thread, bearing) > base
    assert preload_for_torque(STUD, turned, thread * factor, bearing) < base
    assert preload_for_torque(STUD, turned, thread, bearing * factor) < base


@given(preload, friction, friction)
def test_friction_comes_back_from_a_torque_test(force, thread, bearing):
    whole = float(torque_for_preload(STUD, force, thread, bearing))
    in_thread = whole * (1.0 - torque_shares(STUD, thread, bearing).bearing)
    assert friction_from_test(STUD, force, whole, in_thread) == pytest.approx((thread, bearing), rel=1e-9)


@given(friction, friction)
def test_work_of_the_wrench_is_shared_out(thread, bearing):
    shares = torque_shares(STUD, thread, bearing)
    assert shares.pitch + shares.thread + shares.bearing == pytest.approx(1.0)
    # one turn: what is not friction lifts the load by one pitch
    lifted = shares.pitch * float(torque_for_preload(STUD, 1.0, thread, bearing)) * 2.0 * np.pi
    assert lifted == pytest.approx(STUD.turned_thread.pitch, rel=1e-9)


@given(friction, st.floats(0.3, 1.0))
def test_yield_check_and_yield_preload_agree(mu, share):
    check = check_yield(STUD, preload_at_yield(STUD, mu, share), mu, mu)
    assert check.utilisation == pytest.approx(share, rel=1e-9)
    assert preload_at_yield(STUD, mu) < STUD.smallest_area * 1100.0


@given(
    st.sampled_from(["M6", "M8x1", "M10x1.25", "M11x1.5", "M14x1.5", "3/8-24", "7/16-20", "1/2-13", "5/8-18"])
)
def test_thread_diameters_are_in_order(name):
    thread = parse_thread(name)
    limits = thread.limits
    assert thread.root_diameter < thread.minor_diameter < thread.pitch_diameter < thread.diameter
    assert limits.external_pitch_min < thread.pitch_diameter < limits.internal_pitch_max
    assert thread.minor_diameter < limits.internal_minor_max < limits.internal_pitch_max
    assert limits.internal_pitch_max < limits.external_major_min < thread.diameter


@given(st.floats(5.0, 40.0), st.floats(1.1, 3.0))
def test_stripping_load_grows_with_engagement(length, factor):
    def weakest(engagement):
        hole = STUD.hole.model_copy(update={"engagement": engagement})
        return check_stripping(STUD.model_copy(update={"hole": hole}))[0].load

    assert weakest(length * factor) == pytest.approx(factor * weakest(length), rel=1e-9)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_spread_parts_add_in_quadrature(correlation, common):
    ends = {"low": 0.08, "high": 0.16}
    paste = {"name": "paste", "thread": ends, "bearing": ends, "correlation": correlation, "common": common}
    found = preload_spread(STUD, tightening({"torque": "90 N*m"}, lubricant=paste), 1e-6)
    independent = sum(part.standard**2 for part in found.contributions) ** 0.5
    together = sum(part.standard for part in found.contributions)
    assert independent * (1.0 - 1e-9) <= found.standard <= together
    assert found.mean_of(10**6).high == pytest.approx(found.typical * np.exp(1.96 * found.common), rel=1e-3)


@given(stiffness, stiffness, preload, st.floats(-2e5, 4e5))
def test_linear_joint_balances(bolt, clamped, force, load):
    joint = LinearJoint(bolt, clamped, force)
    state = joint.under(load)
    assert state.fastener - state.clamp == pytest.approx(load, abs=1e-6 * (force + abs(load)))
    assert state.clamp >= 0.0
    assert state.opening == pytest.approx((state.fastener - force) / bolt, abs=1e-9)


@st.composite
def gaskets(draw):
    steps = draw(st.lists(st.tuples(st.floats(0.02, 0.2), st.floats(2e4, 4e5)), min_size=1, max_size=4))
    closures, forces = np.cumsum([s[0] for s in steps]), np.cumsum([s[1] for s in steps])
    steepest = max(force / closure for closure, force in steps)
    return LoadingLine(tuple(closures), tuple(forces), steepest * draw(st.floats(1.0, 5.0)))


@given(gaskets(), stiffness, st.floats(1e4, 8e5), st.floats(-6e5, 1.2e6))
def test_gasketed_joint_balances_and_never_pulls(law, studs, force, load):
    joint = GasketedJoint(studs, law, force)
    state = joint.under(load)
    scale = force + abs(load)
    assert state.fastener - state.clamp == pytest.approx(load, abs=1e-6 * scale)
    assert state.fastener == pytest.approx(force + studs * state.opening, abs=1e-6 * scale)
    assert state.clamp >= 0.0


@given(gaskets(), stiffness, st.floats(1e4, 8e5))
def test_a_gasket_that_unloads_steeply_gives_way_sooner(law, studs, force):
    soft = LoadingLine(law.closures, law.forces, 0.5 * law.unloading_stiffness)
    assert (
        GasketedJoint(studs, law, force).separation_load < GasketedJoint(studs, soft, force).separation_load
    )


@given(st.floats(1e4, 1e5), st.floats(1e-6, 2e-5), st.floats(1e-6, 2e-5), st.floats(-0.05, 0.2))
def test_thermal_change_divides_by_the_sum_of_compliances(force, bolt, members, misfit):
    change = thermal_preload(force, bolt + members, bolt + members, misfit) - force
    assert change == pytest.approx(max(misfit / (bolt + members), -force), rel=1e-6, abs=1e-6)
    # a rigid joint overstates the change; 1e-6 N is rounding
    rigid = thermal_preload(force, bolt, bolt, misfit) - force
    assert abs(rigid) >= abs(change) - 1e-6


def spread_positions(count):
    place = st.tuples(st.floats(-250.0, 250.0), st.floats(-80.0, 80.0))
    return st.lists(place, min_size=count, max_size=count)


@given(spread_positions(6), spread_positions(8), st.lists(preload, min_size=6, max_size=6))
def test_bed_answers_with_the_fasteners_force_and_moments(fasteners, springs, forces):
    corners = [(-250.0, -80.0), (250.0, -80.0), (-250.0, 80.0), (250.0, 80.0)]
    places, bed = np.array(fasteners + corners), np.array(springs + corners)
    each = np.full(len(bed), 2e4)
    pull = np.concatenate([forces, np.zeros(4)])
    give = Bed.from_points(bed, each).compliance(places) @ pull
    # the head is rigid: its movement at the fasteners is one plane, which the springs feel
    plane, *_ = np.linalg.lstsq(np.column_stack([np.ones(len(places)), places]), give, rcond=None)
    assert np.column_stack([np.ones(len(places)), places]) @ plane == pytest.approx(give, abs=1e-9)
    answer = each * (np.column_stack([np.ones(len(bed)), bed]) @ plane)
    total = pull.sum()
    assert answer.sum() == pytest.approx(total, rel=1e-8)
    assert answer @ bed == pytest.approx(pull @ places, abs=1e-6 * total * 250.0)


def test_beds_of_one_shape_agree():
    # a rectangle of springs, point by point, against the closed form; a ring against points on it
    x, y = np.meshgrid((np.arange(200) + 0.5) * 2.0 - 200.0, (np.arange(60) + 0.5) * 2.0 - 60.0)
    points = Bed.from_points(np.column_stack([x.ravel(), y.ravel()]), 4.0 * 3.0)
    closed = Bed.from_rectangle(400.0, 120.0, 3.0)
    assert points.stiffness == pytest.approx(closed.stiffness)
    assert points.moments == pytest.approx(closed.moments, rel=1e-3, abs=1.0)
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    circle = np.column_stack([30.0 + 45.0 * np.cos(angle), 5.0 + 45.0 * np.sin(angle)])
    ring, turned = Bed.from_rings([(30.0, 5.0)], 90.0, 4e3), Bed.from_points(circle, 4e3 * np.pi * 90.0 / 720)
    assert ring.stiffness == pytest.approx(turned.stiffness)
    assert ring.centre == pytest.approx(turned.centre)
    assert ring.moments == pytest.approx(turned.moments, rel=1e-9, abs=1e-3)


@st.composite
def joints(draw):
    count = draw(st.integers(2, 6))
    seed = draw(st.integers(0, 2**32 - 1))
    factor = np.random.default_rng(seed).normal(size=(count, count))
    joint = 1e-6 * (factor @ factor.T + 0.1 * np.eye(count))
    return SharedJoint.build(joint, draw(stiffness))


@given(joints(), st.lists(st.floats(-0.05, 0.3), min_size=6, max_size=6))
def test_no_fastener_pushes_and_none_is_forgotten(joint, turned):
    advance = np.array(turned[: len(joint.names)])
    held = balance(joint.joint, joint.fastener, advance, np.full(len(advance), fill_value=True))
    slack = joint.joint @ held + joint.fastener * held - advance
    assert held.min() >= 0.0
    assert slack.min() >= -1e-9
    assert np.abs(held * slack).max() <= 1e-8 * max(held.max(), 1.0)


@given(joints(), st.lists(preload, min_size=6, max_size=6), st.permutations(range(6)))
def test_the_last_one_tightened_holds_its_target(joint, targets, order):
    names = [joint.names[k] for k in order if k < len(joint.names)]
    history = tighten(joint, staged_moves(names, [targets[0]]))
    last = history.final[joint.index(names[-1])]
    assert last >= targets[0] * (1.0 - 1e-9)
    assert history.preload.min() >= 0.0


@given(spread_positions(7), preload)
def test_planned_step_preloads_end_even_whatever_the_order(places, wanted):
    bed = Bed.from_rectangle(560.0, 200.0, 30.0)
    joint = SharedJoint.build(bed.compliance(places), 150e3)
    plan = even_in_one_pass(joint, wanted, centre_out(places))
    assert plan.history.final == pytest.approx(np.full(7, wanted), rel=1e-7)


@given(
    st.integers(1, 6),
    st.floats(85.0, 110.0),
    st.floats(46.0, 60.0),
    st.lists(preload, min_size=14, max_size=14),
)
def test_cylinders_share_out_the_whole_clamp(cylinders, pitch, offset, forces):
    bores = Bores.build([(pitch * k, 0.0) for k in range(cylinders)], 84.0)
    places = [(pitch * (k - 0.5), side * offset) for side in (-1, 1) for k in range(cylinders + 1)]
    held = np.array(forces[: len(places)])
    found = clamp_ratios(bores, PlacedPreloads(np.array(places), held), CylinderPressure(15.0))
    assert sum(row.clamp for row in found) == pytest.approx(held.sum())
    assert sum(row.fasteners for row in found) == pytest.approx(len(places))
    assert [row.ratio.value for row in found] == sorted(row.ratio.value for row in found)
    assert share_fasteners(bores, places, "nearest").sum(axis=0) == pytest.approx(np.ones(len(places)))

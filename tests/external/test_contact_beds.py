"""Bars on beds: elastic foundation, lift-off, joint diagrams and elastic interaction in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.contact import BoreGas, ClosureLaw, faces, tighten
from tests.contact_bodies import material
from tests.rigid_joints import bar_on_bed

LENGTH, WIDTH, HEIGHT, MODULUS = 480.0, 16.0, 10.0, 72400.0
BENDING = MODULUS * WIDTH * HEIGHT**3 / 12.0
#: One over the characteristic length [1/mm], and what bed that asks for [N/mm^2].
BETA = 0.01
BED = 4.0 * BENDING * BETA**4


def beam(pull=1000.0, beta=BETA):
    law = ClosureLaw.linear("bed", 4.0 * BENDING * beta**4 / WIDTH)
    studs = {"left": (40.0, 4.0), "middle": (240.0, 8.0), "right": (440.0, 4.0)}
    joint = bar_on_bed((LENGTH, WIDTH, HEIGHT), 4.0, studs, law, head=material(MODULUS, 1e-6))
    return tighten(joint, {"left": 0.0, "middle": pull, "right": 0.0}, shares=(1.0,), level="check")[-1]


@pytest.fixture(scope="module")
def lifted():
    return beam()


def contact_length(state):
    pressed = state.balance.load > 0.0
    return np.ptp(state.joint.laid.places[pressed, 0])


def test_beam_lifts_off_its_bed_where_the_closed_form_says(lifted):
    # Hetenyi, Beams on Elastic Foundation, 1946: a free beam of length l under a central load has no
    # end deflection at beta l = pi; a weightless beam on a bed without tension therefore lies on
    # pi / beta, whatever the load, and sinks P beta / 2k coth(pi / 2) (derived). The points are 2 mm apart.
    assert contact_length(lifted) == pytest.approx(np.pi / BETA, abs=4.0)
    sunk = -faces(lifted).opening.min()
    assert sunk == pytest.approx(1000.0 * BETA / (2.0 * BED) / np.tanh(0.5 * np.pi), rel=0.01)
    assert lifted.balance.load.sum() == pytest.approx(1000.0, rel=1e-7)


def test_beam_beyond_the_lift_off_stays_straight(lifted):
    at = faces(lifted)
    x, rise = at.place[:, 0], at.opening
    free = x > 240.0 + 0.5 * np.pi / BETA + 10.0
    assert free.sum() >= 10
    fit = np.polyfit(x[free], rise[free], 1)
    assert np.abs(np.polyval(fit, x[free]) - rise[free]).max() <= 1e-3 * np.abs(rise).max()
    assert fit[0] > 0.0


def test_contact_length_does_not_know_the_load(lifted):
    stronger = beam(pull=5000.0)
    assert contact_length(stronger) == contact_length(lifted)
    assert stronger.balance.closure == pytest.approx(5.0 * lifted.balance.closure, abs=1e-7)


@pytest.mark.parametrize(
    ("reach", "middle", "end"),
    [(1.0, 2.024812, 1.962808), (2.0, 1.178541, 0.735186)],
)
def test_short_beam_on_its_bed(reach, middle, end):
    # Hetenyi 1946, free beam of finite length, central load: w 2k / (P beta) in the middle
    # (cosh + cos + 2) / (sinh + sin) of beta l, at the ends 4 cosh(beta l / 2) cos(beta l / 2) /
    # (sinh + sin); derived. Nothing lifts.
    beta = reach / LENGTH
    state = beam(beta=beta)
    bed = 4.0 * BENDING * beta**4
    sunk, x = -faces(state).opening, faces(state).place[:, 0]
    unit = 1000.0 * beta / (2.0 * bed)
    assert sunk[np.abs(x - 240.0) < 1.0].mean() / unit == pytest.approx(middle, rel=0.01)
    assert sunk[x < 1.0].mean() / unit == pytest.approx(end, rel=0.01)


STUD = 172_753.5
MEMBERS = 205_780.7
FACE = 200.0 * 200.0


#: Small stages, so that no corner goes down much before the others.
EVENLY = (*np.linspace(0.05, 1.0, 20).tolist(), 1.0, 1.0, 1.0)


def square_bar(law, stud):
    corners = {
        f"stud {k}": at for k, at in enumerate([(50.0, 50.0), (150.0, 50.0), (50.0, 150.0), (150.0, 150.0)])
    }
    # Gas on 100 mm^2 in the middle, so that MPa are hundreds of newtons.
    gas = (BoreGas("bore", (100.0, 100.0), 2.0, 2.0 * np.sqrt(100.0 / np.pi), 5.0),)
    return bar_on_bed((200.0, 200.0, 60.0), 20.0, corners, law, stiffness=0.25 * stud, gas=gas)


@pytest.fixture(scope="module")
def linear_joint():
    joint = square_bar(ClosureLaw.linear("members and gasket", MEMBERS / FACE), STUD)
    return tighten(
        joint,
        {seat.name: 12_500.0 for seat in joint.seats},
        shares=EVENLY,
        level="check",
    )[-1]


@pytest.mark.parametrize(
    ("load", "studs", "gasket"),
    [
        (0.0, 50_000.0, 50_000.0),
        (20e3, 59_127.50, 39_127.50),
        (40e3, 68_254.99, 28_254.99),
        (60e3, 77_382.49, 17_382.49),
        (70e3, 81_946.24, 11_946.24),
        (100e3, 100e3, 0.0),
    ],
)
def test_joint_diagram_with_separation(linear_joint, load, studs, gasket):
    # Springs in series and parallel (derived): four studs of 172 753.5 N/mm together, members and gasket of
    # 205 780.7 N/mm, 50 kN of preload; load factor 0.456375, separation at 91 975 N.
    state = linear_joint.fire({"bore": load / 100.0})
    # Tightened one by one, the four end within 20 N of 50 kN.
    assert state.tension.sum() == pytest.approx(studs, abs=20.0)
    assert state.balance.load.sum() == pytest.approx(gasket, abs=20.0)


def test_hysteretic_gasket_unloads_along_its_steeper_way():
    # Derived: loading 2e6 N/mm to 0.10 mm, then 8e6; 500 kN closes it 0.1375 mm; unloading 10e6, studs 1.5e6
    # N/mm; of 400 kN of gas load the gasket loses P ku / (ku + Kb). Separation at 575 000 N.
    peak = (0.1375, 500e3 / FACE)
    way = [peak, (0.1375 - 0.05, 0.0)]
    loading = [(0.0, 0.0), (0.10, 200e3 / FACE), (0.20, 1e6 / FACE)]
    law = ClosureLaw.from_table("gasket", loading, [way])
    joint = square_bar(law, 1.5e6)
    rest = tighten(joint, {seat.name: 125e3 for seat in joint.seats}, shares=EVENLY, level="check")[-1]
    assert rest.balance.load.sum() == pytest.approx(500e3, rel=2e-3)
    fired = rest.fire({"bore": 4000.0})
    lost = rest.balance.load.sum() - fired.balance.load.sum()
    assert lost == pytest.approx(500e3 - 152_173.9, rel=2e-3)
    assert fired.tension.sum() == pytest.approx(552_173.9, rel=2e-3)
    back = rest.balance.closure - fired.balance.closure
    assert back.mean() == pytest.approx(0.0347826, rel=2e-3)
    assert rest.fire({"bore": 5700.0}).balance.load.sum() > 0.0
    assert rest.fire({"bore": 5800.0}).balance.load.sum() == 0.0


def interacting(half_distance):
    # The third stud is as good as a dead weight: it keeps the bed pressed where one stud would lift it.
    first, second = (220.0 - half_distance, 10.0), (220.0 + half_distance, 10.0)
    studs = {"first": first, "second": second, "weight": (220.0, 10.0)}
    give = {"first": 150e3, "second": 150e3, "weight": 1.0}
    bed = ClosureLaw.linear("bed", 8e3 / 20.0)
    joint = bar_on_bed((440.0, 20.0, 150.0), 5.0, studs, bed, stiffness=give)
    wanted = {"first": 50e3, "second": 50e3, "weight": 100e3}
    order = ("weight", "first", "second")
    steps = tighten(joint, wanted, shares=(1.0,), sequence=order, level="check")
    assert all(step.balance.load.min() > 0.0 for step in steps)
    return steps[-1]


@pytest.mark.parametrize(("half_distance", "left"), [(100.0, 49_242.29), (20.0, 48_009.09)])
def test_second_stud_takes_from_the_first(half_distance, left):
    # Statics (derived): rigid head on a bed of 8 kN/mm per mm, half length 220 mm, studs of 150 kN/mm, the
    # first loses kb a12 F / (1 + kb a11), a11 = 1 / K0 + b^2 / Kt, a12 = 1 / K0 - b^2 / Kt, K0 = 2 k L,
    # Kt = 2 k L^3 / 3.
    state = interacting(half_distance)
    assert state.tension[0] == pytest.approx(left, abs=2.0)
    assert state.tension[1] == pytest.approx(50e3, rel=1e-9)


def one_pass(places, give, tilt):
    """Preloads after one pass of 50 kN over studs of 150 kN/mm on a rigid head, by statics."""
    joint = give + tilt * places @ places.T
    both = joint + np.eye(len(places)) / 150e3
    held, travel = np.zeros(len(places)), np.zeros(len(places))
    for n in range(len(places)):
        done = np.arange(n)
        from_travel = travel[done] - joint[done, n] * 50e3
        held[done] = np.linalg.solve(both[np.ix_(done, done)], from_travel)
        held[n] = 50e3
        travel[n] = both[n, : n + 1] @ held[: n + 1]
    return held


@pytest.mark.parametrize(
    ("count", "first", "total"),
    [(4, 44_103.88, 44_103.88 + 46_147.48 + 48_110.83 + 50_000.0), (10, 34_060.06, 424_057.25)],
)
def test_one_pass_over_many_studs(count, first, total):
    # Derived, for a head that only moves up and down on 3.52e6 N/mm: each tightening takes
    # kb / (Kc + n kb) F off all n that hold already; first of 4 studs 44 103.88 N, of 10 34 060.06 N.
    assert one_pass(np.zeros((count, 2)), 1.0 / 3.52e6, 0.0)[0] == pytest.approx(first, abs=0.01)
    assert one_pass(np.zeros((count, 2)), 1.0 / 3.52e6, 0.0).sum() == pytest.approx(total, abs=0.02)
    # The joint's studs stand on a circle so close to the middle that no side of the square bed lifts.
    angles = 2.0 * np.pi * np.arange(count) / count
    places = 40.0 * np.column_stack([np.cos(angles), np.sin(angles)])
    studs = {f"stud {k}": (200.0 + x, 200.0 + y) for k, (x, y) in enumerate(places)}
    joint = bar_on_bed((400.0, 400.0, 200.0), 20.0, studs, ClosureLaw.linear("bed", 3.52e6 / 400.0**2))
    wanted = dict.fromkeys(studs, 50e3)
    steps = tighten(joint, wanted, shares=(1.0,), sequence=tuple(studs), level="check")
    assert all(step.balance.load.min() > 0.0 for step in steps)
    held = one_pass(places, 1.0 / 3.52e6, 12.0 / (3.52e6 * 400.0**2))
    assert steps[-1].tension == pytest.approx(held, rel=1e-3)

"""Joint diagrams and elastic interaction against textbook examples and closed forms.

*Companion file*: the printed result was read in the textbook's published companion files.
*Derived*: evaluated apart from the closed form stated. *Memory*: not checked against the book.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firedeck.definition.fastener import ClampedPart
from firedeck.kernel.bolt import cylinder_compliance
from firedeck.loading.compliance import PressureCone, member_compliance
from firedeck.loading.gas_load import gas_force, hydrostatic_line_load
from firedeck.loading.interaction import Bed, Move, SharedJoint, tighten
from firedeck.loading.joint_diagram import GasketedJoint, LinearJoint, LoadingLine, in_series
from firedeck.loading.sequence import staged_moves

INCH, PSI, LBF = 25.4, 6.894757293e-3, 4.4482216152605
PER_INCH = LBF / INCH


def part(thickness_in, mega_psi):
    table = {"name": "made up", "modulus": f"{mega_psi * 1e6 * PSI} MPa", "expansion": "12e-6 1/K"}
    return ClampedPart.model_validate({"name": "plate", "thickness": f"{thickness_in} in", "material": table})


def test_pressure_vessel_joint():
    # Shigley/Budynas, Mechanical Engineering Design, Example 8-4 (8th to 10th ed.; printed results from
    # memory, to the digits given): 5/8-11 bolt, l = 1.5 in, ld = lt = 0.75 in, At 0.226, Ad 0.3068 in^2,
    # E 30 and 14 Mpsi, P = 36 kip, Sp = 85 ksi, Fi = 0.75 At Sp.
    half, area, shank, modulus = 0.75 * INCH, 0.226 * INCH**2, 0.3068 * INCH**2, 30e6 * PSI
    bolt = 1.0 / (cylinder_compliance(half, area, modulus) + cylinder_compliance(half, shank, modulus))
    assert bolt / PER_INCH == pytest.approx(5.2054e6, rel=1e-4)
    cone = PressureCone(1.5 * 0.625 * INCH, 0.625 * INCH)
    members = 1.0 / member_compliance([part(1.5, 14)], cone)
    # the book rounds tan 30 degrees to 0.5774
    assert members / PER_INCH == pytest.approx(8.9526e6, rel=1e-4)
    proof = 85e3 * PSI * area
    joint = LinearJoint(bolt, members, 0.75 * proof)
    assert joint.load_factor == pytest.approx(0.36767, abs=3e-5)
    total = 36e3 * LBF
    needed = 2.0 * joint.load_factor * total / (proof - joint.preload)
    # 5.52 follows from the book's rounded C = 0.368 and 4.80 kip; unrounded it is 5.512, and 6 bolts
    assert needed == pytest.approx(5.52, abs=1e-2)
    assert math.ceil(needed) == 6
    share = total / 6.0
    assert (proof - joint.preload) / (joint.load_factor * share) == pytest.approx(2.177, abs=6e-4)
    assert joint.separation_load / share == pytest.approx(3.797, abs=6e-4)
    assert proof / joint.under(share).fastener == pytest.approx(1.156, abs=6e-4)


def test_frusta_through_layers_of_one_material():
    # Shigley 8-2 geometry (memory): 1/2 in bolt, grip 0.095 + 0.5 + 0.75 in, face 1.5 d, 30 Mpsi:
    # two frusta 14.6382 Mlbf/in with tan 30 rounded to 0.5774; derived. 1e-4 covers the rounding.
    # The exponential fit of Wileman et al. 1991, J. Mech. Des. 113:432 (constants from memory) gives
    # 14.9161, 1.9 % apart by design.
    cone = PressureCone(0.75 * INCH, 0.5 * INCH)
    layers = [part(0.095, 30), part(0.5, 30), part(0.75, 30)]
    stiffness = 1.0 / member_compliance(layers, cone) / PER_INCH
    assert stiffness == pytest.approx(14.6382e6, rel=1e-4)
    fit = 30e6 * 0.5 * 0.78715 * math.exp(0.62873 * 0.5 / 1.345)
    assert fit == pytest.approx(14.9161e6, rel=1e-5)
    assert fit / stiffness - 1.0 == pytest.approx(0.019, abs=5e-4)


# Both textbook examples below load the joint past separation and go on with the load factor, which no
# longer holds there: the bolt then carries the external load alone. Their numbers check the load factor.


def test_two_aluminium_plates():
    # Bhandari, Design of Machine Elements, Example 7.16, p. 256: ring of twice the bolt's diameter, E 207
    # and 71 GPa, Pi 5 kN, P 10 kN, Syt 380 MPa, fs 2.5; A = 65.319549 mm^2; companion file.
    joint = LinearJoint(207.0, 71.0 * (2.0**2 - 1.0), 5e3)
    assert joint.load_factor == pytest.approx(207.0 / 420.0, rel=1e-12)
    printed = joint.preload + joint.load_factor * 10e3
    assert printed == pytest.approx(9928.57, abs=6e-3)
    assert printed / (380.0 / 2.5) == pytest.approx(65.319549, abs=6e-7)
    assert joint.separation_load < 10e3
    assert joint.under(10e3).fastener == pytest.approx(10e3, rel=1e-12)


def test_stiff_members():
    # Bhandari, Example 7.17, p. 257: kc = 2.5 kb, Pi 2.5 kN, P 5 kN, Syt 400 MPa, fs 2.5;
    # A = 24.553571 mm^2; companion file.
    joint = LinearJoint(1.0, 2.5, 2.5e3)
    printed = joint.preload + joint.load_factor * 5e3
    assert printed == pytest.approx(3928.57, abs=6e-3)
    assert printed / (400.0 / 2.5) == pytest.approx(24.553571, abs=6e-7)
    assert joint.under(5e3).clamp == 0.0
    # within the joint's reach the same line is followed
    assert joint.under(3e3).fastener == pytest.approx(2.5e3 + 3e3 / 3.5, rel=1e-12)


BOLT = 205e3 * 84.27 / 100.0
MEMBERS = 72.4e3 * math.pi / 4.0 * (28.0**2 - 13.0**2) / 100.0
GASKET = 1500.0 * 400.0 / 1.2


def test_gasket_in_series():
    # Members 349 706.4, gasket 500 000, together 205 780.7 N/mm; C 0.456375, without gasket 0.330654;
    # separation from 50 kN at 91 975 N; derived.
    together = in_series(MEMBERS, GASKET)
    assert together == pytest.approx(205_780.7, abs=0.06)
    joint = LinearJoint(BOLT, together, 50e3)
    assert joint.load_factor == pytest.approx(0.456375, abs=6e-7)
    assert LinearJoint(BOLT, MEMBERS, 50e3).load_factor == pytest.approx(0.330654, abs=6e-7)
    assert joint.separation_load == pytest.approx(91_975.0, abs=0.6)


@pytest.mark.parametrize(
    ("load", "fastener", "clamp"),
    [
        *[(20e3, 59_127.50, 39_127.50), (40e3, 68_254.99, 28_254.99), (60e3, 77_382.49, 17_382.49)],
        *[(70e3, 81_946.24, 11_946.24), (95e3, 95_000.0, 0.0)],
    ],
)
def test_piecewise_joint_diagram(load, fastener, clamp):
    # The joint above under a rising load; beyond 91 975 N the stud carries it all; derived.
    state = LinearJoint(BOLT, in_series(MEMBERS, GASKET), 50e3).under(load)
    assert state.fastener == pytest.approx(fastener, abs=6e-3)
    assert state.clamp == pytest.approx(clamp, abs=6e-3)


def test_gasket_that_unloads_steeply():
    # Loading 2e6 N/mm to 0.10 mm, then 8e6; 500 kN at 0.1375 mm; unloading 10e6, studs 1.5e6 N/mm; gas
    # 400 kN: gasket 152 173.9 N, studs 552 173.9 N, recovery 0.0347826 mm, separation 575 000 N; derived.
    law = LoadingLine((0.10, 0.1375), (200e3, 500e3), 10e6)
    joint = GasketedJoint(1.5e6, law, 500e3)
    assert joint.closure == pytest.approx(0.1375, rel=1e-12)
    state = joint.under(400e3)
    assert state.clamp == pytest.approx(152_173.9, abs=0.06)
    assert state.fastener == pytest.approx(552_173.9, abs=0.06)
    assert state.opening == pytest.approx(0.0347826, abs=6e-8)
    assert joint.separation_load == pytest.approx(575_000.0, rel=1e-12)


def test_two_studs_on_a_rigid_head():
    # Studs at +-100 mm, kb 150 kN/mm, bed 8 N/mm per mm per mm over 440 mm, both to 50 kN, 1 then 2:
    # the first loses 757.709 N; at +-20 mm it loses 1 990.91 N; statics, derived. The bed is
    # 8 kN/mm per mm of length.
    for place, left in ((100.0, 49_242.29), (20.0, 48_009.09)):
        positions = [(-place, 0.0), (place, 0.0)]
        bed = Bed.from_line(440.0, 8e3)
        joint = SharedJoint.build(bed.compliance(positions), 150e3)
        final = tighten(joint, staged_moves(joint.names, [50e3])).final
        assert final == pytest.approx([left, 50e3], abs=6e-3)


def test_many_studs_in_one_pass():
    # Translation only: each tightening takes kb/(Kc + n kb) F off all n studs already tight; kb 150e3,
    # Kc 3.52e6 N/mm, F 50 kN; derived.
    def after_one_pass(count):
        joint = SharedJoint.build(np.full((count, count), 1.0 / 3.52e6), 150e3)
        return tighten(joint, [Move(name, preload=50e3) for name in joint.names]).final

    assert after_one_pass(4) == pytest.approx([44_103.88, 46_147.48, 48_110.83, 50_000.0], abs=6e-3)
    ten = after_one_pass(10)
    assert ten[0] == pytest.approx(34_060.06, abs=6e-3)
    assert ten.sum() == pytest.approx(424_057.25, abs=6e-3)


def test_gas_force_and_line_load():
    # 90 mm, 150 bar: 95 425.88 N and 337.5 N/mm; five studs of 60 kN on that ring 1061.03 N/mm; statics.
    assert gas_force(15.0, 90.0) == pytest.approx(95_425.88, abs=6e-3)
    assert hydrostatic_line_load(15.0, 90.0) == pytest.approx(337.5, rel=1e-12)
    assert gas_force(15.0, 90.0) / (math.pi * 90.0) == pytest.approx(337.5, rel=1e-12)
    assert 5 * 60e3 / (math.pi * 90.0) == pytest.approx(1061.03, abs=6e-3)

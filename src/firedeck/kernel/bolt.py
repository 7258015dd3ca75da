"""Torque, preload, stress and compliance of a fastener; floats or arrays in N, mm, MPa.

Everything that depends on the wedge of the thread uses the exact Kellermann-Klein form,
written with tangents so that one expression serves floats and arrays:
``tan(phi + rho') = (tan phi + tan rho') / (1 - tan phi tan rho')``.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Reals",
    "bearing_friction",
    "bearing_torque",
    "cylinder_compliance",
    "frustum_compliance",
    "preload_at_stress",
    "reduced_stress",
    "thermal_preload",
    "thread_friction",
    "thread_torque",
    "wedge",
]

#: A float or an array of floats.
Reals: TypeAlias = float | NDArray[np.float64]

_COS_FLANK = math.cos(math.radians(30.0))


def wedge(pitch: float, pitch_diameter: float, friction: Reals) -> Reals:
    """Return ``tan(phi + rho')`` of a thread with 60 degrees between flanks [1].

    ``tan phi = P / (pi d2)`` is the lead, ``tan rho' = mu / cos 30`` the friction.

    Parameters
    ----------
    pitch, pitch_diameter : float
        Pitch and pitch diameter [mm].
    friction : float or array
        Coefficient of friction in the thread [1].
    """
    lead = pitch / (math.pi * pitch_diameter)
    rough = friction / _COS_FLANK
    return (lead + rough) / (1.0 - lead * rough)


def thread_torque(preload: Reals, pitch: float, pitch_diameter: float, friction: Reals) -> Reals:
    """Return the torque that the thread takes, ``F d2/2 tan(phi + rho')`` [N*mm].

    Parameters
    ----------
    preload : float or array
        Axial force [N].
    pitch, pitch_diameter : float
        Pitch and pitch diameter [mm].
    friction : float or array
        Coefficient of friction in the thread [1].
    """
    return preload * 0.5 * pitch_diameter * wedge(pitch, pitch_diameter, friction)


def bearing_torque(preload: Reals, mean_diameter: float, friction: Reals) -> Reals:
    """Return the torque that the turned bearing face takes, ``F mu Db/2`` [N*mm].

    Parameters
    ----------
    preload : float or array
        Axial force [N].
    mean_diameter : float
        Mean diameter of the bearing face [mm].
    friction : float or array
        Coefficient of friction under the turned face [1].
    """
    return preload * 0.5 * mean_diameter * friction


def thread_friction(torque: Reals, preload: Reals, pitch: float, pitch_diameter: float) -> Reals:
    """Recover the thread's coefficient of friction from a torque-tension test [1]; exact.

    Parameters
    ----------
    torque : float or array
        Torque that reached the thread [N*mm].
    preload : float or array
        Axial force measured [N].
    pitch, pitch_diameter : float
        Pitch and pitch diameter [mm].
    """
    lead = pitch / (math.pi * pitch_diameter)
    total = 2.0 * torque / (preload * pitch_diameter)
    return _COS_FLANK * (total - lead) / (1.0 + total * lead)


def bearing_friction(torque: Reals, preload: Reals, mean_diameter: float) -> Reals:
    """Recover the bearing face's coefficient of friction from a torque-tension test [1].

    Parameters
    ----------
    torque : float or array
        Torque that the bearing face took [N*mm].
    preload : float or array
        Axial force measured [N].
    mean_diameter : float
        Mean diameter of the bearing face [mm].
    """
    return 2.0 * torque / (preload * mean_diameter)


def reduced_stress(preload: Reals, torque: Reals, area: float) -> Reals:
    """Return the von Mises stress of a round section under pull and twist [MPa].

    The twist is taken as fully plastic, ``tau = 12 M / (pi d^3)`` with d the diameter of the
    circle of equal area, as in the tables of VDI 2230; an elastic twist would read 6 to 7 %
    higher.

    Parameters
    ----------
    preload : float or array
        Axial force [N].
    torque : float or array
        Torque carried by the section [N*mm].
    area : float
        Area of the section [mm^2].
    """
    tension = preload / area
    twist = 12.0 * torque / (math.pi * _diameter_of(area) ** 3)
    stress: Reals = (tension**2 + 3.0 * twist**2) ** 0.5
    return stress


def preload_at_stress(
    stress: Reals, area: float, pitch: float, pitch_diameter: float, friction: Reals, share: float = 1.0
) -> Reals:
    """Return the preload at which the von Mises stress while turning reaches `stress` [N].

    Parameters
    ----------
    stress : float or array
        Von Mises stress allowed [MPa].
    area : float
        Area of the section [mm^2].
    pitch, pitch_diameter : float
        Pitch and pitch diameter of the turned thread [mm].
    friction : float or array
        Coefficient of friction in the thread [1].
    share : float
        Part of the thread torque that twists the section: 1 while turning, less afterwards [1].
    """
    lever = 0.5 * pitch_diameter * wedge(pitch, pitch_diameter, friction) * share
    ratio = 3.0 * lever / _diameter_of(area)
    limit: Reals = stress * area / (1.0 + 3.0 * ratio**2) ** 0.5
    return limit


def _diameter_of(area: float) -> float:
    return math.sqrt(4.0 * area / math.pi)


def cylinder_compliance(length: float, area: float, modulus: float) -> float:
    """Return ``l / (E A)`` [mm/N].

    Parameters
    ----------
    length : float
        Length under load [mm].
    area : float
        Area of the section [mm^2].
    modulus : float
        Young's modulus [MPa].
    """
    return length / (modulus * area)


def frustum_compliance(
    length: float, small_diameter: float, hole_diameter: float, modulus: float, slope: float
) -> float:
    """Return the axial compliance of a hollow cone of clamped material [mm/N].

    Shigley's Mechanical Engineering Design, chapter 8 (members in compression; from memory),
    for any half-angle of the pressure cone.

    Parameters
    ----------
    length : float
        Height of the cone [mm].
    small_diameter : float
        Outer diameter at the narrow end [mm].
    hole_diameter : float
        Diameter of the hole [mm].
    modulus : float
        Young's modulus [MPa].
    slope : float
        Tangent of the cone's half-angle [1].
    """
    large = small_diameter + 2.0 * slope * length
    near = (small_diameter + hole_diameter) / (small_diameter - hole_diameter)
    far = (large - hole_diameter) / (large + hole_diameter)
    return math.log(near * far) / (math.pi * modulus * slope * hole_diameter)


def thermal_preload(
    preload: Reals, compliance_before: float, compliance_after: float, misfit: float
) -> Reals:
    """Return the preload after heating [N]; never below zero.

    The total closure is conserved: ``F1 delta1 = F0 delta0 + misfit``.

    Parameters
    ----------
    preload : float or array
        Preload before [N].
    compliance_before, compliance_after : float
        Compliance of fastener and joint together, cold and hot [mm/N].
    misfit : float
        Free expansion of the joint less that of the fastener over the grip [mm].
    """
    hot: NDArray[np.float64] = np.maximum((preload * compliance_before + misfit) / compliance_after, 0.0)
    return hot

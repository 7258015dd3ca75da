"""Temperatures of a joint's members, and what they do to them: free strains and other moduli."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.contact.joint import Body, Joint
from firedeck.definition.material import MaterialError
from firedeck.errors import FiredeckError

__all__ = ["Warmth", "free_strains", "mean_temperature", "softening"]

Floats = npt.NDArray[np.float64]

#: Heights or depths [mm] with the temperatures there [degC].
_Profile = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Warmth:
    """Temperatures of the members.

    Attributes
    ----------
    head : sequence of (float, float)
        Height over the sealing plane [mm] and temperature there [degC], straight lines between.
    block : sequence of (float, float)
        Depth below the sealing plane [mm] and temperature there [degC].
    fasteners : float
        Mean temperature of the fasteners [degC].
    fastener_expansion : float
        Mean thermal expansion of the fasteners [1/K].
    fastener_stiffness : sequence of float
        Stiffness of every fastener at its temperature over that at 20 degC, in the joint's order [1];
        empty where it stays.
    """

    head: _Profile
    block: _Profile
    fasteners: float
    fastener_expansion: float = 12.3e-6
    fastener_stiffness: Sequence[float] = ()


def free_strains(joint: Joint, warmth: Warmth) -> dict[str, float]:
    """Return the free strain of every plane of nodes of both bodies, by its pattern's name [1].

    Parameters
    ----------
    joint : Joint
        The joint.
    warmth : Warmth
        Temperatures.

    Raises
    ------
    MaterialError
        If a material's table ends below a temperature.
    """
    out = {}
    for mesh, profile in _bodies(joint, warmth):
        for plane, warm in enumerate(_plane_temperatures(mesh, profile)):
            strain = _known(mesh, mesh.section.material.free_strain, float(warm))
            out[f"{mesh.section.side} plane {plane}"] = strain
    return out


def softening(joint: Joint, warmth: Warmth) -> tuple[float, float, tuple[float, ...]]:
    """Return the moduli of head and block and the fasteners' stiffness over those of the joint [1].

    A body has one modulus: that of its mean temperature.

    Parameters
    ----------
    joint : Joint
        The joint as condensed.
    warmth : Warmth
        Temperatures.

    Raises
    ------
    FiredeckError
        If a material's table ends below a mean temperature, or the warmth names other fasteners.
    """
    if len(warmth.fastener_stiffness) not in (0, len(joint.seats)):
        raise FiredeckError(
            f"a stiffness is stated for {len(warmth.fastener_stiffness)} of {len(joint.seats)} fasteners",
            remedy="state one for every fastener, in the joint's order, or none",
        )
    head, block = (
        _known(mesh, mesh.section.material.modulus.at, mean_temperature(mesh, profile)) / mesh.section.modulus
        for mesh, profile in _bodies(joint, warmth)
    )
    return head, block, tuple(warmth.fastener_stiffness)


def mean_temperature(mesh: Body, profile: _Profile) -> float:
    """Return the mean temperature of a body's material [degC].

    Parameters
    ----------
    mesh : BodyMesh or VolumeBody
        The body.
    profile : sequence of (float, float)
        Distance from the sealing plane [mm] and temperature there [degC], straight lines between.
    """
    warm = _plane_temperatures(mesh, profile)
    # Rounded, so that an even temperature comes out as itself.
    return round(float(np.average(warm, weights=mesh.plane_volumes())), 6)


def _bodies(joint: Joint, warmth: Warmth) -> Iterator[tuple[Body, _Profile]]:
    yield joint.head, warmth.head
    yield joint.block, warmth.block


def _plane_temperatures(mesh: Body, profile: _Profile) -> Floats:
    at, temperature = np.array(sorted(profile)).T
    return np.asarray(np.interp(np.abs(mesh.heights), at, temperature))


def _known(mesh: Body, of_temperature: Callable[[float], float], warm: float) -> float:
    """Return a property of a body's material at a temperature; who lacks it is named."""
    try:
        return of_temperature(warm)
    except MaterialError as fault:
        section = mesh.section
        raise MaterialError(
            f"{section.material.name}, of the {section.side}: {fault.message}", remedy=fault.remedy
        ) from fault

"""How far a fastener stretches and what it clamps gives, per newton."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from firedeck.definition.fastener import ClampedPart, Fastener
from firedeck.errors import FiredeckError
from firedeck.kernel.bolt import cylinder_compliance, frustum_compliance

__all__ = [
    "ClampedStack",
    "PressureCone",
    "fastener_compliance",
    "member_compliance",
    "stretch_compliance",
]


@dataclass(frozen=True)
class PressureCone:
    """Shape of the clamped material that carries a fastener's load.

    Attributes
    ----------
    face_diameter : float
        Outer diameter where the load enters [mm].
    hole_diameter : float
        Diameter of the hole [mm].
    limit_diameter : float
        Diameter of the boss or half the distance to the next fastener; the cone grows no
        further [mm].
    half_angle : float
        Half-angle of the cone [deg]; 30 in Shigley's Mechanical Engineering Design, chapter 8
        (from memory).
    both_faces : bool
        Whether the cone narrows again to the far face, as under a through bolt; a fastener
        tapped into the block has a cone on the head's side only.
    """

    face_diameter: float
    hole_diameter: float
    limit_diameter: float = math.inf
    half_angle: float = 30.0
    both_faces: bool = True

    @property
    def slope(self) -> float:
        """Tangent of the half-angle [1]."""
        return math.tan(math.radians(self.half_angle))

    @property
    def growth(self) -> float:
        """Depth at which the cone reaches its limit [mm]."""
        return max(self.limit_diameter - self.face_diameter, 0.0) / (2.0 * self.slope)


def _modulus(fastener: Fastener, temperature: float) -> float:
    return fastener.material.modulus.at(temperature)


def _engaged(fastener: Fastener, modulus: float) -> float:
    """Give of the engaged thread of the fastener itself, at each threaded end [mm/N]."""
    ends = [fastener.hole.thread]
    if fastener.nut_thread is not None:
        ends.append(fastener.nut_thread)
    share = fastener.allowances.engaged
    return sum(cylinder_compliance(share * end.diameter, end.stress_area, modulus) for end in ends)


def _mates(fastener: Fastener, modulus: float, temperature: float) -> float:
    """Give of nut or head, and of the tapped hole's threads [mm/N]."""
    give, hole = fastener.allowances, fastener.hole
    top = give.head if fastener.kind == "bolt" else give.nut
    turned = fastener.turned_thread.diameter
    tapped = cylinder_compliance(
        give.tapped * hole.thread.diameter,
        0.25 * math.pi * hole.thread.diameter**2,
        hole.material.modulus.at(temperature),
    )
    return cylinder_compliance(top * turned, 0.25 * math.pi * turned**2, modulus) + tapped


def stretch_compliance(fastener: Fastener, temperature: float = 20.0) -> float:
    """Return how much longer the fastener itself gets, end to end, per newton [mm/N].

    Segments and engaged threads; what the nut and the block give does not lengthen the fastener.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    temperature : float
        Temperature for the modulus [degC].
    """
    modulus = _modulus(fastener, temperature)
    segments = sum(cylinder_compliance(s.length, s.area, modulus) for s in fastener.segments)
    return segments + _engaged(fastener, modulus)


def fastener_compliance(fastener: Fastener, temperature: float = 20.0) -> float:
    """Return the compliance between bearing face and block, with the give of both ends [mm/N].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    temperature : float
        Temperature for the moduli [degC].
    """
    modulus = _modulus(fastener, temperature)
    return stretch_compliance(fastener, temperature) + _mates(fastener, modulus, temperature)


def member_compliance(
    parts: Sequence[ClampedPart], cone: PressureCone, temperatures: Sequence[float] | None = None
) -> float:
    """Return the compliance of a stack of clamped parts within the pressure cone [mm/N].

    A stand-in for one fastener by itself: neighbours share the load of a real head, and the
    gasket is not in the stack.

    Parameters
    ----------
    parts : sequence of ClampedPart
        From the bearing face down.
    cone : PressureCone
        Where the load runs.
    temperatures : sequence of float, optional
        Temperature of each part [degC]; 20 when not given.

    Raises
    ------
    FiredeckError
        If the cone has no material.
    """
    if cone.face_diameter <= cone.hole_diameter:
        raise FiredeckError(
            f"the bearing face of {cone.face_diameter:.4g} mm is no larger than its hole of "
            f"{cone.hole_diameter:.4g} mm",
            remedy="check the bearing face's diameters",
        )
    warmth = temperatures if temperatures is not None else [20.0] * len(parts)
    total, top = 0.0, 0.0
    grip = sum(part.thickness for part in parts)
    for part, warm in zip(parts, warmth, strict=True):
        modulus = part.material.modulus.at(warm)
        total += sum(
            _slice(cone, low, high, grip, modulus)
            for low, high in _cuts(cone, top, top + part.thickness, grip)
        )
        top += part.thickness
    return total


@dataclass(frozen=True)
class ClampedStack:
    """What one fastener clamps, and how far it gives, the gasket's springs left out.

    Attributes
    ----------
    parts : tuple of ClampedPart
        From the bearing face down.
    cone : PressureCone
        Where the load runs in them.
    stated : float, optional
        Compliance at 20 degC where it is known better than from the cone [mm/N]; heat then
        changes it as it changes the cone's.
    """

    parts: tuple[ClampedPart, ...]
    cone: PressureCone
    stated: float | None = None

    def compliance(self, temperatures: Sequence[float] | None = None) -> float:
        """Return the compliance, cold or with each part at its temperature [degC], [mm/N]."""
        reckoned = member_compliance(self.parts, self.cone, temperatures)
        if self.stated is None:
            return reckoned
        return self.stated * reckoned / member_compliance(self.parts, self.cone)


def _cuts(cone: PressureCone, low: float, high: float, grip: float) -> list[tuple[float, float]]:
    """Cut a layer where the cone changes its shape."""
    places = [cone.growth]
    if cone.both_faces:
        places += [0.5 * grip, grip - cone.growth]
    inside = sorted({place for place in places if low < place < high})
    edges = [low, *inside, high]
    return list(itertools.pairwise(edges))


def _slice(cone: PressureCone, low: float, high: float, grip: float, modulus: float) -> float:
    """Compliance of a slice that is one cone or one tube [mm/N]."""
    depths = (low, high)
    if cone.both_faces:
        depths = (min(low, grip - low), min(high, grip - high))
    narrow = cone.face_diameter + 2.0 * cone.slope * min(*depths, cone.growth)
    length = high - low
    if min(depths) >= cone.growth * (1.0 - 1e-12):
        area = 0.25 * math.pi * (narrow**2 - cone.hole_diameter**2)
        return cylinder_compliance(length, area, modulus)
    return frustum_compliance(length, narrow, cone.hole_diameter, modulus, cone.slope)

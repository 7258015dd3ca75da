"""What seat and threads bear: surface pressure under nut or head, and stripping."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firedeck.definition.fastener import BearingFace, Fastener
from firedeck.definition.material import Material
from firedeck.definition.thread import Thread
from firedeck.evidence import Basis, Source
from firedeck.kernel.thread import external_strip_area, internal_strip_area

__all__ = [
    "RECOMMENDED_ENGAGEMENT",
    "SHEAR_RATIO",
    "BearingCheck",
    "StripCheck",
    "check_bearing",
    "check_stripping",
    "recommended_engagement",
    "required_engagement",
]

#: Ultimate shear over tensile strength of fastener steel [1], where the material states none.
SHEAR_RATIO = (
    0.6,
    Source(Basis.MEMORY, "VDI 2230:2003", "0.60 to 0.65 by property class; the least is taken"),
)

_TRIALS = Source(Basis.PUBLISHED, "fastener supplier's table from practical trials, M6 to M16, 6g/6H")

#: Engagement that trials recommend, least and most, in nominal diameters [1].
RECOMMENDED_ENGAGEMENT: dict[tuple[str, str], tuple[float, float, Source]] = {
    ("grey iron GJL-250", "8.8"): (1.0, 1.25, _TRIALS),
    ("grey iron GJL-250", "10.9"): (1.25, 1.4, _TRIALS),
    ("grey iron GJL-250", "12.9"): (1.4, 1.4, _TRIALS),
}


@dataclass(frozen=True)
class BearingCheck:
    """Pressure under a bearing face against what the material beneath stands.

    Attributes
    ----------
    face : str
        Which face on which material.
    pressure : float
        Mean pressure [MPa].
    limit : float or None
        Limiting pressure [MPa]; None where the material states none.
    """

    face: str
    pressure: float
    limit: float | None

    @property
    def utilisation(self) -> float | None:
        """Pressure over limit [1], or None where there is no limit to compare with."""
        return None if self.limit is None else self.pressure / self.limit


def check_bearing(fastener: Fastener, preload: float, head: Material) -> tuple[BearingCheck, ...]:
    """Return the pressure under the turned part, and under its washer if there is one.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    preload : float
        Greatest preload to expect [N].
    head : Material
        Material of the cylinder head under the seat.
    """
    part = "head" if fastener.kind == "bolt" else "nut"
    if fastener.washer is None:
        return (_pressed(f"{part} on {head.name}", fastener.bearing, preload, head),)
    washer = fastener.washer
    return (
        _pressed(f"{part} on its washer", fastener.bearing, preload, washer.material),
        _pressed(f"washer on {head.name}", washer.seat, preload, head),
    )


def _pressed(face: str, ring: BearingFace, preload: float, beneath: Material) -> BearingCheck:
    return BearingCheck(face, preload / ring.area, beneath.bearing_limit)


@dataclass(frozen=True)
class StripCheck:
    """Load at which one thread of a pair shears off.

    Attributes
    ----------
    thread : str
        Which thread, in words.
    area : float
        Shear area at the worst limits of size [mm^2].
    shear_strength : float
        Ultimate shear stress taken [MPa].
    source : Source
        Backing of that stress.
    """

    thread: str
    area: float
    shear_strength: float
    source: Source

    @property
    def load(self) -> float:
        """Load at which the thread strips [N]."""
        return self.area * self.shear_strength


def check_stripping(fastener: Fastener) -> tuple[StripCheck, ...]:
    """Return the stripping loads at the block end, weakest first, at the worst limits of size.

    Both threads of the pair, and with an insert its outer thread in the block. A nut of the
    fastener's own grade is taken to be stronger than the fastener and is not checked.

    Parameters
    ----------
    fastener : Fastener
        The fastener with its tapped hole.

    Raises
    ------
    MaterialError
        If the block material states no shear strength.
    """
    hole = fastener.hole
    block = hole.material
    shear, source = _fastener_shear(fastener.material)
    own = StripCheck(
        f"{fastener.name}'s own thread", _external_area(hole.thread, hole.engagement), shear, source
    )
    cut, length = (
        (hole.insert.outer_thread, hole.insert.length) if hole.insert else (hole.thread, hole.engagement)
    )
    name = "insert's outer thread in the block" if hole.insert else "tapped thread in the block"
    inner = StripCheck(
        name, _internal_area(cut, length), block.needed("shear_strength"), block.source_of("shear_strength")
    )
    return tuple(sorted((own, inner), key=lambda check: check.load))


def _fastener_shear(material: Material) -> tuple[float, Source]:
    if material.shear_strength is not None:
        return material.shear_strength, material.source_of("shear_strength")
    return SHEAR_RATIO[0] * material.needed("strength"), SHEAR_RATIO[1]


def _internal_area(thread: Thread, engagement: float) -> float:
    limits = thread.limits
    return internal_strip_area(thread.pitch, engagement, limits.external_major_min, limits.internal_pitch_max)


def _external_area(thread: Thread, engagement: float) -> float:
    limits = thread.limits
    return external_strip_area(thread.pitch, engagement, limits.internal_minor_max, limits.external_pitch_min)


def recommended_engagement(fastener: Fastener) -> tuple[float, float, Source] | None:
    """Return the engagement that trials recommend, least and most [mm], where they cover the pair.

    Parameters
    ----------
    fastener : Fastener
        The fastener with its tapped hole.
    """
    row = RECOMMENDED_ENGAGEMENT.get(
        (fastener.hole.material.name, fastener.material.name.removeprefix("class "))
    )
    if row is None:
        return None
    least, most, source = row
    diameter = fastener.hole.thread.diameter
    return least * diameter, most * diameter, source


def required_engagement(thread: Thread, load: float, shear_strength: float) -> float:
    """Return the length of full thread at which the tapped thread bears `load` [mm].

    At the worst limits of size. To have the fastener break before the block's thread strips,
    use the greatest tensile load of the fastener.

    Parameters
    ----------
    thread : Thread
        Thread of the hole.
    load : float
        Load [N].
    shear_strength : float
        Ultimate shear stress of the block [MPa].
    """
    per_length = _internal_area(thread, 1.0)
    return load / (per_length * shear_strength) if per_length > 0.0 else math.inf

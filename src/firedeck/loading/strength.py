"""What fastener, seat and threads bear: yield while turning, surface pressure, stripping."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firedeck.definition.fastener import BearingFace, Fastener
from firedeck.definition.material import Material
from firedeck.definition.thread import Thread
from firedeck.definition.tightening import Tightening, TighteningError
from firedeck.evidence import Basis, Source
from firedeck.kernel.bolt import preload_at_stress, reduced_stress, thread_torque
from firedeck.kernel.thread import external_strip_area, internal_strip_area
from firedeck.loading.compliance import fastener_compliance
from firedeck.loading.preload import preload_after, torque_for_preload
from firedeck.units import to_unit

__all__ = [
    "RECOMMENDED_ENGAGEMENT",
    "RESIDUAL_TWIST",
    "SHEAR_RATIO",
    "BearingCheck",
    "StripCheck",
    "YieldCheck",
    "check_bearing",
    "check_stripping",
    "check_yield",
    "preload_at_yield",
    "recommended_engagement",
    "require_elastic",
    "required_engagement",
]

#: Share of the thread torque that still twists the fastener after the wrench is off [1].
RESIDUAL_TWIST = (0.5, Source(Basis.MEMORY, "VDI 2230:2003", "reduction coefficient of residual torsion"))

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
class YieldCheck:
    """Stress of a fastener's smallest section against its yield strength.

    Attributes
    ----------
    preload : float
        Preload checked [N].
    turning, settled : float
        Von Mises stress while turning, and with the twist that stays [MPa].
    yield_strength : float
        Yield strength [MPa].
    yield_preload, yield_torque : float
        Preload [N] and torque [N*mm] at which the section yields while turning.
    """

    preload: float
    turning: float
    settled: float
    yield_strength: float
    yield_preload: float
    yield_torque: float

    @property
    def utilisation(self) -> float:
        """Stress while turning over yield strength [1]."""
        return self.turning / self.yield_strength

    @property
    def utilisation_settled(self) -> float:
        """Stress after the wrench is off over yield strength [1]."""
        return self.settled / self.yield_strength


def preload_at_yield(fastener: Fastener, thread_mu: float, share: float = 1.0, twist: float = 1.0) -> float:
    """Return the preload at which the fastener reaches a share of its yield strength [N].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    thread_mu : float
        Friction in the thread [1].
    share : float
        Share of the yield strength allowed, 0.9 in the tables of VDI 2230 [1].
    twist : float
        Share of the thread torque that twists the section: 1 turning, 0 pulled [1].
    """
    thread = fastener.turned_thread
    stress = share * fastener.material.needed("yield_strength")
    return float(
        preload_at_stress(
            stress, fastener.smallest_area, thread.pitch, thread.pitch_diameter, thread_mu, twist
        )
    )


def check_yield(
    fastener: Fastener, preload: float, thread_mu: float, bearing_mu: float, *, turned: bool = True
) -> YieldCheck:
    """Compare a fastener's combined stress with its yield strength.

    The lowest friction gives the highest preload at a given torque and is the case to check.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    preload : float
        Preload [N].
    thread_mu, bearing_mu : float
        Friction in the thread and under the turned face [1].
    turned : bool
        Whether it was turned tight; a tensioner pulls without twist.
    """
    thread, area = fastener.turned_thread, fastener.smallest_area
    twist = float(thread_torque(preload, thread.pitch, thread.pitch_diameter, thread_mu)) * turned
    limit = preload_at_yield(fastener, thread_mu, twist=float(turned))
    return YieldCheck(
        preload,
        float(reduced_stress(preload, twist, area)),
        float(reduced_stress(preload, RESIDUAL_TWIST[0] * twist, area)),
        fastener.material.needed("yield_strength"),
        limit,
        float(torque_for_preload(fastener, limit, thread_mu, bearing_mu)),
    )


def _both_units(torque: float) -> str:
    feet = to_unit(torque, "torque", "force_pound * foot")
    return f"{torque / 1000.0:.0f} N*m ({feet:.0f} lbf*ft)"


def require_elastic(fastener: Fastener, tightening: Tightening, joint_compliance: float) -> None:
    """Refuse a tightening that yields the fastener at typical friction without being meant to.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages and lubricant.
    joint_compliance : float
        Give of head, gasket and block at this fastener [mm/N].

    Raises
    ------
    TighteningError
        Naming the torque, or the preload and angle, at which the fastener would yield.
    """
    if tightening.to_yield:
        return
    lubricant = tightening.lubricant
    twist = 0.0 if tightening.method == "hydraulic" else 1.0
    limit = preload_at_yield(fastener, lubricant.thread.middle, twist=twist)
    _refuse_torque(fastener, tightening, limit)
    reached = float(preload_after(fastener, tightening, joint_compliance))
    if reached <= limit:
        return
    over = (reached - limit) * (fastener_compliance(fastener) + joint_compliance)
    angle = 360.0 * over / fastener.turned_thread.pitch
    hint = f", {angle:.0f} deg less" if tightening.method == "torque and angle" else ""
    raise TighteningError(
        f"{fastener.name} would yield: the stages end at {reached / 1000.0:.1f} kN, "
        f"and it yields at {limit / 1000.0:.1f} kN",
        where="tightening",
        remedy=f"end lower{hint}, use a stronger fastener, or say to_yield = true with a last angle",
    )


def _refuse_torque(fastener: Fastener, tightening: Tightening, limit: float) -> None:
    lubricant = tightening.lubricant
    most = float(torque_for_preload(fastener, limit, lubricant.thread.middle, lubricant.bearing.middle))
    for place, stage in enumerate(tightening.stages, start=1):
        if stage.kind == "torque" and stage.amount > most:
            raise TighteningError(
                f"{_both_units(stage.amount)} is past yield: with {lubricant.name}, {fastener.name} "
                f"yields at {_both_units(most)}",
                where=f"tightening, stage {place}",
                remedy="lower the torque, use a stronger fastener, or a lubricant whose friction is known",
            )


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

"""Yield of the fastener while it is turned, and afterwards."""

from __future__ import annotations

from dataclasses import dataclass

from firedeck.definition.fastener import Fastener
from firedeck.definition.tightening import Tightening, TighteningError
from firedeck.evidence import Basis, Source
from firedeck.kernel.bolt import preload_at_stress, reduced_stress, thread_torque
from firedeck.loading.compliance import fastener_compliance
from firedeck.loading.preload import preload_after, torque_for_preload
from firedeck.units import show_torque

__all__ = [
    "RESIDUAL_TWIST",
    "YieldCheck",
    "check_over_friction",
    "check_yield",
    "preload_at_yield",
    "require_elastic",
]

#: Share of the thread torque that still twists the fastener after the wrench is off [1].
RESIDUAL_TWIST = (0.5, Source(Basis.MEMORY, "VDI 2230:2003", "reduction coefficient of residual torsion"))


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


def check_over_friction(
    fastener: Fastener, tightening: Tightening, joint_compliance: float
) -> dict[str, YieldCheck]:
    """Return the yield check after tightening at low, typical and high friction.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages and lubricant.
    joint_compliance : float
        Give of head, gasket and block at this fastener [mm/N].

    Returns
    -------
    dict of str to YieldCheck
        Keys ``low friction``, ``typical``, ``high friction``; where the fastener is meant to
        yield the utilisation is 1 once it does.
    """
    thread, bearing = tightening.lubricant.thread, tightening.lubricant.bearing
    cases = {
        "low friction": (thread.low, bearing.low),
        "typical": (thread.middle, bearing.middle),
        "high friction": (thread.high, bearing.high),
    }
    turned = tightening.method != "hydraulic"
    checks = {}
    for case, (mu, under) in cases.items():
        factors = {"thread friction": mu / thread.middle, "bearing friction": under / bearing.middle}
        preload = float(preload_after(fastener, tightening, joint_compliance, factors))
        checks[case] = check_yield(fastener, preload, mu, under, turned=turned)
    return checks


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
                f"{show_torque(stage.amount)} is past yield: with {lubricant.name}, {fastener.name} "
                f"yields at {show_torque(most)}",
                where=f"tightening, stage {place}",
                remedy="lower the torque, use a stronger fastener, or a lubricant whose friction is known",
            )

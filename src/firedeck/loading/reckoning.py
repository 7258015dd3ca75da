"""The clamp of a joint reckoned from how it is fastened: preloads, strength, losses, heat, gas load."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.deck import DeckPlan
from firedeck.definition.fastening import CylinderPressureWanted, Fastening
from firedeck.evidence import Estimate
from firedeck.kernel.bolt import reduced_stress, thread_torque
from firedeck.loading.fastened import FastenedJoint, GroupInPlace, fasten, gas_bores
from firedeck.loading.gas_load import Bores, ClampRatio, CylinderPressure, PlacedPreloads, clamp_ratios
from firedeck.loading.interaction import TighteningHistory
from firedeck.loading.settling import SettledPreload, settle
from firedeck.loading.spread import PreloadSpread, preload_spread
from firedeck.loading.strength import BearingCheck, StripCheck, check_bearing, check_stripping
from firedeck.loading.thermal import HotPreload, Warmth, hot_preload
from firedeck.loading.yielding import (
    RESIDUAL_TWIST,
    YieldCheck,
    check_over_friction,
    preload_at_yield,
    require_elastic,
)

__all__ = ["ClampReckoning", "CylinderClamp", "FastenerState", "GroupReckoning", "HeatEffect", "reckon_clamp"]

Floats = NDArray[np.float64]

_NORMAL_95 = 1.96


@dataclass(frozen=True)
class HeatEffect:
    """What the temperatures in operation do to a group's preload.

    Attributes
    ----------
    typical : HotPreload
        From the typical settled preload.
    preload : Estimate
        Preload in operation [N].
    utilisation : float
        Stress at the upper end of `preload`, with the twist that stays, over the yield strength
        that the material states for the fastener's temperature [1].
    """

    typical: HotPreload
    preload: Estimate
    utilisation: float


@dataclass(frozen=True)
class GroupReckoning:
    """Fasteners that are alike, each by itself, before neighbours matter.

    Attributes
    ----------
    place : GroupInPlace
        The group in its holes.
    spread : PreloadSpread
        Preload as tightened, with its scatter.
    yields : mapping of str to YieldCheck
        Yield check at ``low friction``, ``typical`` and ``high friction``.
    settled : SettledPreload
        After embedding and relaxation.
    heat : HeatEffect or None
        In operation; None where no temperatures are stated.
    greatest : float
        Highest preload to expect in any state, upper end of the 95 % band [N].
    bearing : tuple of BearingCheck
        Pressure of the seats at `greatest`.
    strips : tuple of StripCheck
        Stripping loads at the block end, weakest first.
    break_load : float or None
        Preload at which the fastener's smallest section breaks [N], where its strength is stated.
    """

    place: GroupInPlace
    spread: PreloadSpread
    yields: Mapping[str, YieldCheck]
    settled: SettledPreload
    heat: HeatEffect | None
    greatest: float
    bearing: tuple[BearingCheck, ...]
    strips: tuple[StripCheck, ...]
    break_load: float | None


@dataclass(frozen=True)
class FastenerState:
    """One fastener after the whole tightening.

    Attributes
    ----------
    name, group : str
        Its hole and its group.
    tightened, settled : Estimate
        Preload after the last move, and after settling [N].
    hot : Estimate or None
        Preload in operation [N].
    peak : float
        Highest preload that it passed through, typical [N].
    """

    name: str
    group: str
    tightened: Estimate
    settled: Estimate
    hot: Estimate | None
    peak: float


@dataclass(frozen=True)
class CylinderClamp:
    """Clamp against gas load of one cylinder.

    Attributes
    ----------
    cold : ClampRatio
        With the settled preloads at assembly temperature.
    hot : float or None
        Clamp over gas load with the preloads in operation [1].
    pressure : float
        Gas pressure [MPa].
    seal_diameter : float
        Diameter on which the gas acts [mm].
    """

    cold: ClampRatio
    hot: float | None
    pressure: float
    seal_diameter: float


@dataclass(frozen=True)
class ClampReckoning:
    """The clamp of a joint.

    Attributes
    ----------
    joint : FastenedJoint
        Fasteners on their bed.
    groups : tuple of GroupReckoning
        Each group by itself.
    fasteners : tuple of FastenerState
        Each fastener after the whole tightening, in the plan's order.
    history : TighteningHistory
        Preload of all after every move, typical friction.
    softer, stiffer : array, shape (n,)
        Final preloads if the gasket were half as stiff, and twice as stiff [N].
    total : Estimate
        Settled preload of all fasteners together [N].
    cylinders : tuple of CylinderClamp
        Clamp against gas load, the worst first; empty where no pressure is wanted.
    """

    joint: FastenedJoint
    groups: tuple[GroupReckoning, ...]
    fasteners: tuple[FastenerState, ...]
    history: TighteningHistory
    softer: Floats
    stiffer: Floats
    total: Estimate
    cylinders: tuple[CylinderClamp, ...]

    @property
    def final(self) -> Floats:
        """Typical preload of every fastener after the last move [N]."""
        return np.array([state.tightened.value for state in self.fasteners])

    def group_of(self, name: str) -> GroupReckoning:
        """Return the group whose fastener stands in a hole."""
        return next(group for group in self.groups if name in group.place.holes)


def reckon_clamp(fastening: Fastening, plan: DeckPlan) -> ClampReckoning:
    """Reckon what a fastening that fits the plan gives, see `check_fastening`.

    Parameters
    ----------
    fastening : Fastening
        The fastening.
    plan : DeckPlan
        The plan, with the seals of the gasket in use.

    Raises
    ------
    FiredeckError
        If a fastener would yield without being meant to, naming the torque at which it would, or
        a material does not state what a check needs.
    """
    joint = fasten(fastening, plan)
    groups = tuple(_reckon_group(fastening, place) for place in joint.groups)
    history = joint.tighten()
    cap = np.array([_yield_cap(joint.group_of(name)) for name in joint.names])
    states = tuple(
        _fastener_state(fastening, _of(groups, name), name, float(force), float(peak))
        for name, force, peak in zip(
            joint.names, np.minimum(history.final, cap), np.minimum(history.peak, cap), strict=True
        )
    )
    others = [fasten(fastening, plan, bed_factor=factor).tighten().final for factor in (0.5, 2.0)]
    cold = _placed(joint, groups, np.array([state.settled.value for state in states]))
    return ClampReckoning(
        joint,
        groups,
        states,
        history,
        np.minimum(others[0], cap),
        np.minimum(others[1], cap),
        _total(cold),
        _cylinders(fastening.cylinder_pressure, plan, cold, states),
    )


def _of(groups: tuple[GroupReckoning, ...], name: str) -> GroupReckoning:
    return next(group for group in groups if name in group.place.holes)


def _yield_cap(place: GroupInPlace) -> float:
    """Return the preload that a fastener turned to yield stops at [N]; none for the others."""
    if not place.tightening.to_yield:
        return math.inf
    return preload_at_yield(place.fastener, place.tightening.lubricant.thread.middle)


def _reckon_group(fastening: Fastening, place: GroupInPlace) -> GroupReckoning:
    fastener, tightening, give = place.fastener, place.tightening, place.joint_compliance
    require_elastic(fastener, tightening, give)
    spread = preload_spread(fastener, tightening, give)
    settled = settle(spread.one, fastening.settling, place.compliance)
    heat = _heat(place, settled.preload)
    greatest = max(spread.one.high, heat.preload.high if heat else 0.0)
    head = place.group.parts[0].material
    strength = fastener.material.strength
    return GroupReckoning(
        place,
        spread,
        check_over_friction(fastener, tightening, give),
        settled,
        heat,
        greatest,
        check_bearing(fastener, greatest, head),
        check_stripping(fastener),
        fastener.smallest_area * strength if strength is not None else None,
    )


def _hot(place: GroupInPlace, preload: float) -> HotPreload | None:
    """Return the preload in operation from the settled one; None where no temperatures are stated."""
    group = place.group
    if group.fastener_temperature is None:
        return None
    warmth = Warmth(
        group.fastener_temperature,
        tuple(20.0 if part.temperature is None else part.temperature for part in group.stack),
    )
    return hot_preload(place.fastener, place.stack, warmth, preload, other_compliance=place.bed_give)


def _hot_band(place: GroupInPlace, settled: Estimate) -> Estimate | None:
    ends = [_hot(place, force) for force in (settled.value, settled.low, settled.high)]
    warm = [end.preload for end in ends if end is not None]
    return Estimate(warm[0], warm[1], warm[2]) if warm else None


def _heat(place: GroupInPlace, settled: Estimate) -> HeatEffect | None:
    typical, band, warm = _hot(place, settled.value), _hot_band(place, settled), place.group
    if typical is None or band is None or warm.fastener_temperature is None:
        return None
    fastener, thread = place.fastener, place.fastener.turned_thread
    mu = place.tightening.lubricant.thread.middle
    twist = 0.0
    if place.tightening.method != "hydraulic":
        twist = RESIDUAL_TWIST[0] * float(thread_torque(band.high, thread.pitch, thread.pitch_diameter, mu))
    fastener.material.needed("yield_strength")
    strength = fastener.material.yield_strength
    limit = strength.at(warm.fastener_temperature) if strength else math.nan
    return HeatEffect(typical, band, float(reduced_stress(band.high, twist, fastener.smallest_area)) / limit)


def _fastener_state(
    fastening: Fastening, group: GroupReckoning, name: str, force: float, peak: float
) -> FastenerState:
    reach = math.exp(_NORMAL_95 * group.spread.standard)
    tightened = Estimate(force, force / reach, force * reach)
    settled = settle(tightened, fastening.settling, group.place.compliance).preload
    return FastenerState(
        name, group.place.group.name, tightened, settled, _hot_band(group.place, settled), peak
    )


def _placed(joint: FastenedJoint, groups: tuple[GroupReckoning, ...], preload: Floats) -> PlacedPreloads:
    """Place preloads with the widest scatter of all groups; what settling adds is common to all."""
    common = max(_common_after_settling(group) for group in groups)
    individual = max(group.spread.individual for group in groups)
    effect = min(group.spread.friction_effect for group in groups)
    return PlacedPreloads(joint.positions, preload, common, individual, effect)


def _common_after_settling(group: GroupReckoning) -> float:
    band, spread = group.settled.preload, group.spread
    if band.low <= 0.0:
        return math.inf
    whole = math.log(band.high / band.low) / (2.0 * _NORMAL_95)
    return math.sqrt(max(whole**2 - spread.individual**2, spread.common**2))


def _total(clamp: PlacedPreloads) -> Estimate:
    whole = float(clamp.preload.sum())
    if whole <= 0.0:
        return Estimate(0.0, 0.0, 0.0)
    apart = clamp.individual * float(np.linalg.norm(clamp.preload)) / whole
    reach = math.exp(_NORMAL_95 * math.hypot(clamp.common, apart))
    return Estimate(whole, whole / reach, whole * reach)


def _cylinders(
    wanted: CylinderPressureWanted | None,
    plan: DeckPlan,
    cold: PlacedPreloads,
    states: tuple[FastenerState, ...],
) -> tuple[CylinderClamp, ...]:
    if wanted is None:
        return ()
    bores = gas_bores(plan, wanted.seal_diameter)
    factors = np.array(wanted.cylinder_factors or (1.0,) * len(bores.names))
    pressure = CylinderPressure(wanted.value * factors, wanted.scatter / _NORMAL_95)
    hot = _hot_ratios(bores, cold, pressure, states)
    places = {name: place for place, name in enumerate(bores.names)}
    return tuple(
        CylinderClamp(
            ratio,
            hot.get(ratio.cylinder),
            float(wanted.value * factors[places[ratio.cylinder]]),
            float(bores.seal_diameters[places[ratio.cylinder]]),
        )
        for ratio in clamp_ratios(bores, cold, pressure)
    )


def _hot_ratios(
    bores: Bores, cold: PlacedPreloads, pressure: CylinderPressure, states: tuple[FastenerState, ...]
) -> dict[str, float]:
    """Return clamp over gas load in operation; a group without temperatures counts as it is cold."""
    if all(state.hot is None for state in states):
        return {}
    preload = np.array([(state.hot or state.settled).value for state in states])
    warm = PlacedPreloads(cold.positions, preload)
    return {ratio.cylinder: ratio.ratio.value for ratio in clamp_ratios(bores, warm, pressure)}

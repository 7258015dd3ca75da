"""Torque, angle, stretch or tension to preload, for one fastener by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firedeck.definition.fastener import Fastener
from firedeck.definition.tightening import Lubricant, Stage, Tightening, TighteningError
from firedeck.kernel.bolt import (
    Reals,
    bearing_friction,
    bearing_torque,
    preload_at_stress,
    thread_friction,
    thread_torque,
)
from firedeck.loading.compliance import fastener_compliance, stretch_compliance
from firedeck.units import to_unit

__all__ = [
    "INFLUENCES",
    "TorqueRow",
    "TorqueShares",
    "angle_for_preload",
    "friction_from_test",
    "nut_factor",
    "preload_after",
    "preload_for_torque",
    "stretch_for_preload",
    "torque_for_preload",
    "torque_shares",
    "torque_table",
]

#: What makes one fastener's preload differ from the typical one; each is a factor on its typical value.
INFLUENCES = (
    "thread friction",
    "bearing friction",
    "wrench",
    "angle",
    "stretch gauge",
    "tensioner",
    "yield strength",
    "compliance",
)


def torque_for_preload(fastener: Fastener, preload: Reals, thread_mu: Reals, bearing_mu: Reals) -> Reals:
    """Return the tightening torque for a preload, exact Kellermann-Klein [N*mm].

    Parameters
    ----------
    fastener : Fastener
        The fastener; its nut, or its head, is turned.
    preload : float or array
        Preload wanted [N].
    thread_mu, bearing_mu : float or array
        Friction in the thread and under the turned face [1].
    """
    thread = fastener.turned_thread
    turned = thread_torque(preload, thread.pitch, thread.pitch_diameter, thread_mu)
    return turned + bearing_torque(preload, fastener.bearing.mean_diameter, bearing_mu)


def preload_for_torque(fastener: Fastener, torque: Reals, thread_mu: Reals, bearing_mu: Reals) -> Reals:
    """Return the preload that a torque gives, exact Kellermann-Klein [N].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    torque : float or array
        Tightening torque [N*mm].
    thread_mu, bearing_mu : float or array
        Friction in the thread and under the turned face [1].
    """
    return torque / torque_for_preload(fastener, 1.0, thread_mu, bearing_mu)


def nut_factor(fastener: Fastener, thread_mu: float, bearing_mu: float) -> float:
    """Return ``K = T / (F d)``, the single figure of workshop tables [1].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    thread_mu, bearing_mu : float
        Friction in the thread and under the turned face [1].
    """
    return float(torque_for_preload(fastener, 1.0, thread_mu, bearing_mu)) / fastener.turned_thread.diameter


@dataclass(frozen=True)
class TorqueShares:
    """Where a tightening torque goes, as shares of the whole [1]."""

    pitch: float
    thread: float
    bearing: float


def torque_shares(fastener: Fastener, thread_mu: float, bearing_mu: float) -> TorqueShares:
    """Return how much of the torque stretches the fastener and how much friction takes.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    thread_mu, bearing_mu : float
        Friction in the thread and under the turned face [1].
    """
    whole = float(torque_for_preload(fastener, 1.0, thread_mu, bearing_mu))
    pitch = fastener.turned_thread.pitch / (2.0 * np.pi) / whole
    bearing = 0.5 * fastener.bearing.mean_diameter * bearing_mu / whole
    return TorqueShares(pitch, 1.0 - pitch - bearing, bearing)


def friction_from_test(
    fastener: Fastener, preload: float, torque: float, torque_in_thread: float
) -> tuple[float, float]:
    """Recover thread and bearing friction from a torque-tension test, exactly [1].

    Parameters
    ----------
    fastener : Fastener
        The fastener tested.
    preload : float
        Force measured [N].
    torque : float
        Whole torque [N*mm].
    torque_in_thread : float
        Part of it that reached the thread [N*mm].

    Returns
    -------
    tuple of float
        Thread and bearing coefficient [1].

    Raises
    ------
    TighteningError
        If the figures leave no friction.
    """
    thread = fastener.turned_thread
    in_thread = float(thread_friction(torque_in_thread, preload, thread.pitch, thread.pitch_diameter))
    under = float(bearing_friction(torque - torque_in_thread, preload, fastener.bearing.mean_diameter))
    if in_thread <= 0.0 or under <= 0.0:
        raise TighteningError(
            "the test leaves no friction: the torques are too small for the force",
            remedy="check the units of force and torque, and which torque reached the thread",
        )
    return in_thread, under


@dataclass(frozen=True)
class TorqueRow:
    """Torque for one preload at one state of the lubricant.

    Attributes
    ----------
    case : str
        ``low friction``, ``typical`` or ``high friction``.
    preload : float
        Preload [N].
    torque : float
        Torque [N*mm].
    preload_at_typical_torque : float
        Preload that the typical row's torque gives at this friction [N].
    """

    case: str
    preload: float
    torque: float
    preload_at_typical_torque: float

    @property
    def newton_metres(self) -> float:
        """Torque [N*m]."""
        return self.torque / 1000.0

    @property
    def pound_feet(self) -> float:
        """Torque [lbf*ft]."""
        return to_unit(self.torque, "torque", "force_pound * foot")


def torque_table(fastener: Fastener, lubricant: Lubricant, preload: float) -> tuple[TorqueRow, ...]:
    """Return the torque for a wanted preload at low, typical and high friction.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    lubricant : Lubricant
        Its friction ranges.
    preload : float
        Preload wanted [N].
    """
    thread, bearing = lubricant.thread, lubricant.bearing
    cases = (
        ("low friction", thread.low, bearing.low),
        ("typical", thread.middle, bearing.middle),
        ("high friction", thread.high, bearing.high),
    )
    usual = float(torque_for_preload(fastener, preload, thread.middle, bearing.middle))
    return tuple(
        TorqueRow(
            case,
            preload,
            float(torque_for_preload(fastener, preload, mu, under)),
            float(preload_for_torque(fastener, usual, mu, under)),
        )
        for case, mu, under in cases
    )


def stretch_for_preload(fastener: Fastener, preload: float) -> float:
    """Return how much longer the fastener is at a preload, measured end to end [mm].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    preload : float
        Preload [N].
    """
    return preload * stretch_compliance(fastener)


def angle_for_preload(
    fastener: Fastener, preload: float, joint_compliance: float, start: float = 0.0
) -> float:
    """Return the angle that raises the preload from `start` to `preload`, elastically [deg].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    preload, start : float
        Preload wanted and preload already there [N].
    joint_compliance : float
        Give of head, gasket and block at this fastener [mm/N]; 0 for a rigid joint.
    """
    travel = (preload - start) * (fastener_compliance(fastener) + joint_compliance)
    return 360.0 * travel / fastener.turned_thread.pitch


def preload_after(
    fastener: Fastener,
    tightening: Tightening,
    joint_compliance: float,
    factors: Mapping[str, Reals] | None = None,
) -> Reals:
    """Return the preload after all stages, for one fastener whose neighbours do not matter [N].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    tightening : Tightening
        Stages, lubricant and tool.
    joint_compliance : float
        Give of head, gasket and block at this fastener [mm/N].
    factors : mapping of str to float or array, optional
        Factor on the typical value of any of `INFLUENCES`; 1 where not given.
    """
    state = _Turning(
        fastener, tightening, joint_compliance, {**dict.fromkeys(INFLUENCES, 1.0), **(factors or {})}
    )
    preload: Reals = 0.0
    for stage in tightening.stages:
        preload = state.after(stage, preload)
    if not tightening.to_yield:
        return preload
    capped: Reals = np.minimum(preload, state.yield_preload())
    return capped


@dataclass(frozen=True)
class _Turning:
    """One fastener with its friction and tool errors, stage by stage."""

    fastener: Fastener
    tightening: Tightening
    joint_compliance: float
    factors: Mapping[str, Reals]

    @property
    def thread_mu(self) -> Reals:
        return self.tightening.lubricant.thread.middle * self.factors["thread friction"]

    @property
    def bearing_mu(self) -> Reals:
        return self.tightening.lubricant.bearing.middle * self.factors["bearing friction"]

    def yield_preload(self) -> Reals:
        thread = self.fastener.turned_thread
        stress = self.fastener.material.needed("yield_strength") * self.factors["yield strength"]
        area = self.fastener.smallest_area
        return preload_at_stress(stress, area, thread.pitch, thread.pitch_diameter, self.thread_mu)

    def after(self, stage: Stage, preload: Reals) -> Reals:
        if stage.kind == "torque":
            torque = stage.amount * self.factors["wrench"]
            reached = preload_for_torque(self.fastener, torque, self.thread_mu, self.bearing_mu)
            higher: Reals = np.maximum(preload, reached)
            return higher
        if stage.kind == "angle":
            travel = stage.amount / 360.0 * self.fastener.turned_thread.pitch * self.factors["angle"]
            give = (fastener_compliance(self.fastener) + self.joint_compliance) * self.factors["compliance"]
            return preload + travel / give
        if stage.kind == "stretch":
            length = stage.amount * self.factors["stretch gauge"]
            return length / (stretch_compliance(self.fastener) * self.factors["compliance"])
        if stage.kind == "tension":
            kept = 1.0 - self.tightening.transfer_loss
            return stage.amount * kept * self.factors["tensioner"]
        return 0.0

"""The pictures of a fastening: preloads, the fan of a torque, clamp over gas load, the order."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from firedeck.drawing.clamp_picture import CylinderShare, clamp_figure
from firedeck.drawing.order_picture import order_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.drawing.preload_picture import PreloadBar, preload_figure
from firedeck.drawing.torque_picture import TorqueFan, torque_figure
from firedeck.loading.fastened import gas_bores
from firedeck.loading.gas_load import share_fasteners
from firedeck.loading.preload import preload_for_torque, torque_for_preload
from firedeck.loading.reckoning import GroupReckoning
from firedeck.loading.yielding import preload_at_yield
from firedeck.report.document import Picture
from firedeck.study.fastening.assessment import FasteningReading
from firedeck.verdict import State

__all__ = ["clamp_picture", "fan_picture", "order_of", "preload_picture"]

#: Places along the line at which a fastener yields.
_YIELD_POINTS = 41


def _picture(name: str, figure: Figure, caption: str) -> Picture:
    return Picture(name, to_png_bytes(figure), caption)


def preload_picture(reading: FasteningReading) -> Picture:
    """Draw the preload of every fastener with its scatter."""
    clamp = reading.clamp
    bars = [
        PreloadBar(
            state.name,
            state.tightened,
            state.settled,
            state.hot,
            state.peak,
            clamp.group_of(state.name).yields["typical"].yield_preload,
        )
        for state in clamp.fasteners
    ]
    caption = (
        "Preload of every fastener after the whole tightening, with the band that holds 95 of 100. Bars and "
        "dots: after the last move; diamonds: once embedding and relaxation are done; squares: with the "
        "temperatures in operation. Short black lines: the highest preload passed through, typical friction. "
        "The broken line holds while the wrench turns; once it is off, a fastener stands more."
    )
    return _picture("preloads", preload_figure(bars, title="Preload of every fastener"), caption)


def fan_picture(group: GroupReckoning, place: int) -> Picture:
    """Draw the fan of preloads that a torque gives a group's fasteners; `place` counts the groups from 1."""
    fastener, tightening = group.place.fastener, group.place.tightening
    thread, bearing = tightening.lubricant.thread, tightening.lubricant.bearing

    def slope(mu: float, under: float) -> float:
        return float(preload_for_torque(fastener, 1.0, mu, under))

    shares = np.linspace(0.0, 1.0, _YIELD_POINTS)
    in_thread = thread.low * (thread.high / thread.low) ** shares
    under_face = bearing.low * (bearing.high / bearing.low) ** shares
    limits = np.array([preload_at_yield(fastener, float(mu)) for mu in in_thread])
    fan = TorqueFan(
        slope(thread.low, bearing.low),
        slope(thread.middle, bearing.middle),
        slope(thread.high, bearing.high),
        slope(0.9 * thread.middle, 0.9 * bearing.middle),
        slope(1.1 * thread.middle, 1.1 * bearing.middle),
        np.asarray(torque_for_preload(fastener, limits, in_thread, under_face)),
        limits,
        tuple(stage.amount for stage in tightening.stages if stage.kind == "torque"),
    )
    title = f"{group.place.group.name}: {fastener.turned_thread}, {fastener.material.name}"
    caption = (
        f"What a torque gives with {tightening.lubricant.name}. Shaded: thread and bearing friction both at "
        "the low or both at the high end of their range. Black: the last stage; grey: the stages before it. "
        "Beyond the broken line the fastener yields while it is turned."
    )
    return _picture(f"torque-{place}", torque_figure(fan, title=title), caption)


def clamp_picture(reading: FasteningReading) -> Picture | None:
    """Draw clamp over gas load on the plan; None where no cylinder pressure is stated."""
    wanted, plan, clamp = reading.files.fastening.cylinder_pressure, reading.files.plan, reading.clamp
    if wanted is None:
        return None
    bores = gas_bores(plan, wanted.seal_diameter)
    shares = dict(zip(bores.names, share_fasteners(bores, clamp.joint.positions), strict=True))
    holds = {part.part: part.state == State.HOLDS for part in reading.verdict.parts}
    cylinders = [
        CylinderShare(
            one.cold.cylinder,
            one.cold.ratio,
            one.hot,
            shares[one.cold.cylinder],
            holds[one.cold.cylinder],
        )
        for one in clamp.cylinders
    ]
    settled = np.array([state.settled.value for state in clamp.fasteners])
    caption = (
        "Clamp over gas load of every cylinder with its 95 % band, settled and cold. Labels at the "
        "fasteners: settled preload. Grey lines: which cylinder a fastener's clamp is counted for, "
        "thicker for more. Orange edge: the cylinder does not hold by the rules above."
    )
    figure = clamp_figure(
        plan, cylinders, settled, title=f"Clamp over gas load at {wanted.value * 10:.0f} bar"
    )
    return _picture("clamp", figure, caption)


def order_of(reading: FasteningReading, *, title: str = "") -> Figure:
    """Draw the order of tightening on the plan."""
    joint = reading.clamp.joint
    groups = {hole: place for place, group in enumerate(joint.groups) for hole in group.holes}
    return order_figure(reading.files.plan, joint.sequence, groups, title=title)

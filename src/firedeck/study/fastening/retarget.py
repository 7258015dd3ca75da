"""A tightening changed so that it ends at another preload."""

from __future__ import annotations

from firedeck.definition.tightening import Stage, Tightening, TighteningError
from firedeck.loading.fastened import GroupInPlace
from firedeck.loading.preload import (
    angle_for_preload,
    preload_after,
    stretch_for_preload,
    torque_for_preload,
)
from firedeck.loading.yielding import preload_at_yield
from firedeck.units import show_torque

__all__ = ["aim_at"]


def aim_at(place: GroupInPlace, preload: float) -> Tightening:
    """Return a group's tightening with its amounts changed to end at a preload, typical friction.

    Torques keep their proportions and are rounded to whole newton-metres; with an angle, stretch
    or tension as last stage only that one is changed.

    Parameters
    ----------
    place : GroupInPlace
        The group.
    preload : float
        Preload wanted [N].

    Raises
    ------
    TighteningError
        If the preload is past yield, naming the torque that would yield, or below what the stages
        before the last give, or if the fasteners are meant to yield.
    """
    tightening = place.tightening
    if tightening.to_yield:
        raise TighteningError(
            "fasteners that are turned to yield take the preload at which they yield",
            remedy="leave --preload out, or end the tightening below yield",
        )
    _refuse_past_yield(place, preload)
    last = tightening.stages[-1]
    if last.kind == "torque":
        stages = _scaled(place, preload)
    else:
        stages = (*tightening.stages[:-1], _last(place, preload))
    return tightening.model_copy(update={"stages": stages, "sequence": ()})


def _refuse_past_yield(place: GroupInPlace, preload: float) -> None:
    lubricant = place.tightening.lubricant
    mu, under = lubricant.thread.middle, lubricant.bearing.middle
    twist = 0.0 if place.tightening.method == "hydraulic" else 1.0
    limit = preload_at_yield(place.fastener, mu, twist=twist)
    if preload <= limit:
        return
    torque = f", at {show_torque(float(torque_for_preload(place.fastener, limit, mu, under)))}"
    raise TighteningError(
        f"{preload / 1e3:.4g} kN is past yield: with {lubricant.name}, {place.fastener.name} yields at "
        f"{limit / 1e3:.1f} kN{torque if twist else ''}",
        remedy="ask for less preload, or use a stronger fastener",
    )


def _scaled(place: GroupInPlace, preload: float) -> tuple[Stage, ...]:
    lubricant, stages = place.tightening.lubricant, place.tightening.stages
    wanted = float(
        torque_for_preload(place.fastener, preload, lubricant.thread.middle, lubricant.bearing.middle)
    )
    factor = wanted / stages[-1].amount
    return tuple(
        Stage.model_validate({"torque": f"{max(round(stage.amount * factor / 1000.0), 1)} N*m"})
        if stage.kind == "torque"
        else stage
        for stage in stages
    )


def _last(place: GroupInPlace, preload: float) -> Stage:
    fastener, tightening, give = place.fastener, place.tightening, place.joint_compliance
    kind = tightening.stages[-1].kind
    if kind == "angle":
        before = tightening.model_copy(update={"stages": tightening.stages[:-1]})
        start = float(preload_after(fastener, before, give))
        if start >= preload:
            raise TighteningError(
                f"the stages before the angle already give {start / 1e3:.1f} kN",
                remedy="ask for more preload, or lower the torque before the angle",
            )
        return Stage.model_validate({"angle": f"{angle_for_preload(fastener, preload, give, start):.0f} deg"})
    if kind == "stretch":
        return Stage.model_validate({"stretch": f"{stretch_for_preload(fastener, preload):.2f} mm"})
    return Stage.model_validate({"tension": f"{preload / (1.0 - tightening.transfer_loss) / 1e3:.1f} kN"})

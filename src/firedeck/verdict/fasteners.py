"""From a reckoned clamp to a verdict for every group of fasteners, the sequence and every cylinder."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.definition.fastening import CylinderPressureWanted
from firedeck.evidence import Basis, Source
from firedeck.loading.reckoning import ClampReckoning, CylinderClamp, GroupReckoning
from firedeck.loading.strength import BearingCheck, StripCheck
from firedeck.loading.yielding import YieldCheck
from firedeck.units import show_torque
from firedeck.verdict.state import Reason, State, governing_reason, worst

__all__ = ["ClampVerdict", "PartVerdict", "judge_clamp", "unevenness"]

#: Share of the yield strength that a torque may use at typical friction [1].
YIELD_SHARE = (
    0.9,
    Source(Basis.PUBLISHED, "VDI 2230, tables of assembly preload", "90 % of yield while turning"),
)

#: Difference between the tightest and the slackest fastener over their mean that is taken as even [1].
EVEN_WITHIN = (0.10, Source(Basis.COMMON_PRACTICE))

_LOW_FRICTION = Source(Basis.COMMON_PRACTICE, "the lowest friction that is likely must not yield")
_LIMIT = "limiting pressure that the material states"
_BREAK_FIRST = Source(Basis.COMMON_PRACTICE, "the fastener should break before the block's thread strips")


@dataclass(frozen=True)
class PartVerdict:
    """Verdict on one part of the clamp: a group of fasteners, the sequence, or a cylinder.

    Attributes
    ----------
    part : str
        What is judged.
    state : State
        The worst of its reasons.
    reasons : tuple of Reason
        Every rule that was applied.
    """

    part: str
    state: State
    reasons: tuple[Reason, ...]

    @property
    def governing(self) -> Reason:
        """The first reason that leads to the verdict's state."""
        return governing_reason(self.reasons, self.state)


@dataclass(frozen=True)
class ClampVerdict:
    """Verdict on a whole fastening.

    Attributes
    ----------
    state : State
        The worst of its parts.
    parts : tuple of PartVerdict
        Groups, sequence, cylinders.
    remarks : tuple of str
        What must be borne in mind whatever the verdict.
    """

    state: State
    parts: tuple[PartVerdict, ...]
    remarks: tuple[str, ...]


_REMARKS = (
    "The preloads are reckoned, not measured. Stretch measured on the fasteners beats every torque.",
    "Clamp above the gas load is not a seal: what counts is the line load where it is lowest, which a print "
    "shows.",
)


def judge_clamp(clamp: ClampReckoning, wanted: CylinderPressureWanted | None) -> ClampVerdict:
    """Judge a reckoned clamp.

    Parameters
    ----------
    clamp : ClampReckoning
        The clamp.
    wanted : CylinderPressureWanted or None
        Pressure that it must hold down.

    Returns
    -------
    ClampVerdict
        States with reasons; what is not stated is `not shown`, never a pass.
    """
    parts = [_part(group.place.group.name, _group_reasons(group)) for group in clamp.groups]
    parts.append(_part("sequence", [_sequence_reason(clamp)]))
    if wanted is None:
        text = "no cylinder pressure is stated, so clamp and gas load are not compared"
        parts.append(_part("gas load", [Reason("gas load", State.NOT_SHOWN, text, "")]))
    else:
        parts += [_part(one.cold.cylinder, [_gas_reason(one, wanted)]) for one in clamp.cylinders]
    return ClampVerdict(worst(part.state for part in parts), tuple(parts), _REMARKS)


def _percent(value: float, decimals: int = 0) -> str:
    return f"{100.0 * value:.{decimals}f} %"


def _part(name: str, reasons: list[Reason]) -> PartVerdict:
    return PartVerdict(name, worst(reason.state for reason in reasons), tuple(reasons))


def _group_reasons(group: GroupReckoning) -> list[Reason]:
    return [
        _yield_reason(group),
        *(_bearing_reason(check, group) for check in group.bearing),
        *_strip_reasons(group),
        _heat_reason(group),
    ]


def _yield_reason(group: GroupReckoning) -> Reason:
    low, typical = group.yields["low friction"], group.yields["typical"]
    if group.place.tightening.to_yield:
        text = f"turned until it yields, at about {typical.yield_preload / 1e3:.0f} kN; use it once only"
        return Reason("yield", State.HOLDS, text, "as the tightening states")
    text = _yield_text(low, typical, turned=group.place.tightening.method != "hydraulic")
    if low.utilisation > 1.0:
        return Reason("yield", State.MARGINAL, text, str(_LOW_FRICTION))
    state = State.MARGINAL if typical.utilisation > YIELD_SHARE[0] else State.HOLDS
    return Reason("yield", state, text, str(YIELD_SHARE[1]))


def _yield_text(low: YieldCheck, typical: YieldCheck, *, turned: bool) -> str:
    while_turned = (
        f"{_percent(typical.utilisation)} of yield while it is {'turned' if turned else 'pulled'} at typical "
        f"friction and {_percent(low.utilisation)} at the lowest"
    )
    if not turned:
        return f"{while_turned}; it yields at {typical.yield_preload / 1e3:.1f} kN"
    return (
        f"{while_turned}, {_percent(typical.utilisation_settled)} once the wrench is off; "
        f"it yields at {show_torque(typical.yield_torque)}, with the lowest friction at "
        f"{show_torque(low.yield_torque)}"
    )


def _bearing_reason(check: BearingCheck, group: GroupReckoning) -> Reason:
    if check.limit is None:
        text = f"{check.face}: {check.pressure:.0f} MPa; the material states no bearing_limit to compare with"
        return Reason("bearing pressure", State.NOT_SHOWN, text, "")
    usual = check.pressure * group.spread.typical / group.greatest
    text = (
        f"{check.face}: {usual:.0f} MPa typical, {check.pressure:.0f} MPa at the highest preload to expect; "
        f"{check.limit:.0f} MPa allowed"
    )
    return Reason("bearing pressure", _below(usual, check.pressure, check.limit), text, _LIMIT)


def _below(typical: float, high: float, limit: float) -> State:
    """Compare a typical value and its upper end with a limit that they must not pass."""
    if typical > limit:
        return State.GIVES
    return State.MARGINAL if high > limit else State.HOLDS


def _strip_reasons(group: GroupReckoning) -> Iterator[Reason]:
    for check in group.strips:
        state = _below(group.spread.typical, group.greatest, check.load)
        text = (
            f"{check.thread} strips at {check.load / 1e3:.0f} kN{_break_text(check, group)}; the highest "
            f"preload to expect is {group.greatest / 1e3:.0f} kN"
        )
        source = str(check.source)
        if state == State.HOLDS and _strips_before_breaking(check, group):
            state, source = State.MARGINAL, str(_BREAK_FIRST)
        yield Reason("thread", state, text, source)


def _strips_before_breaking(check: StripCheck, group: GroupReckoning) -> bool:
    return group.break_load is not None and check.load < group.break_load


def _break_text(check: StripCheck, group: GroupReckoning) -> str:
    if group.break_load is None:
        return ""
    order = "before" if _strips_before_breaking(check, group) else "after"
    return f", {order} the fastener breaks at {group.break_load / 1e3:.0f} kN"


def _heat_reason(group: GroupReckoning) -> Reason:
    heat = group.heat
    if heat is None:
        text = "no temperatures are stated, so what heat does to the preload is not shown"
        return Reason("heat", State.NOT_SHOWN, text, "")
    change = heat.typical.preload - group.settled.preload.value
    text = (
        f"heat changes the settled preload by {change / 1e3:+.1f} kN to {heat.preload.value / 1e3:.0f} kN; "
        f"the highest to expect, {heat.preload.high / 1e3:.0f} kN, is {_percent(heat.utilisation)} of yield"
    ).replace("-", "−")
    usual = heat.utilisation * heat.preload.value / max(heat.preload.high, 1e-9)
    state = State.GIVES if heat.preload.value <= 0.0 else _below(usual, heat.utilisation, 1.0)
    return Reason("heat", state, text, "yield strength that the material states")


def _sequence_reason(clamp: ClampReckoning) -> Reason:
    loose = clamp.history.came_loose
    if loose:
        text = f"{', '.join(loose)} came loose while the others were tightened"
        return Reason("sequence", State.GIVES, text, "no fastener may come loose")
    final, names = clamp.final, clamp.joint.names
    least, most = int(np.argmin(final)), int(np.argmax(final))
    text = (
        f"after the last move {names[least]} holds least, {final[least] / 1e3:.1f} kN, and {names[most]} "
        f"most, {final[most] / 1e3:.1f} kN: {_percent(unevenness(final), 1)} apart "
        f"({_percent(unevenness(clamp.softer), 1)} with a gasket half as stiff)"
    )
    state = State.MARGINAL if unevenness(final) > EVEN_WITHIN[0] else State.HOLDS
    return Reason("sequence", state, text, str(EVEN_WITHIN[1]))


def unevenness(preload: NDArray[np.float64]) -> float:
    """Return greatest less least preload over their mean [1]."""
    return float(np.ptp(preload) / preload.mean())


def _gas_reason(one: CylinderClamp, wanted: CylinderPressureWanted) -> Reason:
    ratio = one.cold.ratio
    hot = f", in operation {one.hot:.2f}" if one.hot is not None else ""
    text = (
        f"clamp is {ratio.value:.2f} times the gas load of {one.pressure * 10:.0f} bar "
        f"(95 %: {ratio.low:.2f} to {ratio.high:.2f}){hot}; with 10 % more friction "
        f"{one.cold.ratio_more_friction:.2f}; {wanted.ratio_min:g} is asked for"
    )
    if ratio.value < 1.0:
        return Reason("gas load", State.GIVES, text, "clamp below the gas load lifts the head")
    short = ratio.low < 1.0 or ratio.value < wanted.ratio_min
    return Reason("gas load", State.MARGINAL if short else State.HOLDS, text, str(wanted.ratio_source))

"""The pictures of a setting, as a report would draw them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from matplotlib.figure import Figure

from firedeck.contact import faces
from firedeck.drawing.bow_picture import surface_figure
from firedeck.drawing.giveway_picture import GiveBar, giveway_figure
from firedeck.drawing.map_picture import Mark, map_figure
from firedeck.drawing.strip_picture import SealView, curves_figure
from firedeck.evidence import Estimate
from firedeck.seal.laid import LaidLine, LaidMap, lay_lines
from firedeck.seal.summary import summarise_seal
from firedeck.study.clamp.answer import ClampAnswer, widths
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, OpenJoint

__all__ = ["PICTURES", "draw_clamp", "state_words"]

#: Side of the drawn map's cells [mm].
_PITCH_MM = 0.2


def state_words(answer: ClampAnswer) -> str:
    """Return the state that an answer shows, in words."""
    if answer.step is not None:
        return f"step {answer.step} of the tightening"
    gas = answer.setting.pressure
    return f"{answer.setting.state}, {answer.setting.bore} at {gas:.4g} MPa" if gas else answer.setting.state


def draw_clamp(opened: OpenJoint, answer: ClampAnswer, name: str) -> Figure:
    """Draw one picture of an answer.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    answer : ClampAnswer
        The answer.
    name : str
        A key of `PICTURES` [text].
    """
    return PICTURES[name](opened, answer)


def _laid(opened: OpenJoint, answer: ClampAnswer) -> LaidMap:
    lines = {
        one.seal: LaidLine(one.arc, one.line_load, width, 0.0)
        for one, width in zip(answer.seals, widths(opened), strict=True)
    }
    return lay_lines(opened.files.plan, lines, _PITCH_MM)


def _map(opened: OpenJoint, answer: ClampAnswer) -> Figure:
    plan, laid = opened.files.plan, _laid(opened, answer)
    marks = [
        Mark(str(number), weakest.point, False)
        for number, profile in enumerate(laid.profiles, start=1)
        if (weakest := summarise_seal(plan, profile).weakest) is not None
    ]
    return map_figure(plan, laid.map, weakest=marks, title=f"Predicted, {state_words(answer)}")


def _lines(opened: OpenJoint, answer: ClampAnswer) -> Figure:
    plan, limits = opened.files.plan, opened.files.prediction.limits
    views = [
        SealView(profile, summarise_seal(plan, profile), limits.least(profile.kind) or None)
        for profile in _laid(opened, answer).profiles
    ]
    return curves_figure(plan, views)


def _bow(opened: OpenJoint, answer: ClampAnswer) -> Figure:
    both = faces(answer.state)
    return surface_figure(
        opened.files.plan, both.place, both.head_bow(),
        label="head's face against its best plane [µm]", title=f"Head's bow, {state_words(answer)}",
    )  # fmt: skip


def _giveway(opened: OpenJoint, answer: ClampAnswer) -> Figure:
    bars = [
        GiveBar(one.seal, Estimate(one.pressure, one.pressure, one.pressure), one.reason)
        for one in opened.give_way(answer.setting)
    ]
    gas = answer.setting.pressure or None
    known = [bar for bar in bars if math.isfinite(bar.pressure.value)]
    rest = [bar for bar in bars if not math.isfinite(bar.pressure.value)]
    title = f"Give-way order, {answer.setting.state}"
    return giveway_figure([*known, *rest], highest=HIGHEST_SEARCHED, gas=gas, title=title)


#: Name -> how it is drawn.
PICTURES: Mapping[str, Callable[[OpenJoint, ClampAnswer], Figure]] = {
    "map": _map,
    "line-loads": _lines,
    "bow": _bow,
    "giveway": _giveway,
}

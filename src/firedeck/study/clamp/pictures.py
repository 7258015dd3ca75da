"""The pictures of a setting, as a report would draw them."""

from __future__ import annotations

import math
from collections.abc import Callable

from matplotlib.figure import Figure

from firedeck.contact import faces
from firedeck.drawing.bow_picture import surface_figure
from firedeck.drawing.film_picture import film_figure, film_pixels
from firedeck.drawing.giveway_picture import GiveBar, giveway_figure
from firedeck.drawing.map_picture import Mark, map_figure
from firedeck.drawing.strip_picture import SealView, curves_figure
from firedeck.errors import FiredeckError
from firedeck.evidence import Estimate, flag_bit
from firedeck.seal.laid import LaidLine, LaidMap, lay_lines
from firedeck.seal.summary import summarise_seal
from firedeck.study.clamp.answer import ClampAnswer, widths
from firedeck.study.clamp.doubted import ClampDoubts
from firedeck.study.clamp.opened import HIGHEST_SEARCHED, OpenJoint
from firedeck.units import to_unit

__all__ = ["PICTURES", "PRINT_PICTURES", "draw_clamp", "gas_words", "state_words"]

#: Side of the drawn map's cells [mm].
_PITCH_MM = 0.2


def gas_words(pressure: float, units: str = "metric") -> str:
    """Return a gas pressure [MPa] as a reader of a system of units writes it."""
    if units == "metric":
        return f"{10.0 * pressure:.4g} bar"
    return f"{to_unit(pressure, 'pressure', 'psi'):.0f} psi"


def state_words(answer: ClampAnswer, units: str = "metric") -> str:
    """Return the state that an answer shows, in words, gas in the units of a system."""
    if answer.step is not None:
        return f"step {answer.step} of the tightening"
    gas, setting = answer.setting.pressure, answer.setting
    return f"{setting.state}, {setting.bore} at {gas_words(gas, units)}" if gas else setting.state


def draw_clamp(
    opened: OpenJoint, answer: ClampAnswer, name: str, doubts: ClampDoubts | None = None
) -> Figure:
    """Draw one picture of an answer.

    Parameters
    ----------
    opened : OpenJoint
        The joint.
    answer : ClampAnswer
        The answer.
    name : str
        A key of `PICTURES` or `PRINT_PICTURES` [text].
    doubts : ClampDoubts, optional
        Whence the intervals of line loads and of the give-way order are taken.

    Raises
    ------
    FiredeckError
        For a picture of the print, if the prediction names no film.
    """
    known = doubts if answer.step is None else None
    return (PICTURES | PRINT_PICTURES)[name](opened, answer, known)


def _laid(opened: OpenJoint, answer: ClampAnswer, doubts: ClampDoubts | None) -> LaidMap:
    found = doubts.seals(answer.setting) if doubts else {}
    lines = {
        one.seal: LaidLine(one.arc, one.line_load, width, found[one.seal].share if found else 0.0)
        for one, width in zip(answer.seals, widths(opened), strict=True)
    }
    return lay_lines(opened.files.plan, lines, _PITCH_MM)


def _map(opened: OpenJoint, answer: ClampAnswer, doubts: ClampDoubts | None) -> Figure:
    plan, laid = opened.files.plan, _laid(opened, answer, doubts)
    marks = [
        Mark(str(number), weakest.point, False)
        for number, profile in enumerate(laid.profiles, start=1)
        if (weakest := summarise_seal(plan, profile).weakest) is not None
    ]
    return map_figure(plan, laid.map, weakest=marks, title=f"Predicted, {state_words(answer)}")


def _lines(opened: OpenJoint, answer: ClampAnswer, doubts: ClampDoubts | None) -> Figure:
    plan, limits = opened.files.plan, opened.files.prediction.limits
    views = [
        SealView(profile, summarise_seal(plan, profile), limits.least(profile.kind) or None)
        for profile in _laid(opened, answer, doubts).profiles
    ]
    return curves_figure(plan, views)


def _bow(opened: OpenJoint, answer: ClampAnswer, _doubts: ClampDoubts | None) -> Figure:
    both = faces(answer.state)
    return surface_figure(
        opened.files.plan, both.place, both.head_bow(),
        label="head's face against its best plane [µm]", title=f"Head's bow, {state_words(answer)}",
    )  # fmt: skip


def _giveway(opened: OpenJoint, answer: ClampAnswer, doubts: ClampDoubts | None) -> Figure:
    events = opened.give_way(answer.setting)
    ends = doubts.order(answer.setting) if doubts else {}
    bars = [
        GiveBar(
            f"{one.seal} ({one.bore})" if math.isfinite(one.pressure) else one.seal,
            ends.get(one.seal) or Estimate(one.pressure, one.pressure, one.pressure),
            one.reason,
        )
        for one in events
    ]
    gas = answer.setting.pressure or None
    known = [bar for bar in bars if math.isfinite(bar.pressure.value)]
    rest = [bar for bar in bars if not math.isfinite(bar.pressure.value)]
    title = f"Give-way order, {answer.setting.state}"
    return giveway_figure([*known, *rest], highest=HIGHEST_SEARCHED, gas=gas, title=title)


def _film(opened: OpenJoint, answer: ClampAnswer, _doubts: ClampDoubts | None) -> Figure:
    found = opened.film_print(answer.setting)
    if found.signal is None:
        raise FiredeckError("how dark the film would get is not known", remedy="calibrate the film first")
    pixels = film_pixels(found.signal, (found.map.flags & flag_bit("hole")) != 0)
    return film_figure(found.files.plan, pixels, found.map.grid, title=f"As {found.batch.name} would look")


def _felt(opened: OpenJoint, answer: ClampAnswer, _doubts: ClampDoubts | None) -> Figure:
    found = opened.film_print(answer.setting)
    return map_figure(found.files.plan, found.map, title="Predicted: pressure that the film would feel")


def _felt_lines(opened: OpenJoint, answer: ClampAnswer, _doubts: ClampDoubts | None) -> Figure:
    found = opened.film_print(answer.setting)
    plan, limits = found.files.plan, found.files.prediction.limits
    views = [
        SealView(profile, summarise_seal(plan, profile), limits.least(profile.kind) or None)
        for profile in found.laid.profiles
    ]
    return curves_figure(plan, views)


_Draw = Callable[[OpenJoint, ClampAnswer, ClampDoubts | None], Figure]

#: Name -> how it is drawn.
PICTURES: dict[str, _Draw] = {
    "map": _map,
    "line-loads": _lines,
    "bow": _bow,
    "giveway": _giveway,
}

#: The same for the print of a film test, which is tightened anew, on the film.
PRINT_PICTURES: dict[str, _Draw] = {
    "print-film": _film,
    "print-map": _felt,
    "print-line-loads": _felt_lines,
}

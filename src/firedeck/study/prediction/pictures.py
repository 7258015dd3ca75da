"""The pictures of a prediction: maps, strips, bow, leak paths, joint diagrams."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from matplotlib.figure import Figure

from firedeck.contact import JointState, faces
from firedeck.drawing.bow_picture import BowMark, surface_figure
from firedeck.drawing.diagram_picture import DiagramState, FastenerDiagram, diagram_figure
from firedeck.drawing.leak_picture import DrawnLeak, leak_figure
from firedeck.drawing.map_picture import Mark, map_figure
from firedeck.drawing.picture_file import to_png_bytes
from firedeck.drawing.states_picture import (
    SealStates,
    StateCurve,
    state_polar_figure,
    state_strip_figure,
)
from firedeck.drawing.strip_picture import SealView, curves_figure
from firedeck.report.document import Picture
from firedeck.seal.summary import summarise_seal
from firedeck.study.prediction.leaks import StateLeaks, leaks_of
from firedeck.study.prediction.predicting import PredictionReading, SealAnswer
from firedeck.verdict import State

__all__ = ["PredictionPictures"]

_DRAWN_PATHS = 6

#: How far a fastener is let back to see what the joint answers [mm].
_LET_BACK = 0.01


class PredictionPictures:
    """Pictures of one prediction, each drawn when asked for.

    Parameters
    ----------
    reading : PredictionReading
        The prediction.
    """

    def __init__(self, reading: PredictionReading) -> None:
        self.reading = reading
        self.plan = reading.files.plan
        self.settled = leaks_of(reading.files, reading.states.settled, "settled", reading.doubts)
        self.limits = reading.files.prediction.limits
        self.numbers = {answer.seal: place for place, answer in enumerate(reading.seals, start=1)}

    @property
    def worst_name(self) -> str:
        """State in which the least margin lies."""
        return self.reading.margins[0].governing.joint_state

    def worst(self) -> StateLeaks | None:
        """Return the state of the least margin as a map; None where it is the settled one."""
        name = self.worst_name
        if name == "settled":
            return None
        return leaks_of(self.reading.files, self.reading.states.all[name], name, self.reading.doubts)

    def map(self, one: StateLeaks) -> Picture:
        """Draw a state's pressure map with the weakest place of every seal."""
        judged = {margin.seal: margin.state for margin in self.reading.margins}
        marks = []
        for profile in one.laid.profiles:
            weakest = summarise_seal(self.plan, profile).weakest
            if weakest is not None:
                holds = judged[profile.name] == State.HOLDS
                marks.append(Mark(str(self.numbers[profile.name]), weakest.point, not holds))
        figure = map_figure(self.plan, one.laid.map, weakest=marks, title=f"Predicted, {one.name}")
        return _picture(
            f"map {one.name}",
            figure,
            f"Contact pressure predicted, {one.name}: each seal's line load spread over the width "
            "on which it presses. Triangles: weakest place of each seal, numbered as in the table "
            "of seals, orange where the seal is not predicted to hold.",
        )

    def strips(self) -> Iterator[Picture]:
        """Draw every bore seal unrolled, and its line load in all its states."""
        for answer in self.bore_answers:
            figure = state_strip_figure(
                self.plan, self._states(answer), self.settled.laid.map, above="contact pressure, settled"
            )
            yield _picture(
                f"strip {answer.seal}",
                figure,
                f"{answer.seal} unrolled. Above: contact pressure, settled. Below: line load in every state, "
                "firing with its own bore; the band is the 95 % interval of the settled one. ⌀ marks the "
                "nearest place to a fastener; the broken line is the least asked for under gas.",
            )

    @property
    def bore_answers(self) -> list[SealAnswer]:
        """The seals that enclose bores only."""
        bores = {bore.name for bore in self.plan.bores}
        enclosed = {seal.name: set(seal.enclosed) for seal in self.plan.seals}
        return [answer for answer in self.reading.seals if enclosed[answer.seal] <= bores]

    def _states(self, answer: SealAnswer) -> SealStates:
        profile = self.settled.laid.profiles[self.numbers[answer.seal] - 1]
        share = self.reading.doubts[answer.seal].share
        own = next(seal.enclosed for seal in self.plan.seals if seal.name == answer.seal)
        shown = [name for name in answer.states if "firing" not in name or name.partition(", ")[2] in own]
        curves = []
        for name in shown:
            carried = answer.states[name]
            band = name == "settled"
            curves.append(
                StateCurve(
                    name.partition(", ")[0],
                    carried.arc,
                    carried.line_load,
                    carried.line_load * (1.0 - share) if band else None,
                    carried.line_load * (1.0 + share) if band else None,
                )
            )
        return SealStates(profile, tuple(curves), self.limits.least(profile.kind))

    def polar(self) -> Picture | None:
        """Draw the line load round the bores."""
        views = [self._states(answer) for answer in self.bore_answers]
        if not any(view.profile.strip.line.is_round for view in views):
            return None
        return _picture(
            "polar",
            state_polar_figure(self.plan, views),
            "Line load [N/mm] round the bores as seen from the head, each bore firing by itself; broken "
            "circle: least asked for under gas. ⌀ marks the direction of a fastener.",
        )

    def curves(self) -> Picture | None:
        """Draw the line load of all other seals, settled."""
        bores = {answer.seal for answer in self.bore_answers}
        views = [
            SealView(profile, summarise_seal(self.plan, profile), self.limits.least(profile.kind) or None)
            for profile in self.settled.laid.profiles
            if profile.name not in bores
        ]
        if not views:
            return None
        return _picture(
            "curves",
            curves_figure(self.plan, views),
            "Line load [N/mm] of the other seals, settled, with 95 % band; triangle: weakest place; broken "
            "line: least asked for under gas; dotted: nearest to a fastener.",
        )

    def leaks(self) -> Picture | None:
        """Draw the leak paths of the settled joint that open first."""
        if not self.settled.first:
            return None
        failing = {margin.seal for margin in self.reading.margins if margin.state == State.GIVES}
        drawn = [
            DrawnLeak(
                Mark(f"L{place}", path.point, path.seal in failing),
                self.settled.trace(self.reading.files, path) if place <= _DRAWN_PATHS else np.zeros((0, 2)),
            )
            for place, path in enumerate(self.settled.first, start=1)
        ]
        figure = leak_figure(self.plan, self.settled.laid.map, drawn, title="Leak paths predicted, settled")
        return _picture("leaks", figure, "The way each seal of the settled joint would be passed first.")

    def bow(self) -> Iterator[Picture]:
        """Draw the head's face settled, and how the gap changes from there in the worst state."""
        settled = self.reading.states.settled
        both = faces(settled)
        yield self._surface(
            "bow", both.place, both.head_bow(), "head's face against its best plane [µm]",
            "Head's bow, settled", "settled",
            "The head's lower face, settled, against the plane that fits it best; up is away from the block. "
            "Numbers: how far the gap stands open midway between two fasteners, against beside them.",
        )  # fmt: skip
        name = self.worst_name
        if "firing" in name:
            state = self.reading.states.all[name]
            rest = self.reading.states.resting(name)
            opened = faces(state).opening - faces(rest).opening
            yield self._surface(
                "gap firing", both.place, opened, "gap opened by the gas [µm]", f"Opened by the gas: {name}",
                "", "How far the gas pushes head and block apart, against the same joint without gas.",
            )  # fmt: skip

    def _surface(
        self,
        name: str,
        place: np.ndarray,
        height: np.ndarray,
        label: str,
        title: str,
        bows: str,
        caption: str,
    ) -> Picture:
        marks = [] if not bows else self._bow_marks(bows)
        figure = surface_figure(
            self.plan,
            place,
            height,
            label=label,
            title=title,
            marks=marks,
        )
        return _picture(name, figure, caption)

    def _bow_marks(self, state: str) -> list[BowMark]:
        places = {seat.name: np.asarray(seat.place) for seat in self.reading.joint.seats}
        marks = []
        for bow in self.reading.bows[state]:
            middle = 0.5 * (places[bow.fasteners[0]] + places[bow.fasteners[1]])
            marks.append(BowMark((float(middle[0]), float(middle[1])), f"{1e3 * bow.opening:+.0f}"))
        return marks

    def diagrams(self) -> Picture:
        """Draw a joint diagram for every fastener."""
        reading = self.reading
        return _picture(
            "diagrams",
            diagram_figure([self._diagram(k) for k in range(len(reading.joint.seats))]),
            "Joint diagram of every fastener. The rising line is the fastener; the broken one is how the "
            "joint "
            "unloads about the settled state when this one fastener is let back and its neighbours stay. "
            "Firing moves a fastener up its line by its share of the gas load. Both lines are those of the "
            "cold joint; hot states stand on them at their tension.",
        )

    def _diagram(self, k: int) -> FastenerDiagram:
        reading, states = self.reading, self.reading.states
        seat = reading.joint.seats[k]
        _, high = reading.tension_range()[seat.name]
        named = [
            DiagramState("settled", float(states.settled.tension[k])),
            DiagramState("cold, as tightened", float(states.cold.tension[k])),
        ]
        if states.hot is not None:
            named.append(DiagramState("hot", float(states.hot.tension[k])))
        if states.under_gas:
            named += [DiagramState("highest while firing", high)]
        fastener = reading.files.clamp.joint.group_of(seat.name).fastener
        strength = fastener.material.yield_strength
        yields = fastener.smallest_area * strength.at(20.0) if strength is not None else math.inf
        stiffness = _joint_stiffness(reading.fast.settled, k)
        return FastenerDiagram(seat.name, seat.stiffness, stiffness, tuple(named), yields)


def _joint_stiffness(state: JointState, k: int) -> float:
    """Return what the joint answers one fastener with when it is let back a little [N/mm]."""
    seat = state.joint.seats[k]
    eased = state.turn_on(seat.name, -_LET_BACK)
    lost = float(state.tension[k] - eased.tension[k])
    stretch_lost = lost / seat.stiffness
    # What is not taken from the fastener's stretch, the joint has sprung back.
    sprung = max(_LET_BACK - stretch_lost, 1e-9)
    return lost / sprung


def _picture(name: str, figure: Figure, caption: str) -> Picture:
    return Picture(name.replace(",", "").replace(" ", "-"), to_png_bytes(figure), caption)

"""What a joint goes through from loose to firing, for one assembly or for thousands that scatter."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import CancelledError
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from firedeck.contact.assemblies import Assemblies, Lead, lead_after, loose_assemblies
from firedeck.contact.joint import Joint
from firedeck.contact.state import JointState
from firedeck.contact.tightening import loose_joint
from firedeck.contact.warmth import Warmth
from firedeck.errors import FiredeckError
from firedeck.kernel.threads import side_by_side

__all__ = [
    "Course",
    "Draws",
    "Fire",
    "Heat",
    "Settle",
    "Step",
    "Turn",
    "TurnOn",
    "assemble_many",
    "typical_states",
]

Floats = npt.NDArray[np.float64]
_T = TypeVar("_T")

#: Assemblies that go side by side: enough for a matrix product to pay, few enough to stay in the cache.
_SIDE_BY_SIDE = 128

#: Room for the leading assembly's inverse matrices [numbers].
_ROOM = 25_000_000


@dataclass(frozen=True)
class Turn:
    """Turn a fastener until it holds a preload.

    Attributes
    ----------
    fastener : str
        Its name [text].
    preload : float
        Preload at which the wrench stops, typical assembly [N].
    """

    fastener: str
    preload: float

    def one(self, state: JointState) -> JointState:
        """Take the step with one assembly."""
        return state.turn(self.fastener, self.preload)

    def many(self, rows: Assemblies, lead: Lead, draws: Draws) -> Assemblies:
        """Take the step with many."""
        preloads = self.preload * draws.preload[:, lead.state.place_of(self.fastener)]
        return rows.turn(self.fastener, preloads, lead)


@dataclass(frozen=True)
class TurnOn:
    """Turn a fastener on by a distance along itself.

    Attributes
    ----------
    fastener : str
        Its name [text].
    advance : float
        Distance, typical assembly [mm].
    most : float
        Tension at which the wrench stops short of it, because the fastener yields; scatters with it [N].
    """

    fastener: str
    advance: float
    most: float = np.inf

    def one(self, state: JointState) -> JointState:
        """Take the step with one assembly."""
        turned = state.turn_on(self.fastener, self.advance)
        over = turned.tension[state.place_of(self.fastener)] > self.most
        return state.turn(self.fastener, self.most) if over else turned

    def many(self, rows: Assemblies, lead: Lead, draws: Draws) -> Assemblies:
        """Take the step with many."""
        factor = draws.preload[:, lead.state.place_of(self.fastener)]
        return rows.turn_on(self.fastener, self.advance * factor, lead, most=self.most * factor)


@dataclass(frozen=True)
class Settle:
    """Let rough faces flatten and the gasket creep.

    Attributes
    ----------
    embedding : float
        Flattening under every fastener [mm].
    relaxation : float or mapping of str to float
        As for `JointState.settle` [1].
    name : str
        What the state is called; empty where nobody asks for it [text].
    """

    embedding: float
    relaxation: float | Mapping[str, float]
    name: str = "settled"

    def one(self, state: JointState) -> JointState:
        """Take the step with one assembly."""
        return state.settle(embedding=self.embedding, relaxation=self.relaxation)

    def many(self, rows: Assemblies, lead: Lead, _draws: Draws) -> Assemblies:
        """Take the step with many."""
        return rows.settle(self.embedding, self.relaxation, lead)


@dataclass(frozen=True)
class Heat:
    """Bring the members to their temperatures.

    Attributes
    ----------
    warmth : Warmth
        The temperatures.
    name : str
        What the state is called; empty where nobody asks for it [text].
    """

    warmth: Warmth
    name: str = "hot"

    def one(self, state: JointState) -> JointState:
        """Take the step with one assembly."""
        return state.warm(self.warmth)

    def many(self, rows: Assemblies, lead: Lead, _draws: Draws) -> Assemblies:
        """Take the step with many."""
        return rows.warm(self.warmth, lead)


@dataclass(frozen=True)
class Fire:
    """Put gas into cylinders, and let it out again: the next step goes on from the state without it.

    Attributes
    ----------
    pressures : mapping of str to float
        Gas pressure by bore, typical assembly [MPa].
    name : str
        What the state is called [text].
    """

    pressures: Mapping[str, float]
    name: str

    def one(self, state: JointState) -> JointState:
        """Take the step with one assembly."""
        return state.fire(self.pressures)

    def many(self, rows: Assemblies, lead: Lead, draws: Draws) -> Assemblies:
        """Take the step with many."""
        return rows.fire({bore: value * draws.gas for bore, value in self.pressures.items()}, lead)


#: One step of a course.
Step = Turn | TurnOn | Settle | Heat | Fire


@dataclass(frozen=True)
class Course:
    """Steps that a joint goes through, loose at first.

    Attributes
    ----------
    steps : tuple of Step
        In order.
    tight : str
        What the state after the last turn of the wrench is called; empty where nobody asks for it [text].
    """

    steps: tuple[Step, ...]
    tight: str = "cold"

    def name_of(self, place: int) -> str:
        """Return what the state after a step is called; nothing where nobody asks for it."""
        step = self.steps[place]
        if not isinstance(step, (Turn, TurnOn)):
            return step.name
        later = self.steps[place + 1 :]
        return "" if any(isinstance(other, (Turn, TurnOn)) for other in later) else self.tight


@dataclass(frozen=True)
class Draws:
    """How assemblies differ from the typical one.

    Attributes
    ----------
    preload : ndarray, shape (assemblies, fasteners)
        Factor on what the wrench does to every fastener, in the order of the joint's seats [1].
    gas : ndarray, shape (assemblies,)
        Factor on every gas pressure [1].
    """

    preload: Floats
    gas: Floats

    def __len__(self) -> int:
        """Return how many assemblies there are."""
        return len(self.preload)

    def part(self, which: slice) -> Draws:
        """Return some of the assemblies."""
        return Draws(self.preload[which], self.gas[which])


def typical_states(joint: Joint, course: Course) -> dict[str, JointState]:
    """Take the typical assembly through a course, fast level, and return its named states."""
    return {
        name: state for name, state in zip(_names(course), _states(joint, course)[1:], strict=True) if name
    }


def _names(course: Course) -> list[str]:
    return [course.name_of(place) for place in range(len(course.steps))]


def _states(joint: Joint, course: Course) -> list[JointState]:
    """Return the loose joint and the state after every step."""
    states, rest = [loose_joint(joint)], loose_joint(joint)
    for step in course.steps:
        states.append(step.one(rest))
        rest = rest if isinstance(step, Fire) else states[-1]
    return states


def _leads(joint: Joint, course: Course) -> list[Lead]:
    """Return what the typical assembly leaves to the others at every step."""
    size = len(joint.at_level("fast")[0].stiffness)
    every = -(-len(course.steps) * size**2 // _ROOM)
    leads: list[Lead] = []
    rest, guide = loose_joint(joint), None
    for place, step in enumerate(course.steps):
        after = step.one(rest)
        due = guide is None or place % every == 0 or after.joint is not rest.joint
        leads.append(lead_after(rest, after, None if due else guide))
        guide = leads[-1].guide
        rest = rest if isinstance(step, Fire) else after
    return leads


def assemble_many(
    joint: Joint,
    course: Course,
    draws: Draws,
    look: Callable[[Mapping[str, Assemblies]], _T],
    *,
    workers: int | None = None,
    told: Callable[[float], None] | None = None,
) -> list[_T]:
    """Take many assemblies through a course, fast level, and look at each lot of them.

    The answers are those of one assembly at a time to a part in a million of the largest load, and do not
    depend on how many workers share the work.

    Parameters
    ----------
    joint : Joint
        The joint.
    course : Course
        What each goes through.
    draws : Draws
        How they differ.
    look : callable
        Given the named states of some assemblies, in the order of the draws; it returns what is to be kept
        of them and changes nothing. Workers call it side by side.
    workers : int, optional
        Threads; one for every processor unless given.
    told : callable, optional
        Told the share that is done. What it raises ends the work.

    Returns
    -------
    list
        What `look` returned, in the order of the draws.

    Raises
    ------
    FiredeckError
        If the draws do not fit the joint, or an assembly finds no balance.
    """
    if draws.preload.ndim != 2 or draws.preload.shape != (len(draws.gas), len(joint.seats)):
        raise FiredeckError(
            f"the draws are for {draws.preload.shape[-1]} fasteners and {len(draws.gas)} assemblies",
            remedy=f"draw a factor for each of the {len(joint.seats)} fasteners of every assembly",
        )
    leads, ended = _leads(joint, course), threading.Event()

    def lot(which: slice) -> _T:
        return look(_through(joint, course, leads, draws.part(which), ended))

    lots = [slice(first, first + _SIDE_BY_SIDE) for first in range(0, len(draws), _SIDE_BY_SIDE)]
    found = []
    with side_by_side(workers or os.cpu_count() or 1) as pool:
        try:
            for place, kept in enumerate(pool.map(lot, lots), start=1):
                found.append(kept)
                if told is not None:
                    told(place / len(lots))
        except BaseException:
            ended.set()
            pool.shutdown(cancel_futures=True)
            raise
    return found


def _through(
    joint: Joint, course: Course, leads: list[Lead], draws: Draws, ended: threading.Event
) -> dict[str, Assemblies]:
    """Take a lot of assemblies through a course and return their named states."""
    rows, named = loose_assemblies(loose_joint(joint), len(draws)), {}
    for place, (step, lead) in enumerate(zip(course.steps, leads, strict=True)):
        if ended.is_set():
            raise CancelledError
        after = step.many(rows, lead, draws)
        if name := course.name_of(place):
            named[name] = after
        rows = rows if isinstance(step, Fire) else after
    return named

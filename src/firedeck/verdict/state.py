"""The four words of every verdict, and the reasons that lead to one of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Reason", "State", "governing_reason", "worst"]


class State(StrEnum):
    """What may be said of a seal, a fastener or a clamp."""

    HOLDS = "holds"
    MARGINAL = "marginal"
    GIVES = "gives"
    NOT_SHOWN = "not shown"


#: Worst first: one part that gives outweighs one that was not seen.
_ORDER = (State.GIVES, State.NOT_SHOWN, State.MARGINAL, State.HOLDS)


@dataclass(frozen=True)
class Reason:
    """One rule applied to one part: the state it leads to, in words, and where the rule is from."""

    rule: str
    state: State
    text: str
    source: str


def worst(states: Iterable[State]) -> State:
    """Return the worst of several states; `not shown` where there are none."""
    found = set(states)
    return next((state for state in _ORDER if state in found), State.NOT_SHOWN)


def governing_reason(reasons: Sequence[Reason], state: State) -> Reason:
    """Return the first reason that leads to a state."""
    return next(reason for reason in reasons if reason.state == state)

"""Duties of one engine from different sources side by side: which to trust, and where they disagree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firedeck.duty.result import Duty

__all__ = ["TRUST", "Disagreement", "in_order_of_trust", "set_side_by_side"]

#: Sources in falling order of trust.
TRUST = ("trace", "model", "rule")

#: Engine speeds closer than this count as the same [1]. Common practice, no source.
_SAME_SPEED = 0.03


@dataclass(frozen=True)
class Disagreement:
    """How a duty stands to the most trusted one, for mean peak pressure of the hardest cylinder.

    Attributes
    ----------
    first, second : int
        Places of the trusted and the other duty in order of trust.
    ratio : float
        The other's mean peak over the trusted one's [1].
    overlap : bool
        Whether the intervals of the two have pressures in common.
    text : str
        The same in words.
    """

    first: int
    second: int
    ratio: float
    overlap: bool
    text: str


def in_order_of_trust(duties: Sequence[Duty]) -> list[int]:
    """Return the places of duties in falling order of trust; equal ones stay in the order given."""
    return sorted(range(len(duties)), key=lambda place: TRUST.index(duties[place].kind))


def set_side_by_side(duties: Sequence[Duty]) -> tuple[Disagreement, ...]:
    """Compare duties, already in order of trust, with the first of them."""
    return tuple(_against(duties[0], duty, place) for place, duty in enumerate(duties) if place > 0)


def _against(best: Duty, other: Duty, place: int) -> Disagreement:
    trusted, doubted = best.hardest.mean, other.hardest.mean
    ratio = doubted.value / trusted.value
    overlap = doubted.low <= trusted.high and trusted.low <= doubted.high
    return Disagreement(0, place, ratio, overlap, _words(best, other, ratio, overlap))


def _words(best: Duty, other: Duty, ratio: float, overlap: bool) -> str:
    name = f"the {other.kind}'s mean peak is {_percent(ratio)} the {best.kind}'s"
    if best.speed and other.speed and abs(other.speed / best.speed - 1.0) > _SAME_SPEED:
        return f"{name}, but one is for {best.speed:.0f}/min, the other for {other.speed:.0f}/min"
    if overlap:
        return f"{name}; their intervals overlap, so they do not contradict each other"
    return (
        f"{name} and their intervals do not overlap: at least one is wrong by more than it admits, "
        f"or they are for different loads. {_advice(best.kind)}"
    )


def _percent(ratio: float) -> str:
    off = 100.0 * (ratio - 1.0)
    if abs(off) < 0.5:
        return "equal to"
    return f"{abs(off):.0f} % {'above' if off > 0 else 'below'}"


def _advice(kind: str) -> str:
    if kind == "trace":
        return "Check the sensor's gain and the pegging, then the model's burning and boost; trust the trace."
    return "Measure a trace before trusting either."

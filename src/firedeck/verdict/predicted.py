"""What is left of every seal of a predicted joint before it gives, rule by rule."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from firedeck.verdict.state import State, worst

__all__ = ["RuleMargin", "SealMargin", "judge_margins", "judge_seal"]

#: Share of a seal's length over which its law is used beyond its table, above which it is not judged [1].
_MOST_BEYOND = 0.05


@dataclass(frozen=True)
class RuleMargin:
    """One rule on one seal in one state of the joint.

    Attributes
    ----------
    rule : str
        Which limit it is [text].
    joint_state : str
        State of the joint that counts [text].
    value : float
        What the seal has, in `unit`: [N/mm], [MPa] or [um].
    limit : float
        What it needs, or must not exceed, in `unit`: [N/mm], [MPa] or [um].
    unit : str
        Unit of both [text].
    ratio : float
        How many times the seal has what it needs [1]; below 1 it gives.
    low : float
        Lower end of the 95 % interval of `ratio` [1].
    angle : float
        Angle of the place that decides, about what the seal encloses [degree].
    """

    rule: str
    joint_state: str
    value: float
    limit: float
    unit: str
    ratio: float
    low: float
    angle: float

    @property
    def state(self) -> State:
        """The verdict that the rule alone leads to."""
        if not math.isfinite(self.ratio) and self.ratio < 0.0:
            return State.NOT_SHOWN
        if self.ratio < 1.0:
            return State.GIVES
        return State.MARGINAL if self.low < 1.0 else State.HOLDS


@dataclass(frozen=True)
class SealMargin:
    """What is left of one seal.

    Attributes
    ----------
    seal, kind : str
        The seal [text].
    rules : tuple of RuleMargin
        All rules in all states, the least ratio first.
    beyond : float
        Largest share of its length on which its law is used beyond its table [1].
    """

    seal: str
    kind: str
    rules: tuple[RuleMargin, ...]
    beyond: float

    @property
    def governing(self) -> RuleMargin:
        """The rule with the least ratio."""
        return self.rules[0]

    @property
    def state(self) -> State:
        """The verdict on the seal; never a pass on a law that is used far beyond its table."""
        found = worst(rule.state for rule in self.rules)
        doubtful = self.beyond > _MOST_BEYOND and found in (State.HOLDS, State.MARGINAL)
        return State.NOT_SHOWN if doubtful else found

    @property
    def words(self) -> str:
        """What governs, in words."""
        rule = self.governing
        where = f" at {rule.angle:.0f}°" if math.isfinite(rule.angle) else ""
        text = (
            f"{rule.rule}: {rule.value:.3g} {rule.unit}{where} against {rule.limit:.3g} {rule.unit} "
            f"({rule.joint_state}), {rule.ratio:.2f} times what it needs"
        )
        if self.state == State.NOT_SHOWN:
            text += f"; its law is used beyond its table on {self.beyond:.0%} of the length"
        return text


def judge_seal(seal: str, kind: str, rules: Iterable[RuleMargin], beyond: float) -> SealMargin:
    """Put the rules of one seal in order.

    Parameters
    ----------
    seal, kind : str
        The seal.
    rules : iterable of RuleMargin
        One or more rules.
    beyond : float
        Largest share of its length on which its law is used beyond its table [1].
    """
    ordered = sorted(rules, key=lambda rule: rule.ratio)
    return SealMargin(seal, kind, tuple(ordered), beyond)


def judge_margins(margins: Iterable[SealMargin]) -> State:
    """Return the worst state of several seals."""
    return worst(margin.state for margin in margins)

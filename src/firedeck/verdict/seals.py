"""From what a print shows to a verdict for every seal, always with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firedeck.definition.criteria import Criteria, SealRule
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.evidence import Estimate
from firedeck.seal.balance import ClampBalance
from firedeck.seal.leak import LeakPath, crossing_leaks
from firedeck.seal.profile import SealProfile
from firedeck.seal.summary import SealSummary, longest_stretch
from firedeck.verdict.state import Reason, State, governing_reason, worst

__all__ = ["SealVerdict", "Verdict", "judge"]


#: A seal hidden over a larger share of its length is not shown.
_HIDDEN_LIMIT = 0.05


@dataclass(frozen=True)
class SealVerdict:
    """Verdict on one seal; `governing` is the rule that decided."""

    seal: str
    state: State
    reasons: tuple[Reason, ...]

    @property
    def governing(self) -> Reason:
        """The first reason that leads to the verdict's state."""
        return governing_reason(self.reasons, self.state)


@dataclass(frozen=True)
class Verdict:
    """Verdict on a whole film test: the worst of its seals, and what was said of each."""

    state: State
    seals: tuple[SealVerdict, ...]
    remarks: tuple[str, ...]


def judge(
    plan: DeckPlan,
    criteria: Criteria,
    profiles: Sequence[SealProfile],
    summaries: Sequence[SealSummary],
    leaks: Sequence[LeakPath],
    balance: ClampBalance | None,
) -> Verdict:
    """Judge every seal against the criteria.

    Parameters
    ----------
    plan : DeckPlan
        Plan with its seals.
    criteria : Criteria
        Limits and required pressures.
    profiles, summaries : sequence
        One a seal, in the plan's order.
    leaks : sequence of LeakPath
        Leak paths between media.
    balance : ClampBalance or None
        Clamp balance, where a preload was stated.

    Returns
    -------
    Verdict
        States with reasons. What was saturated, hidden or unbalanced is never a pass.
    """
    unbalanced = balance is not None and not balance.fits
    crossing = crossing_leaks(plan, leaks)
    seals = tuple(
        _judge_seal(plan, criteria, seal, profile, summary, crossing, unbalanced)
        for seal, profile, summary in zip(plan.seals, profiles, summaries, strict=True)
    )
    remarks = [
        "A cold print shows the assembled joint only: heat, firing and wear are not in it.",
        "One assembly cannot speak for the next one: repeat the test before you rely on it.",
    ]
    if balance is not None and unbalanced:
        remarks.insert(0, balance.text)
    return Verdict(worst([verdict.state for verdict in seals]), seals, tuple(remarks))


def _judge_seal(
    plan: DeckPlan,
    criteria: Criteria,
    seal: Seal,
    profile: SealProfile,
    summary: SealSummary,
    leaks: Sequence[LeakPath],
    unbalanced: bool,
) -> SealVerdict:
    reasons: list[Reason] = []
    rule = criteria.seal_rule(seal.kind)
    if summary.hidden > _HIDDEN_LIMIT or summary.weakest is None:
        text = f"the print does not show {100 * summary.hidden:.0f} % of its length"
        reasons.append(Reason("visibility", State.NOT_SHOWN, text, "a seal must be seen to be judged"))
    elif rule is not None:
        reasons += _unseen_stretch(rule, profile)
    if rule is None:
        text = f"the criteria have no limits for a seal of kind {seal.kind}"
        reasons.append(Reason("line load", State.NOT_SHOWN, text, criteria.name))
    elif summary.weakest is not None:
        reasons += _load_reasons(criteria, rule, profile, summary)
    reasons += _leak_reasons(plan, criteria, seal, leaks)
    if unbalanced:
        text = "the force on the print does not fit the stated preload"
        reasons.append(Reason("clamp balance", State.NOT_SHOWN, text, "force balance"))
    return SealVerdict(seal.name, worst([reason.state for reason in reasons]), tuple(reasons))


def _unseen_stretch(rule: SealRule, profile: SealProfile) -> list[Reason]:
    """Return why a seal is not shown whose hidden stretch could hold a gap that is too long."""
    length = longest_stretch(profile.fine, ~np.isfinite(profile.fine.line_load))
    if length <= rule.gap_max:
        return []
    text = f"the print hides {length:.1f} mm in a row, longer than the gap that is allowed"
    return [Reason("visibility", State.NOT_SHOWN, text, _cite(rule.basis, rule.source))]


def _cite(basis: str, source: str) -> str:
    return f"{source} ({basis})" if source else basis


def _against(estimate: Estimate, limit: float, margin: float) -> State:
    """Compare an interval with a limit that it must not fall below."""
    if estimate.high < limit:
        return State.GIVES
    if estimate.low < limit or estimate.value < limit * (1 + margin):
        return State.MARGINAL
    return State.HOLDS


def _interval(estimate: Estimate, unit: str) -> str:
    if not np.isfinite(estimate.high):
        return f"at least {estimate.low:.3g} {unit}"
    return f"{estimate.value:.3g} {unit} (95 %: {estimate.low:.3g} to {estimate.high:.3g})"


def _load_reasons(
    criteria: Criteria, rule: SealRule, profile: SealProfile, summary: SealSummary
) -> list[Reason]:
    weakest = summary.weakest
    if weakest is None:
        return []
    cite = _cite(rule.basis, rule.source)
    state = _against(weakest.line_load, rule.line_load_min, criteria.margin)
    near = f", {weakest.fastener_distance:.0f} mm from {weakest.fastener}" if weakest.fastener else ""
    text = (
        f"weakest line load {_interval(weakest.line_load, 'N/mm')} at {weakest.angle:.0f}°{near}; "
        f"at least {rule.line_load_min:g} N/mm is asked for"
    )
    return [
        Reason("line load", state, text, cite),
        _gap_reason(rule, profile, cite),
        _evenness_reason(rule, summary, cite),
    ]


def _gap_reason(rule: SealRule, profile: SealProfile, cite: str) -> Reason:
    fine = profile.fine
    with np.errstate(invalid="ignore"):
        surely = longest_stretch(fine, fine.high < rule.line_load_min)
        perhaps = longest_stretch(fine, (fine.low < rule.line_load_min) & np.isfinite(fine.line_load))
    if surely > rule.gap_max:
        return Reason("gap", State.GIVES, f"{surely:.1f} mm run below the least line load", cite)
    if perhaps > rule.gap_max:
        text = f"up to {perhaps:.1f} mm may run below the least line load; the print cannot tell"
        return Reason("gap", State.MARGINAL, text, cite)
    return Reason("gap", State.HOLDS, f"no stretch over {rule.gap_max:g} mm below the least line load", cite)


def _evenness_reason(rule: SealRule, summary: SealSummary, cite: str) -> Reason:
    if summary.saturated > rule.saturated_max:
        text = (
            f"{100 * summary.saturated:.0f} % of the crown is saturated: mean and evenness are not known; "
            "use a film of higher range"
        )
        return Reason("evenness", State.NOT_SHOWN, text, cite)
    text = f"weakest over mean {summary.evenness:.2f}; at least {rule.evenness_min:g} is asked for"
    state = State.HOLDS if summary.evenness >= rule.evenness_min else State.MARGINAL
    return Reason("evenness", state, text, cite)


def _leak_reasons(plan: DeckPlan, criteria: Criteria, seal: Seal, leaks: Sequence[LeakPath]) -> list[Reason]:
    cite = _cite(criteria.contact_basis, criteria.contact_source)
    own = [path for path in leaks if path.seal == seal.name]
    media = {medium for path in own for medium in (path.a, path.b)}
    rules = {medium: criteria.medium_rule(medium, plan.medium_kind(medium)) for medium in media}
    reasons = []
    for path in own:
        fluid = path.breach(criteria.contact_factor)
        for medium in (path.a, path.b):
            required = rules[medium]
            if required is None or required.pressure <= 0:
                continue
            state = _against(fluid, required.pressure, criteria.margin)
            text = (
                f"{path.a} to {path.b} would open at {_interval(fluid, 'MPa')} in {medium}; "
                f"{required.pressure:g} MPa is asked for ({_cite(required.basis, required.source)})"
            )
            reasons.append(Reason("leak path", state, text, cite))
    return reasons

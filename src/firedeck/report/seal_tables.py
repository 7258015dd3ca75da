"""Tables of a print's report that are about seals and leak paths."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from firedeck.definition.criteria import Criteria
from firedeck.definition.deck import OUTSIDE, DeckPlan
from firedeck.definition.shape import opening_polygon
from firedeck.evidence import FLAGS
from firedeck.pressure_map import FloatArray
from firedeck.report.document import Cell, Table
from firedeck.report.words import NOT_SHOWN, estimate, number, share
from firedeck.seal.leak import LeakPath, crossing_leaks
from firedeck.seal.summary import SealSummary
from firedeck.verdict import Verdict

__all__ = ["first_leaks", "leak_table", "reason_table", "seal_share_table", "seal_table"]


def seal_table(summaries: Sequence[SealSummary], verdict: Verdict) -> Table:
    """Return the table of seals: verdict, weakest place, mean, evenness and what was not seen."""
    head = (
        "no.",
        "seal",
        "kind",
        "verdict",
        "weakest line load [N/mm]",
        "at angle, arc length",
        "nearest fastener",
        "mean line load [N/mm]",
        "weakest over mean [1]",
        "saturated [% of length]",
        "not shown [% of length]",
    )
    rows = []
    for place, (summary, judged) in enumerate(zip(summaries, verdict.seals, strict=True), start=1):
        weakest = summary.weakest
        rows.append(
            (
                str(place),
                summary.name,
                str(summary.kind),
                Cell(str(judged.state), str(judged.state)),
                estimate(weakest.line_load) if weakest else NOT_SHOWN,
                f"{weakest.angle:.0f}°, {weakest.at:.0f} mm" if weakest else NOT_SHOWN,
                f"{weakest.fastener}, {weakest.fastener_distance:.0f} mm" if weakest else NOT_SHOWN,
                estimate(summary.mean),
                number(summary.evenness, 2),
                share(summary.saturated),
                share(summary.hidden),
            )
        )
    caption = "Seals in the plan's order; the numbers are those on the map. Brackets: 95 % interval."
    return Table(head, tuple(rows), caption)


def seal_share_table(summaries: Sequence[SealSummary]) -> Table:
    """Return the table of what each seal's numbers rest on."""
    head = (
        "seal",
        "length [mm]",
        "mean crown pressure [MPa]",
        "mean width of the line [mm]",
        "saturated [% of length]",
        "under stated range [% of length]",
        "below range [% of length]",
        "not shown [% of length]",
        "inferred [% of load]",
    )
    rows = tuple(
        (
            one.name,
            number(one.length, 4),
            f"at least {number(one.peak)}" if one.saturated > 0 else number(one.peak),
            number(one.width, 2),
            share(one.saturated),
            share(one.under_stated),
            share(one.below),
            share(one.hidden),
            share(one.inferred),
        )
        for one in summaries
    )
    return Table(head, rows, "What the numbers rest on.")


def reason_table(verdict: Verdict) -> Table:
    """Return every rule applied to every seal, with where the rule is from."""
    rows = tuple(
        (judged.seal, reason.rule, Cell(str(reason.state), str(reason.state)), reason.text, reason.source)
        for judged in verdict.seals
        for reason in judged.reasons
    )
    head = ("seal", "rule", "leads to", "finding", "where the rule is from")
    return Table(head, rows, "Every rule applied to every seal.", folded=True)


def first_leaks(plan: DeckPlan, leaks: Sequence[LeakPath]) -> list[LeakPath]:
    """Return the leak path of every seal that opens first, lowest first.

    Among paths that share the place that decides, the one between the nearest media is taken.
    """
    edges = {name: np.asarray(opening_polygon(plan, name).exterior.coords) for name in plan.media[:-1]}
    edges[OUTSIDE] = np.asarray(plan.outline)
    best: dict[str, LeakPath] = {}
    for path in crossing_leaks(plan, leaks):
        other = best.get(path.seal)
        nearer = other is not None and path.cell == other.cell and _reach(edges, path) < _reach(edges, other)
        if other is None or nearer:
            best[path.seal] = path
    return sorted(best.values(), key=lambda path: path.joint.value)


def _reach(edges: Mapping[str, FloatArray], path: LeakPath) -> float:
    """Return about how far a path's two media are from the place that decides [mm]."""
    spans = [np.hypot(*(edges[name] - np.asarray(path.point)).T).min() for name in (path.a, path.b)]
    return float(sum(spans))


def leak_table(
    plan: DeckPlan, criteria: Criteria, leaks: Sequence[LeakPath], *, marks: Sequence[str], caption: str
) -> Table:
    """Return leak paths with their contact pressure and the fluid pressure that opens them."""
    head = (
        "no.",
        "between",
        "across",
        "place x, y [mm]",
        "contact, as the film felt it [MPa]",
        "contact in the joint [MPa]",
        "opens at a fluid pressure of [MPa]",
        "asked for [MPa]",
        "doubts",
    )
    rows = tuple(
        (
            mark,
            f"{path.a} and {path.b}",
            path.seal or "no seal",
            f"{path.point[0]:.0f}, {path.point[1]:.0f}",
            estimate(path.felt),
            estimate(path.joint),
            estimate(path.breach(criteria.contact_factor)),
            _asked(plan, criteria, path),
            ", ".join(FLAGS[name].short for name in path.joint.flags),
        )
        for mark, path in zip(marks, leaks, strict=True)
    )
    return Table(head, rows, caption)


def _asked(plan: DeckPlan, criteria: Criteria, path: LeakPath) -> str:
    wanted = []
    for medium in (path.a, path.b):
        rule = criteria.medium_rule(medium, plan.medium_kind(medium))
        if rule is not None and rule.pressure > 0:
            wanted.append(f"{rule.pressure:g} ({medium})")
    return ", ".join(wanted) or "nothing"

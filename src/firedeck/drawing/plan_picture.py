"""The picture of a deck plan: what lies where, what it is called, and what is wrong with it."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firedeck.definition.deck import DeckPlan
from firedeck.definition.plan_finding import PlanFinding
from firedeck.drawing.labels import draw_labels
from firedeck.drawing.plan_lines import (
    draw_openings,
    draw_outline,
    draw_seals,
    frame_plan,
    line_points,
    opening_boxes,
    opening_labels,
    plan_legend,
)
from firedeck.drawing.style import FAULT_COLOUR, FULL_WIDTH, INK, MUTED, styled

__all__ = ["VIEW_NOTE", "draw_frame_notes", "draw_names", "plan_axes", "plan_figure"]

#: How every plan is seen.
VIEW_NOTE = "seen from the head, looking down on the block"

#: Room around the axes of a plan picture [inch]: left, right, below for ticks, above for the title.
_LEFT, _RIGHT, _BELOW, _ABOVE = 0.45, 0.08, 0.42, 0.3

_MARGIN_SHARE = 0.04
_NAME_SIZE = 6.0
_LINE_HEIGHT = 0.155

#: More findings than this are counted, not listed.
_MOST_FINDINGS = 12


def plan_axes(plan: DeckPlan, *, extra: float, right: float = _RIGHT) -> tuple[Figure, Axes, float]:
    """Make a figure as wide as a page with axes that fit a plan.

    Parameters
    ----------
    plan : DeckPlan
        The plan.
    extra : float
        Height kept free below the axes [inch].
    right : float
        Width kept free beside the axes [inch].

    Returns
    -------
    tuple
        Figure, axes, and the scale in deck millimetres to a point of paper [mm/pt].
    """
    spans = np.ptp(np.asarray(plan.outline), axis=0)
    margin = _MARGIN_SHARE * float(spans.max())
    width_mm, height_mm = spans + 2 * margin
    width = FULL_WIDTH - _LEFT - right
    height = min(max(width * height_mm / width_mm, 1.0), 8.0)
    total = height + extra + _BELOW + _ABOVE
    figure = Figure(figsize=(FULL_WIDTH, total))
    box = (_LEFT / FULL_WIDTH, (extra + _BELOW) / total, width / FULL_WIDTH, height / total)
    axes = figure.add_axes(box)
    frame_plan(axes, plan, margin)
    return figure, axes, float(max(width_mm / width, height_mm / height)) / 72


@styled
def plan_figure(plan: DeckPlan, *, findings: Sequence[PlanFinding] = (), title: str = "") -> Figure:
    """Draw a deck plan.

    Parameters
    ----------
    plan : DeckPlan
        The plan with its seals.
    findings : sequence of PlanFinding
        What is wrong or doubtful; marked by number where it is, and listed below.
    title : str
        Title; the plan's name by default.

    Returns
    -------
    Figure
        The picture.
    """
    legend = plan_legend(plan)
    rows = -(-len(legend) // 4)
    lines = _finding_lines(findings)
    below = 0.12 + _LINE_HEIGHT * (rows + len(lines) + (1 if lines else 0))
    figure, axes, scale = plan_axes(plan, extra=below)
    axes.set_title(title or plan.name)
    draw_outline(axes, plan, fill="#fbfaf6")
    draw_seals(axes, plan)
    draw_openings(axes, plan)
    draw_names(axes, plan, scale)
    _mark_findings(axes, findings)
    draw_frame_notes(figure, axes)
    height = figure.get_size_inches()[1]
    figure.legend(handles=legend, ncols=4, loc="upper left", bbox_to_anchor=(0.05, (below + 0.04) / height))
    text_top = (below - _LINE_HEIGHT * (rows + 0.6)) / height
    figure.text(0.065, text_top, "\n".join(lines), va="top", fontsize=6.5, linespacing=1.45)
    return figure


def draw_names(axes: Axes, plan: DeckPlan, scale: float) -> None:
    """Write the names of all openings, at a scale of deck millimetres to a point of paper [mm/pt]."""
    bores = {bore.name for bore in plan.bores}
    obstacles = [box for name, box in opening_boxes(plan).items() if name not in bores]
    draw_labels(axes, opening_labels(plan), obstacles, line_points(plan), size=_NAME_SIZE, scale=scale)


def _finding_lines(findings: Sequence[PlanFinding]) -> list[str]:
    lines: list[str] = []
    for number, finding in enumerate(findings[:_MOST_FINDINGS], start=1):
        text = f"{number}  {finding.severity}: {finding.key}: {finding.message}"
        lines += textwrap.wrap(text, 125, subsequent_indent="    ")
    if len(findings) > _MOST_FINDINGS:
        lines.append(f"and {len(findings) - _MOST_FINDINGS} more")
    return lines


def _mark_findings(axes: Axes, findings: Sequence[PlanFinding]) -> None:
    """Put a numbered disc at every finding that has a place; filled for a fault, open for a doubt."""
    for number, finding in enumerate(findings[:_MOST_FINDINGS], start=1):
        if finding.at is None:
            continue
        is_fault = finding.severity == "fault"
        axes.annotate(
            str(number),
            finding.at,
            color="white" if is_fault else FAULT_COLOUR,
            size=6,
            weight="bold",
            ha="center",
            va="center",
            zorder=9,
            bbox={
                "boxstyle": "circle,pad=0.25",
                "facecolor": FAULT_COLOUR if is_fault else "white",
                "edgecolor": FAULT_COLOUR,
                "linewidth": 0.9,
            },
        )


def draw_frame_notes(figure: Figure, axes: Axes) -> None:
    """Draw a scale bar below the axes, and the note from where the plan is seen above them."""
    west, east = axes.get_xlim()
    length = _round_length((east - west) / 6)
    height = axes.get_position().height * figure.get_size_inches()[1]
    drop = -0.29 / height
    across = axes.get_xaxis_transform()
    axes.plot([east - length, east], [drop, drop], color=INK, linewidth=1.6, transform=across, clip_on=False,
              solid_capstyle="butt")  # fmt: skip
    axes.text(east - length - 0.01 * (east - west), drop, f"{length:g} mm", transform=across, ha="right",
              va="center", size=7)  # fmt: skip
    axes.text(1.0, 1.0 + 0.07 / height, VIEW_NOTE, transform=axes.transAxes, ha="right", size=7, color=MUTED)


def _round_length(length: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is not above a length."""
    power = 10.0 ** np.floor(np.log10(length))
    return float(max(step * power for step in (1, 2, 5) if step * power <= length * (1 + 1e-9)))

"""What is wrong or doubtful with a deck plan as a whole, all findings at once.

The plan's model checks each entry by itself; what follows checks whether the entries fit together.
"""

from __future__ import annotations

import math

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.definition.plan_finding import OUTLINE_NAMES, PlanFinding, keyed_openings, keyed_seals
from firedeck.definition.plan_layout import Findings, check_layout
from firedeck.definition.shape import outline_polygon

__all__ = ["PlanFinding", "check_plan"]

#: Sizes of bores and decks beyond which a slip of units is likelier [mm]; common practice, no source.
_BORE_SIZES = (20.0, 600.0)
_DECK_SIZES = (40.0, 6000.0)

#: Area of all bores over that of the outline, as engines have it [1]; common practice, no source.
_BORE_SHARES = (0.03, 0.95)
_USUAL_BORE_SHARE = 0.4

#: Factor by which coordinates come out too small -> what they may have been written in.
_UNIT_SLIPS = {
    25.4: "inches",
    10.0: "centimetres",
    1000.0: "metres",
    1 / 25.4: "millimetres though marked as inches",
    1 / 1000: "micrometres",
}


def check_plan(plan: DeckPlan) -> tuple[PlanFinding, ...]:
    """Check a deck plan as a whole.

    Parameters
    ----------
    plan : DeckPlan
        The plan, carrying the seals of the gasket to be judged.

    Returns
    -------
    tuple of PlanFinding
        Everything found, faults first; empty for a sound plan.
    """
    checks = (_names, _references, _sizes, _bore_share, _fasteners, check_layout)
    findings = [finding for check in checks for finding in check(plan)]
    return tuple(sorted(findings, key=lambda finding: finding.severity != "fault"))


def _names(plan: DeckPlan) -> Findings:
    for named in ([*keyed_openings(plan)], [*keyed_seals(plan)]):
        first: dict[str, str] = {}
        for key, entry in named:
            if entry.name in first:
                message = f'the name "{entry.name}" is taken by {first[entry.name]}'
                yield PlanFinding("fault", f"{key}.name", message, "give every entry a name of its own")
            first.setdefault(entry.name, key)
    for key, opening in keyed_openings(plan):
        if opening.name in OUTLINE_NAMES:
            message = f'"{opening.name}" is kept for what lies beyond the outline'
            yield PlanFinding("fault", f"{key}.name", message, "use another name")


def _references(plan: DeckPlan) -> Findings:
    around = [*(opening.name for opening in plan.openings), "outline"]
    for key, seal in keyed_seals(plan):
        if seal.around and seal.around not in around and seal.around not in OUTLINE_NAMES:
            message = f'seal "{seal.name}" lies around "{seal.around}", which the plan does not have'
            yield PlanFinding("fault", f"{key}.around", message, f"use one of: {', '.join(around)}")
        for side, names in (("inside", seal.inside), ("outside", seal.outside)):
            for name in names:
                if name not in plan.media:
                    message = f'seal "{seal.name}" names "{name}", which is no bore or port of the plan'
                    remedy = f"use one of: {', '.join(plan.media)}"
                    yield PlanFinding("fault", f"{key}.{side}", message, remedy)


def _sizes(plan: DeckPlan) -> Findings:
    """Challenge the units of bores and coordinates by what engines measure."""
    for place, bore in enumerate(plan.bores, start=1):
        if not _BORE_SIZES[0] <= bore.diameter <= _BORE_SIZES[1]:
            message = f'bore "{bore.name}" is {_both_units(bore.diameter)} across'
            remedy = "check the unit of the diameter"
            yield PlanFinding("doubt", f"bore[{place}].diameter", message, remedy, bore.centre)
    longest = float(np.ptp(np.asarray(plan.outline), axis=0).max())
    if not _DECK_SIZES[0] <= longest <= _DECK_SIZES[1]:
        message = f"the deck is {_both_units(longest)} long"
        yield PlanFinding("doubt", "coordinates", message, "check the unit of the coordinates")


def _both_units(length: float) -> str:
    return f"{length:.4g} mm ({length / 25.4:.4g} in)"


def _bore_share(plan: DeckPlan) -> Findings:
    """Challenge the coordinates' unit against the diameters, which carry their own."""
    bores = sum(math.pi / 4 * bore.diameter**2 for bore in plan.bores)
    outline = outline_polygon(plan)
    if not outline.is_valid or outline.area == 0:
        return  # its crossing is reported by the layout check
    share = bores / outline.area
    if _BORE_SHARES[0] <= share <= _BORE_SHARES[1]:
        return
    factor = math.sqrt(share / _USUAL_BORE_SHARE)
    slip = min(_UNIT_SLIPS, key=lambda known: abs(math.log(known / factor)))
    found = "do not fit into the outline" if share > 1 else f"fill only {100 * share:.2f} % of the outline"
    message = f"all bores together {found}; the coordinates look as if written in {_UNIT_SLIPS[slip]}"
    remedy = "check the key coordinates and the units of the diameters"
    yield PlanFinding("fault" if share > 1 else "doubt", "coordinates", message, remedy)


def _fasteners(plan: DeckPlan) -> Findings:
    """Ask for four fasteners to each bore, neighbours shared; common practice, no source."""
    given, usual = len(plan.fastener_holes), 2 * len(plan.bores) + 2
    if given < usual:
        message = f"{given} fastener holes for {len(plan.bores)} bores; as a rule there are {usual} or more"
        yield PlanFinding("doubt", "fastener-hole", message, "add those that are missing")

"""How the predicted clamp settles as meshes get finer: ``python -m benchmarks.convergence``.

A joint of one cylinder, on generic sections, is tightened and fired: on grids that walls cut, from 8 to
3.5 mm, and on meshes of bricks that fit every bore, wall and column, tied to grids of the same lines. A
quantity's limit is where straight lines in the pitch, one to each family, meet at no pitch at all; its doubt
is half of what lines of their own would leave between them. A joint of two cylinders, whose bores have a
bridge between them, has a table of its own. Writes the tables to build/convergence.md and the
figures to build/convergence.json. Pitches in millimetres choose some grids; ``fitted`` and ``two`` add the
fitted meshes and the joint of two cylinders to these.
"""

from __future__ import annotations

import json
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from benchmarks.contact_engine import PRELOAD, engine_gasket, engine_seats, engine_sections
from benchmarks.fitted_mesh import fitted_section
from firedeck.contact import Joint, JointState, bows, profile, tighten
from firedeck.contact.lattice import fitted_lattice
from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import outline_polygon

PITCHES = (8.0, 7.0, 6.0, 5.0, 4.5, 4.0, 3.5)
#: Width of a fitted mesh's bricks and pitch of the grid it is tied to [mm].
FITTED = ((4.0, 6.0), (3.2, 5.0), (2.5, 4.0))
#: Pitches of the grids under the joint of two cylinders [mm].
PITCHES_OF_TWO = (8.0, 7.0, 6.0, 5.0, 4.0, 3.5)
DEFAULT = 6.0
TABLE = Path("build/convergence.md")
FIGURES = Path("build/convergence.json")

#: Goals at the default pitch, as shares of the limit.
GOALS = {"mean": 0.03, "lowest": 0.06, "bow": 0.06, "lift-off": 0.06}
WORDS = {
    "mean": "mean line load [N/mm]",
    "lowest": "lowest line load [N/mm]",
    "bow": "bow of the head [µm]",
    "lift-off": "lift-off [MPa]",
}

#: Distance of two neighbouring bores [mm].
_SPACING = 96.0
#: Line load at which a bead counts as lifted [N/mm].
_LIFTED = 10.0


@dataclass(frozen=True)
class Row:
    """What one mesh gives: pitch [mm], freedoms of head and block [1], seconds to build, quantities.

    The family is ``grid`` for cut cells and ``fitted`` for bricks that follow every edge.
    """

    pitch: float
    freedoms: tuple[int, int]
    seconds: float
    values: dict[str, float]
    family: str = "grid"
    cylinders: int = 1


def plan_of(cylinders: int) -> DeckPlan:
    """Return a plan of bores of 86 mm, 96 mm apart, four fasteners round each."""
    more = _SPACING * (cylinders - 1)
    names = [f"bore {k}" for k in range(1, cylinders + 1)]
    holes = [(19.0 + _SPACING * k, y) for y in (17.0, 131.0) for k in range(cylinders + 1)]
    table = {
        "kind": "deck-plan",
        "name": f"cylinders in a row: {cylinders}",
        "outline": [(0.0, 0.0), (134.0 + more, 0.0), (134.0 + more, 148.0), (0.0, 148.0)],
        "bore": [
            {"name": name, "centre": (67.0 + _SPACING * k, 74.0), "diameter": "86 mm"}
            for k, name in enumerate(names)
        ],
        "fastener-hole": [
            {"name": f"fastener {k}", "centre": at, "diameter": "12 mm"} for k, at in enumerate(holes, 1)
        ],
    }  # fmt: skip
    beads = [
        {"name": f"{name} bead", "kind": "full-bead", "around": name, "offset": "2.5 mm", "band": "3 mm"}
        for name in names
    ]
    outer = {
        "name": "outer bead", "kind": "half-bead", "around": "outline", "offset": "4 mm", "band": "4 mm",
        "inside": names,
    }  # fmt: skip
    return DeckPlan.model_validate({**table, "seal": [*beads, outer]})


def build(pitch: float, size: float | None = None, cylinders: int = 1) -> Joint:
    """Return the joint on a grid of a pitch [mm], its bodies fitted meshes where their size is given [mm]."""
    plan = plan_of(cylinders)
    sections = engine_sections(plan)
    head, block = sections
    bodies = sections if size is None else (fitted_section(head, size), fitted_section(block, size))
    grid = fitted_lattice(outline_polygon(plan), pitch, sections)
    return Joint.build(plan, bodies, engine_gasket(plan), engine_seats(plan, sections[0]), grid=grid)


def assembled(joint: Joint) -> JointState:
    """Return the joint with every fastener at its preload."""
    return tighten(joint, {seat.name: PRELOAD for seat in joint.seats})[-1]


def lift_off(state: JointState) -> float:
    """Return the pressure in the first cylinder at which its bead has lifted somewhere [MPa]."""
    known: dict[float, JointState] = {0.0: state}

    def left(pressure: float) -> float:
        near = known[min(known, key=lambda p: abs(p - pressure))]
        known[pressure] = state.fire({"bore 1": pressure}, near=near)
        return profile(known[pressure], "bore 1 bead").lowest - _LIFTED

    high = 10.0
    while left(high) > 0.0 and high < 120.0:
        high += 10.0
    return float(brentq(left, high - 10.0, high, xtol=0.01))


def measure(pitch: float, size: float | None = None, cylinders: int = 1) -> Row:
    """Build, tighten and fire the joint on one mesh; bead and pressure are the first cylinder's."""
    start = time.perf_counter()
    joint = build(pitch, size, cylinders)
    seconds = time.perf_counter() - start
    state = assembled(joint)
    bead = profile(state, "bore 1 bead")
    values = {
        "mean": bead.mean,
        "lowest": bead.lowest,
        "bow": 1e3 * max(bow.head for bow in bows(state)),
        "lift-off": lift_off(state),
    }
    freedoms = (joint.head.freedoms, joint.block.freedoms)
    return Row(pitch, freedoms, seconds, values, "grid" if size is None else "fitted", cylinders)


def limits(rows: list[Row]) -> dict[str, tuple[float, float]]:
    """Return every quantity's limit and doubt; of one family, what a line through its finer half differs."""
    families = sorted({row.family for row in rows})
    pitch = np.array([row.pitch for row in rows])
    own = np.array([[row.family == family for family in families] for row in rows], dtype=float)
    out = {}
    for name in WORDS:
        value = np.array([row.values[name] for row in rows])
        fit, *_ = np.linalg.lstsq(np.column_stack([np.ones(len(rows)), own * pitch[:, None]]), value)
        if len(families) == 1:
            half = len(rows) // 2 + 1
            doubt = abs(float(np.polyfit(pitch[-half:], value[-half:], 1)[1] - fit[0]))
        else:
            ends = [np.polyfit(pitch[part > 0], value[part > 0], 1)[1] for part in own.T]
            doubt = 0.5 * float(np.ptp(ends))
        out[name] = (float(fit[0]), doubt)
    return out


def scatter(rows: list[Row]) -> dict[str, float]:
    """Return how far every quantity on the grids scatters about its line, mean square root over limit [1]."""
    grids = [row for row in rows if row.family == "grid"]
    out = {}
    for name, (limit, _) in limits(rows).items():
        pitch, value = np.array([row.pitch for row in grids]), np.array([row.values[name] for row in grids])
        off = value - np.polyval(np.polyfit(pitch, value, 1), pitch)
        out[name] = float(np.sqrt(np.mean(off**2))) / abs(limit)
    return out


def errors(rows: list[Row], family: str) -> dict[str, float]:
    """Return how far a family is off the limit at the default pitch [1]."""
    default = min((row for row in rows if row.family == family), key=lambda row: abs(row.pitch - DEFAULT))
    return {name: default.values[name] / limit - 1.0 for name, (limit, _) in limits(rows).items()}


def table(rows: list[Row]) -> str:
    """Return the table with limits, errors at the default pitch and whether the goals are met."""
    known = limits(rows)
    lines = ["| mesh, pitch [mm] | freedoms, head + block | " + " | ".join(WORDS.values()) + " |"]
    lines += ["|---|---|" + "---|" * len(WORDS)]
    for row in rows:
        shown = " | ".join(f"{row.values[name]:.4g}" for name in WORDS)
        lines.append(f"| {row.family}, {row.pitch:g} | {row.freedoms[0]} + {row.freedoms[1]} | {shown} |")
    lines.append("| 0 (limit) | | " + " | ".join(f"{a:.4g} ± {b:.2g}" for a, b in known.values()) + " |")
    about = scatter(rows)
    lines.append("| grids, scatter about the line | | " + " | ".join(f"{about[n]:.1%}" for n in WORDS) + " |")
    for family in sorted({row.family for row in rows}, reverse=True):
        off = errors(rows, family)
        shown = " | ".join(f"{e:+.1%}" for e in off.values())
        lines.append(f"| {family}, error at {DEFAULT:g} mm | | {shown} |")
        marks = (f"{GOALS[n]:.0%}: {'met' if abs(e) <= GOALS[n] else 'MISSED'}" for n, e in off.items())
        lines.append(f"| {family}, goal | | " + " | ".join(marks) + " |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Measure the meshes, or those named, and write tables and figures."""
    words = {"fitted", "two"}.intersection(arguments) if arguments else {"fitted", "two"}
    chosen = sorted((float(text) for text in arguments if text not in words), reverse=True)
    meshes: list[tuple[float, float | None, int]] = [(pitch, None, 1) for pitch in chosen or PITCHES]
    if "fitted" in words:
        meshes += [(pitch, size, 1) for size, pitch in FITTED]
    if "two" in words:
        meshes += [(pitch, None, 2) for pitch in chosen or PITCHES_OF_TWO]
    if words == {"fitted", "two"}:
        meshes += [(pitch, size, 2) for size, pitch in FITTED]
    rows = []
    for mesh in meshes:
        rows.append(measure(*mesh))
        print(rows[-1], flush=True)
    joints = {count: [row for row in rows if row.cylinders == count] for count in (1, 2)}
    tables = [f"Cylinders: {count}\n\n{table(own)}" for count, own in joints.items() if own]
    TABLE.parent.mkdir(parents=True, exist_ok=True)
    TABLE.write_text("\n".join(tables), encoding="utf-8")
    found = {
        "rows": [asdict(row) for row in rows],
        "limits": {count: limits(own) for count, own in joints.items() if own},
    }
    FIGURES.write_text(json.dumps(found, indent=1), encoding="utf-8")
    print("\n".join(tables))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

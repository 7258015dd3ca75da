"""How the predicted clamp settles as the grid gets finer: ``python -m benchmarks.convergence``.

One joint of two cylinders is built on grids from 8 to 3 mm, on generic sections, tightened and
fired. A quantity's limit is where a straight line in the pitch, through all grids, reaches no pitch at
all; a figure's error is against that. A line through the finest few would follow the scatter that comes
of where walls happen to cut the cells. Writes the table to build/convergence.md.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from benchmarks.contact_engine import PRELOAD, engine_gasket, engine_seats, engine_sections
from firedeck.contact import Joint, JointState, bows, profile, tighten
from firedeck.definition.deck import DeckPlan

PITCHES = (8.0, 7.0, 6.0, 5.5, 5.0, 4.5, 4.0, 3.5, 3.0)
DEFAULT = 6.0
TABLE = Path("build/convergence.md")

#: Goals at the default pitch, as shares of the limit.
GOALS = {"mean": 0.03, "lowest": 0.06, "bow": 0.06, "lift-off": 0.06}
WORDS = {
    "mean": "mean line load [N/mm]",
    "lowest": "lowest line load [N/mm]",
    "bow": "bow of the head [µm]",
    "lift-off": "lift-off [MPa]",
}

#: Line load at which a bead counts as lifted [N/mm].
_LIFTED = 10.0


@dataclass(frozen=True)
class Row:
    """What one grid gives: pitch [mm], freedoms of head and block [1], seconds to build, quantities."""

    pitch: float
    freedoms: tuple[int, int]
    seconds: float
    values: dict[str, float]


def twin_plan() -> DeckPlan:
    """Return a plan of two bores of 86 mm and six fasteners, its centre off every grid's lines."""
    columns = (15.0, 111.0, 207.0)
    holes = [(x, y) for y in (17.0, 131.0) for x in columns]
    table = {
        "kind": "deck-plan",
        "name": "two cylinders",
        "outline": [(0.0, 0.0), (222.0, 0.0), (222.0, 148.0), (0.0, 148.0)],
        "bore": [
            {"name": f"bore {k}", "centre": (96.0 * k - 33.0, 74.0), "diameter": "86 mm"} for k in (1, 2)
        ],
        "fastener-hole": [
            {"name": f"fastener {k}", "centre": at, "diameter": "12 mm"} for k, at in enumerate(holes, 1)
        ],
        "seal": [
            {
                "name": f"bore {k} bead", "kind": "full-bead", "around": f"bore {k}", "offset": "2.5 mm",
                "band": "3 mm",
            }
            for k in (1, 2)
        ],
    }  # fmt: skip
    outer = {
        "name": "outer bead", "kind": "half-bead", "around": "outline", "offset": "4 mm", "band": "4 mm",
        "inside": ["bore 1", "bore 2"],
    }  # fmt: skip
    return DeckPlan.model_validate({**table, "seal": [*table["seal"], outer]})


def build(pitch: float) -> Joint:
    """Return the joint on a grid of a pitch [mm]."""
    plan = twin_plan()
    sections = engine_sections(plan)
    return Joint.build(plan, sections, engine_gasket(plan), engine_seats(plan, sections[0]), pitch=pitch)


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


def measure(pitch: float) -> Row:
    """Build, tighten and fire the joint on one grid."""
    start = time.perf_counter()
    joint = build(pitch)
    seconds = time.perf_counter() - start
    state = assembled(joint)
    bead = profile(state, "bore 1 bead")
    values = {
        "mean": bead.mean,
        "lowest": bead.lowest,
        "bow": 1e3 * max(bow.head for bow in bows(state)),
        "lift-off": lift_off(state),
    }
    return Row(joint.grid.pitch, (joint.head.freedoms, joint.block.freedoms), seconds, values)


def limits(rows: list[Row]) -> dict[str, tuple[float, float]]:
    """Return every quantity's limit and how far it is open: what a line through the finer half differs by."""
    out = {}
    for name in WORDS:
        pitch, value = np.array([row.pitch for row in rows]), np.array([row.values[name] for row in rows])
        ends = [float(np.polyfit(pitch[-n:], value[-n:], 1)[1]) for n in (len(rows), len(rows) // 2 + 1)]
        out[name] = (ends[0], abs(ends[1] - ends[0]))
    return out


def scatter(rows: list[Row]) -> dict[str, float]:
    """Return how far every quantity scatters about its line, root mean square over the limit [1]."""
    out = {}
    for name, (limit, _) in limits(rows).items():
        pitch, value = np.array([row.pitch for row in rows]), np.array([row.values[name] for row in rows])
        off = value - np.polyval(np.polyfit(pitch, value, 1), pitch)
        out[name] = float(np.sqrt(np.mean(off**2))) / abs(limit)
    return out


def table(rows: list[Row]) -> str:
    """Return the table with limits, errors at the default pitch and whether the goals are met."""
    known = limits(rows)
    lines = ["| pitch [mm] | freedoms, head + block | " + " | ".join(WORDS.values()) + " |"]
    lines += ["|---|---|" + "---|" * len(WORDS)]
    for row in rows:
        shown = " | ".join(f"{row.values[name]:.4g}" for name in WORDS)
        lines.append(f"| {row.pitch:.2f} | {row.freedoms[0]} + {row.freedoms[1]} | {shown} |")
    lines.append("| 0 (limit) | | " + " | ".join(f"{a:.4g} ± {b:.2g}" for a, b in known.values()) + " |")
    about = scatter(rows)
    lines.append("| scatter about the line | | " + " | ".join(f"{about[n]:.1%}" for n in WORDS) + " |")
    default = min(rows, key=lambda row: abs(row.pitch - DEFAULT))
    errors = {name: default.values[name] / known[name][0] - 1.0 for name in WORDS}
    lines.append(f"| error at {DEFAULT:g} mm | | " + " | ".join(f"{e:+.1%}" for e in errors.values()) + " |")
    marks = (f"{GOALS[n]:.0%}: {'met' if abs(e) <= GOALS[n] else 'MISSED'}" for n, e in errors.items())
    lines.append("| goal | | " + " | ".join(marks) + " |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Measure the grids, or those named in millimetres, and write the table."""
    rows = []
    for pitch in sorted((float(text) for text in arguments), reverse=True) or PITCHES:
        rows.append(measure(pitch))
        print(rows[-1], flush=True)
    text = table(rows)
    TABLE.parent.mkdir(parents=True, exist_ok=True)
    TABLE.write_text(text, encoding="utf-8")
    print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Invented fasteners that tests share."""

from __future__ import annotations

from typing import Any

from firedeck.definition.fastener import Fastener
from firedeck.definition.tightening import Tightening
from firedeck.scenario.demo_files import fastening_text

#: The pressure typed, in place of the example's duty; cylinder 4 runs highest.
TYPED = """[cylinder-pressure]
value = "120 bar"
scatter = "12 %"
cylinder_factors = [1.0, 1.0, 1.0, 1.03]
source = { basis = "invented for the example" }
"""
FROM_DUTY = """[cylinder-pressure-from]
duty = "duty-trace.toml"
"""


def stud(thread: str = "M12x1.25", **changes: Any) -> Fastener:
    """Return a stud of one thread throughout, 80 mm of 12 mm shank and 40 mm of free thread."""
    table = {
        "name": "stud",
        "kind": "stud",
        "material": "12.9",
        "nut_thread": thread,
        "hole": {"thread": thread, "engagement": "18 mm", "material": "A356-T6"},
        "segment": [{"length": "80 mm", "diameter": "12 mm"}, {"length": "40 mm", "thread": thread}],
        "bearing": {"outer_diameter": "16.63 mm", "hole_diameter": "13.5 mm"},
    }
    return Fastener.model_validate({**table, **changes})


def bolt(thread: str, grade: str, outer: float, hole: float) -> Fastener:
    """Return a bolt threaded over its whole grip of 40 mm."""
    return Fastener.model_validate(
        {
            "name": "bolt",
            "kind": "bolt",
            "material": grade,
            "hole": {"thread": thread, "engagement": "20 mm", "material": "grey iron GJL-250"},
            "segment": [{"length": "40 mm", "thread": thread}],
            "bearing": {"outer_diameter": f"{outer} mm", "hole_diameter": f"{hole} mm"},
        }
    )


def tightening(*stages: dict[str, str], **changes: Any) -> Tightening:
    """Return a tightening with friction class B."""
    return Tightening.model_validate({"lubricant": "class B", "stage": list(stages), **changes})


def typed_fastening() -> str:
    """Return the demonstration's fastening with a typed cylinder pressure, so that it needs no duty."""
    text = fastening_text()
    assert FROM_DUTY in text
    return text.replace(FROM_DUTY, TYPED)


def small_fastening() -> str:
    """Return the demonstration's fastening for a deck plan of one bore, on the plan's own seals."""
    lines = typed_fastening().splitlines(keepends=True)
    left_out = ("gasket =", "cylinder_factors =")
    return "".join(line for line in lines if not line.startswith(left_out))

"""Describe a one-cylinder deck and ask how long its seals are."""

from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import seal_line

plan = DeckPlan.model_validate(
    {
        "kind": "deck-plan",
        "name": "one-cylinder bench block",
        "outline": [(0, 0), (130, 0), (130, 130), (0, 130)],
        "bore": [{"name": "bore 1", "centre": (65, 65), "diameter": "86 mm"}],
        "port": [
            {"name": "coolant 1", "kind": "coolant", "centre": (12, 65), "diameter": "0.5 in"},
        ],
        "seal": [
            {"name": "ring 1", "kind": "ring", "around": "bore 1", "offset": "2 mm", "band": "3 mm"},
            {"name": "bead c1", "kind": "half-bead", "around": "coolant 1", "offset": "2 mm", "band": "2 mm"},
        ],
    }
)

for seal in plan.seals:
    line = seal_line(plan, seal)
    print(f"{seal.name}: {line.length:.1f} mm around {', '.join(seal.enclosed)}")

# prints
# > ring 1: 282.7 mm around bore 1
# > bead c1: 52.5 mm around coolant 1

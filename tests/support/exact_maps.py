"""Maps of known pressure, for checks against closed forms."""

from collections.abc import Callable

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.evidence import FLAG_DTYPE, flag_bit
from firedeck.pressure_map import Conversion, Grid, PressureMap, identity_conversion


def ring_plan(*, radius: float = 20.0, band: float = 6.0, kind: str = "full-bead") -> DeckPlan:
    """A deck with one bore, one round seal of given radius [mm] and four fastener holes."""
    bore = 2 * radius - 8
    corners = [[-30.0, -30.0], [30.0, -30.0], [30.0, 30.0], [-30.0, 30.0]]
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": "one ring",
            "outline": corners,
            "bore": [{"name": "bore 1", "centre": [0.0, 0.0], "diameter": f"{bore} mm"}],
            "fastener-hole": [
                {"name": f"F{i}", "centre": [x * 0.8, y * 0.8], "diameter": "8 mm"}
                for i, (x, y) in enumerate(corners, start=1)
            ],
            "seal": [
                {"name": "ring 1", "kind": kind, "around": "bore 1", "offset": "4 mm", "band": f"{band} mm"}
            ],
        }
    )


def ring_map(
    plan: DeckPlan,
    profile: Callable[[np.ndarray, np.ndarray], np.ndarray],
    *,
    pitch: float = 0.05,
    radius: float = 20.0,
    lowest: float = 0.0,
    top: float = float("inf"),
) -> PressureMap:
    """A map whose pressure is `profile(distance from the ring [mm], angle [rad])`, clipped at `top` [MPa]."""
    grid = Grid.covering((-30.0, -30.0), (30.0, 30.0), pitch, 2.0)
    x, y = np.meshgrid(grid.x, grid.y)
    true = profile(np.hypot(x, y) - radius, np.arctan2(y, x))
    value = np.minimum(true, top).astype(np.float32)
    flags = np.zeros(grid.shape, FLAG_DTYPE)
    flags[value < lowest] |= flag_bit("below-range")
    flags[true >= top] |= flag_bit("saturated")
    highest = float(true.max())
    conversion: Conversion = identity_conversion(highest)
    return PressureMap(
        kind="measured",
        grid=grid,
        value=value,
        noise=np.zeros(grid.shape, np.float32),
        flags=flags,
        signal=value,
        conversion=conversion,
        background=0.0,
        lowest=lowest,
        stated_range=(lowest, min(top, 2 * highest)),
        spread=0.0,
    )

"""Maps whose leak paths are known, and what any traced path must satisfy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firedeck.kernel.breach import trace_path

__all__ = ["pair_heights", "scattered_map", "spiral_corridor", "traced"]


def spiral_corridor(turns: int) -> NDArray[np.int32]:
    """Cells of a corridor that winds inward, a wall one cell thick between its turns."""
    low, high = 1, 4 * turns + 1
    cells = [(low, low - 1)]
    while low <= high:
        corners = ((low, high), (high, high), (high, low), (low + 2, low))
        for row, col in corners if low + 2 <= high else corners[:1]:
            while cells[-1] != (row, col):
                here = cells[-1]
                cells.append((here[0] + np.sign(row - here[0]), here[1] + np.sign(col - here[1])))
        low, high = low + 2, high - 2
    return np.array(cells, np.int32)


def scattered_map(seed: int, side: int = 9, media_count: int = 4, levels: int | None = None):
    """Pressure [MPa], media and blocked cells at random; few levels make ties and plateaus."""
    rng = np.random.default_rng(seed)
    shape = tuple(rng.integers(2, side + 1, 2))
    pressure = rng.random(shape) if levels is None else rng.integers(0, levels, shape).astype(float)
    media = np.where(rng.random(shape) < 0.2, rng.integers(1, media_count + 1, shape), 0)
    blocked = rng.random(shape) < rng.choice([0.0, 0.15, 0.4])
    return pressure, media, blocked


def pair_heights(count: int, height_of) -> NDArray[np.float64]:
    """Table of the height of each pair of media 1..K, 0 on the diagonal."""
    heights = np.zeros((count, count))
    for a in range(1, count + 1):
        for b in range(1, a):
            heights[a - 1, b - 1] = heights[b - 1, a - 1] = height_of(a, b)
    return heights


def traced(pressure, media, a, b, saddles, blocked=None):
    """Trace the direct path of a pair and hold it to all that a leak path must be."""
    cell, height = saddles.direct_cells[a - 1, b - 1], saddles.direct_heights[a - 1, b - 1]
    path = trace_path(pressure, media, a, b, cell, blocked=blocked)
    between = tuple(path[1:-1].T)
    assert (media[tuple(path[0])], media[tuple(path[-1])]) == (a, b)
    assert np.all(np.abs(np.diff(path, axis=0)).max(axis=1) == 1), "steps from neighbour to neighbour"
    assert len(np.unique(path, axis=0)) == len(path), "comes to no cell twice"
    assert not media[between].any(), "enters no other medium"
    assert blocked is None or not blocked[between].any()
    assert max(pressure[between], default=0.0) == height, "attains the height, and no more"
    return path

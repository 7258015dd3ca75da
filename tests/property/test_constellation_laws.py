"""Laws of matching holes to a plan: what does not matter must not matter."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firedeck.film.constellation import Constellation, match_holes
from firedeck.film.sheet import Hole
from tests.support.simple_print import inline_four

PLAN = inline_four()
DISCS = Constellation.of_plan(PLAN).discs


def cut(seed: int, missing: float, false: int) -> np.ndarray:
    """Holes as cut by hand over the deck: x, y, radius [mm]."""
    rng = np.random.default_rng(seed)
    kept = DISCS[rng.random(len(DISCS)) >= missing].copy()
    kept[:, :2] += rng.normal(0, 0.3, (len(kept), 2))
    kept[:, 2] += rng.uniform(0.5, 1.0, len(kept))
    extra = np.column_stack(
        [rng.uniform(0, 414, false), rng.uniform(0, 190, false), rng.uniform(2, 8, false)]
    )
    return np.vstack([kept, extra])


def seen(discs: np.ndarray, linear: np.ndarray, shift: tuple[float, float]) -> list[Hole]:
    centres = discs[:, :2] @ linear.T + shift
    return [
        Hole((float(x), float(y)), float(r), float(np.pi * r * r), 1.0, 0.1)
        for (x, y), r in zip(centres, discs[:, 2], strict=True)
    ]


def pose(turn: float, scale: tuple[float, float], mirrored: bool) -> np.ndarray:
    c, s = np.cos(turn), np.sin(turn)
    return np.diag(scale) @ np.array([[c, -s], [s, c]]) @ np.diag([1.0, 1.0 if mirrored else -1.0])


@settings(max_examples=25)
@given(
    seed=st.integers(0, 10_000),
    turn=st.floats(0, 2 * np.pi),
    scale=st.tuples(st.floats(0.988, 1.012), st.floats(0.988, 1.012)),
    mirrored=st.booleans(),
    missing=st.floats(0, 0.3),
    false=st.integers(0, 4),
)
def test_pose_is_found_whatever_turn_scale_and_face(seed, turn, scale, mirrored, missing, false):
    discs, linear = cut(seed, missing, false), pose(turn, scale, mirrored)
    best = match_holes(seen(discs, linear, (250.0, 300.0)), PLAN)[0]
    assert best.mirrored is mirrored
    true = DISCS[:, :2] @ linear.T + (250.0, 300.0)
    back = true @ best.fit.matrix[:, :2].T + best.fit.matrix[:, 2]
    assert np.max(np.hypot(*(back - DISCS[:, :2]).T)) < 1.5


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), turn=st.floats(0, 2 * np.pi), order=st.randoms(use_true_random=False))
def test_result_does_not_depend_on_turn_place_or_order(seed, turn, order):
    discs = cut(seed, 0.2, 2)
    upright = match_holes(seen(discs, pose(0.0, (1, 1), False), (0.0, 0.0)), PLAN)[0]
    shuffled = seen(discs, pose(turn, (1, 1), False), (120.0, -35.0))
    order.shuffle(shuffled)
    turned = match_holes(shuffled, PLAN)[0]
    assert turned.matched == upright.matched
    assert np.isclose(turned.rms, upright.rms, rtol=1e-3)
    assert np.allclose(turned.fit.strain, upright.fit.strain, atol=1e-5)


@settings(max_examples=20)
@given(seed=st.integers(0, 10_000), count=st.integers(0, 12))
def test_holes_at_random_fit_few_openings(seed, count):
    rng = np.random.default_rng(seed)
    discs = np.column_stack(
        [rng.uniform(0, 414, count), rng.uniform(0, 190, count), rng.uniform(3, 9, count)]
    )
    found = match_holes(seen(discs, pose(0.3, (1, 1), False), (0.0, 0.0)), PLAN)
    assert all(one.matched <= max(3, 0.6 * count) for one in found)

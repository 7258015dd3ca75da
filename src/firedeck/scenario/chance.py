"""Whole cases drawn at random: for tests that must hold whatever the deck, gasket, film and bench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

import numpy as np

from firedeck.definition.deck import DeckPlan, SealKind
from firedeck.scenario.disturbances import Disturbances, Encoding, Scanner
from firedeck.scenario.engine import small_plan
from firedeck.scenario.line_profile import Family, LineDesign, WeakPlace
from firedeck.scenario.pressure import LandDesign, PressureField, build_field
from firedeck.scenario.printing import FilmChemistry
from firedeck.scenario.tightening import Tightening

__all__ = ["ChanceCase", "random_case", "random_designs"]

#: Crown pressure [MPa] and width [mm] that a kind of seal is drawn from: within a film of 20 to 100 MPa.
_RANGES = {
    SealKind.RING: ((60.0, 95.0), (1.2, 1.8)),
    SealKind.FULL_BEAD: ((50.0, 95.0), (1.6, 2.8)),
    SealKind.HALF_BEAD: ((22.0, 45.0), (1.0, 1.8)),
    SealKind.LAND: ((8.0, 20.0), (2.0, 3.0)),
}


_ENCODINGS: tuple[Encoding, ...] = get_args(Encoding)


@dataclass(frozen=True)
class ChanceCase:
    """One case: what to print, on what film, with what scanner and what going wrong."""

    plan: DeckPlan
    field: PressureField
    chemistry: FilmChemistry
    scanner: Scanner
    disturbances: Disturbances


def random_designs(
    plan: DeckPlan, rng: np.random.Generator, *, weak_share: float = 0.4
) -> dict[str, LineDesign]:
    """Return load designs for all seals: one family and width per kind of seal, loads per seal.

    Parameters
    ----------
    plan : DeckPlan
        Deck plan with seals.
    rng : numpy.random.Generator
        Chance.
    weak_share : float
        Share of the seals that get a local weak place [1].
    """
    shapes = {kind: _random_shape(kind, rng) for kind in SealKind}
    return {seal.name: _random_design(plan, shapes[seal.kind], weak_share, rng) for seal in plan.seals}


def _random_shape(kind: SealKind, rng: np.random.Generator) -> LineDesign:
    peaks, widths = _RANGES[kind]
    family = get_args(Family)[int(rng.integers(len(get_args(Family))))]
    shape = LineDesign(mean=1.0, width=float(rng.uniform(*widths)), family=family)
    return replace(shape, mean=float(rng.uniform(*peaks)) / shape.unit_peak)


def _random_design(
    plan: DeckPlan, shape: LineDesign, weak_share: float, rng: np.random.Generator
) -> LineDesign:
    weak: tuple[WeakPlace, ...] = ()
    if rng.random() < weak_share:
        corners = np.array(plan.outline)
        near = rng.uniform(corners.min(axis=0), corners.max(axis=0))
        depth, length = float(rng.uniform(0.2, 0.7)), float(rng.uniform(5.0, 12.0))
        weak = (WeakPlace((float(near[0]), float(near[1])), depth, length),)
    return replace(
        shape,
        mean=shape.mean * float(rng.uniform(0.92, 1.08)),
        swing=float(rng.uniform(0.05, 0.25)),
        ripple=float(rng.uniform(0.0, 0.04)),
        crown=float(rng.uniform(0.0, 0.1)),
        weak=weak,
    )


def random_case(
    rng: np.random.Generator, *, bores: int = 2, dpi: float = 600.0, harsh: bool = False
) -> ChanceCase:
    """Draw a whole case.

    Parameters
    ----------
    rng : numpy.random.Generator
        Chance.
    bores : int
        1 or 2.
    dpi : float
        Resolution of the scan [1/inch].
    harsh : bool
        A bad day at the bench rather than a careful one.
    """
    plan = small_plan(bores=bores, rng=rng)
    designs = random_designs(plan, rng)
    land = LandDesign(mean=float(rng.uniform(0.1, 0.7)), pad_pressure=float(rng.uniform(0.0, 12.0)))
    seed = int(rng.integers(2**31))
    chemistry = FilmChemistry(
        median=float(rng.uniform(29.0, 37.0)),
        spread=float(rng.uniform(0.65, 0.8)),
        clump=float(rng.uniform(0.010, 0.018)),
        fog=float(rng.uniform(0.035, 0.06)),
    )
    scanner = Scanner(
        dpi=dpi,
        encoding=_ENCODINGS[int(rng.integers(len(_ENCODINGS)))],
        backing="white" if rng.random() < 0.7 else "black",
        lamp_error=float(rng.uniform(0.0, 0.02)),
    )
    worry = Disturbances.harsh(rng) if harsh else Disturbances.typical(rng)
    field = build_field(plan, designs=designs, land=land, tightening=Tightening(seed=seed), seed=seed)
    return ChanceCase(plan, field, chemistry, scanner, worry)

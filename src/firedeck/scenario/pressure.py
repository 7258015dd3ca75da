"""The true pressure in the joint: what each seal and land carries, and what the film then feels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.ndimage import gaussian_filter

from firedeck.definition.deck import DeckPlan, Seal, SealKind
from firedeck.definition.shape import SealLine, seal_line
from firedeck.errors import FiredeckError
from firedeck.scenario.compiled import FloatArray
from firedeck.scenario.line_profile import LineDesign, profile_table
from firedeck.scenario.pressure_raster import PressedLine, deck_extent, draw_pressure
from firedeck.scenario.rasters import Raster
from firedeck.scenario.tightening import Tightening

__all__ = ["LandDesign", "PressureField", "SealLoad", "State", "build_field", "default_designs"]

#: ``joint`` is the highest pressure each place saw, ``final`` the pressure once all is tight and settled,
#: ``felt`` what reaches the film's capsules: ``joint`` spread by the film.
State = Literal["joint", "final", "felt"]

_PITCH_MM = 0.05
_COARSE_MM = 0.5
#: Every how many points of a seal's line one is drawn from: 0.3 mm apart.
_DRAWN_POINTS = 3


@dataclass(frozen=True)
class LandDesign:
    """Low pressure on the land between seals, and the pads under the heads of the fasteners.

    Attributes
    ----------
    mean : float
        Mean land pressure where the land touches [MPa].
    patch : float
        Size of patches of more and less [mm].
    bare : float
        Share of the land that does not touch [1].
    pad_pressure : float
        Highest pressure round a fastener hole [MPa].
    pad_reach : float
        Outer radius of that pad [mm].
    """

    mean: float = 0.45
    patch: float = 16.0
    bare: float = 0.25
    pad_pressure: float = 0.0
    pad_reach: float = 15.0


@dataclass(frozen=True)
class SealLoad:
    """The true load along one seal.

    Attributes
    ----------
    seal : Seal
        The seal.
    line : SealLine
        Its line; every array below has one entry per point of it.
    design : LineDesign
        Shape and width across.
    joint, final : ndarray
        Line load [N/mm]: highest while tightening, and at the end.
    crown : ndarray
        How far the crown lies outside the line [mm].
    """

    seal: Seal
    line: SealLine
    design: LineDesign
    joint: FloatArray
    final: FloatArray
    crown: FloatArray

    def load(self, state: State) -> FloatArray:
        """Return the line load [N/mm] at every point; spreading by the film leaves it as it is."""
        return self.final if state == "final" else self.joint

    def pressed(self, state: State) -> PressedLine:
        """Return the seal as it is drawn on rasters."""
        every = slice(None, None, _DRAWN_POINTS)
        return PressedLine(
            self.line.points[every],
            self.load(state)[every].astype(np.float32),
            self.crown[every].astype(np.float32),
            profile_table(self.design),
            self.design.reach,
        )

    def mean_load(self, s0: float, s1: float, state: State = "joint") -> float:
        """Return the mean line load [N/mm] from arc length s0 to s1 [mm], s1 past the end running on."""
        length = self.line.length
        if s1 <= s0:
            raise FiredeckError(f"a sector from {s0} to {s1} mm has no length", remedy="give s1 above s0")
        at = np.arange(len(self.joint) + 1) * self.line.step
        load = np.append(self.load(state), self.load(state)[0])
        summed = np.concatenate([[0.0], np.cumsum((load[1:] + load[:-1]) / 2 * np.diff(at))])

        def up_to(s: float) -> float:
            turns, rest = divmod(s, length)
            k = min(int(rest / self.line.step), len(at) - 2)
            part = rest - at[k]
            here = load[k] + (load[k + 1] - load[k]) * part / self.line.step
            return float(turns * summed[-1] + summed[k] + (load[k] + here) / 2 * part)

        return (up_to(s1) - up_to(s0)) / (s1 - s0)


@dataclass(frozen=True)
class PressureField:
    """The joint's pressure as a model that any raster can be drawn from.

    Attributes
    ----------
    plan : DeckPlan
        Deck plan with the seals that are pressed.
    seals : tuple of SealLoad
        Load of every seal, in the plan's order.
    land_joint, land_final : Raster
        Pressure of lands and pads [MPa] on a coarse raster, not yet cut out at the openings.
    film_thickness : float
        Thickness of the film that spreads the pressure [mm].
    tightening : Tightening
        How it was tightened.
    """

    plan: DeckPlan
    seals: tuple[SealLoad, ...]
    land_joint: Raster
    land_final: Raster
    film_thickness: float
    tightening: Tightening
    _kept: dict[tuple[State, float], Raster] = field(default_factory=dict, repr=False, compare=False)

    def seal(self, name: str) -> SealLoad:
        """Return the load of the seal called `name`."""
        for load in self.seals:
            if load.seal.name == name:
                return load
        raise FiredeckError(f"no seal called {name!r}", remedy="use a name from the deck plan or the gasket")

    def raster(self, state: State, pitch: float = _PITCH_MM) -> Raster:
        """Draw the pressure [MPa] on cells of `pitch` [mm]; a raster once drawn is kept."""
        if (state, pitch) not in self._kept:
            land = self.land_final if state == "final" else self.land_joint
            lines = [load.pressed(state) for load in self.seals]
            thickness = self.film_thickness if state == "felt" else 0.0
            drawn = draw_pressure(self.plan, lines, land, pitch, film_thickness=thickness)
            self._kept[state, pitch] = drawn
        return self._kept[state, pitch]

    def force(self, state: State = "joint") -> float:
        """Return the force of the whole joint [N]; spreading by the film leaves it as it is."""
        drawn = self._kept.get((state, _PITCH_MM)) or self._kept.get(("felt", _PITCH_MM))
        if drawn is None or (state == "final") != (drawn is self._kept.get(("final", _PITCH_MM))):
            drawn = self.raster(state, 2 * _PITCH_MM)
        return drawn.total


def _seal_loads(
    plan: DeckPlan, designs: Mapping[str, LineDesign], tightening: Tightening, rng: np.random.Generator
) -> Iterator[SealLoad]:
    centres = np.array([hole.centre for hole in plan.fastener_holes]).reshape(-1, 2)
    for seal in plan.seals:
        design = designs[seal.name]
        line = seal_line(plan, seal)
        design_load = design.load_along(line, centres, rng)
        peak, end = tightening.factors(centres, line.points)
        yield SealLoad(
            seal, line, design, design_load * peak, design_load * end, design.crown_along(line, rng)
        )


def _land(
    plan: DeckPlan, design: LandDesign, tightening: Tightening, rng: np.random.Generator
) -> tuple[Raster, Raster]:
    x0, y0, x1, y1 = deck_extent(plan)
    rows, cols = int(np.ceil((y1 - y0) / _COARSE_MM)) + 1, int(np.ceil((x1 - x0) / _COARSE_MM)) + 1
    x = x0 + (np.arange(cols) + 0.5) * _COARSE_MM
    y = y0 + (np.arange(rows) + 0.5) * _COARSE_MM
    rough = gaussian_filter(rng.standard_normal((rows, cols)), design.patch / 2 / _COARSE_MM)
    rough = rough - np.quantile(rough, design.bare)
    touch = np.clip(rough, 0, None)
    base = np.clip(design.mean * touch / max(float(touch[touch > 0].mean()), 1e-12), 0, 1.5)
    centres = np.array([hole.centre for hole in plan.fastener_holes]).reshape(-1, 2)
    for centre in centres:
        away = np.hypot(x[None, :] - centre[0], y[:, None] - centre[1]) / design.pad_reach
        base += design.pad_pressure * np.clip(1 - away**2, 0, None) ** 2
    grid = np.column_stack([np.tile(x[::4], len(y[::4])), np.repeat(y[::4], len(x[::4]))])
    found = []
    for factor in tightening.factors(centres, grid):
        coarse = factor.reshape(len(y[::4]), len(x[::4]))
        fine = coarse.repeat(4, axis=0)[:rows].repeat(4, axis=1)[:, :cols]
        found.append(Raster(x0, y0, _COARSE_MM, (base * gaussian_filter(fine, 4.0)).astype(np.float32)))
    return found[0], found[1]


def default_designs(plan: DeckPlan, **changes: LineDesign) -> dict[str, LineDesign]:
    """Return a load design for every seal by its kind; `changes` replaces that of a kind (``full_bead=``)."""
    by_kind = {
        SealKind.RING: LineDesign(mean=130.0, width=1.7, family="elliptic"),
        SealKind.FULL_BEAD: LineDesign(mean=150.0, width=2.2, family="elliptic"),
        SealKind.HALF_BEAD: LineDesign(mean=26.0, width=1.3, family="parabolic", swing=0.15),
        SealKind.LAND: LineDesign(mean=20.0, width=3.0, family="super-gaussian"),
    }
    by_kind |= {SealKind(name.replace("_", "-")): design for name, design in changes.items()}
    return {seal.name: by_kind[seal.kind] for seal in plan.seals}


def build_field(
    plan: DeckPlan,
    *,
    designs: Mapping[str, LineDesign] | None = None,
    land: LandDesign | None = None,
    tightening: Tightening | None = None,
    film_thickness: float = 0.11,
    seed: int = 0,
) -> PressureField:
    """Invent the pressure in a joint.

    Parameters
    ----------
    plan : DeckPlan
        Deck plan carrying the seals of the gasket that is pressed.
    designs : mapping of str to LineDesign, optional
        Load design of every seal by name; `default_designs` fills what is missing.
    land : LandDesign, optional
        Land and pads.
    tightening : Tightening, optional
        How it was tightened.
    film_thickness : float
        Thickness of the film [mm].
    seed : int
        Same seed, same field.
    """
    tightening = tightening or Tightening()
    rng = np.random.default_rng(seed)
    full = default_designs(plan) | dict(designs or {})
    loads = tuple(_seal_loads(plan, full, tightening, rng))
    joint, final = _land(plan, land or LandDesign(), tightening, rng)
    return PressureField(plan, loads, joint, final, film_thickness, tightening)

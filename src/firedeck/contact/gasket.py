"""The gasket on the sealing plane: points and patches along seals and over lands."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import csr_array
from shapely.geometry.base import BaseGeometry

from firedeck.contact.indentation import line_compliance
from firedeck.contact.law import ClosureLaw, law_tables
from firedeck.contact.weights import node_weights
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.shape import SealLine, seal_line
from firedeck.errors import FiredeckError
from firedeck.kernel.press import Points
from firedeck.pressure_map import Grid

__all__ = ["GasketModel", "LaidGasket", "PressedLand", "PressedSeal", "lay_gasket"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Compliance added to a mean closure in the fast level [mm/N].
_SOFT = 1e-9


@dataclass(frozen=True)
class PressedSeal:
    """A seal with what it answers to closure.

    Attributes
    ----------
    seal : Seal
        The line.
    law : ClosureLaw
        Load per length over closure.
    gap : float
        Closure of the joint, from first touch of its highest part, at which this seal touches [mm].
    """

    seal: Seal
    law: ClosureLaw
    gap: float = 0.0


@dataclass(frozen=True)
class PressedLand:
    """An area that presses.

    Attributes
    ----------
    name : str
        Name of the land.
    area : shapely geometry
        Where it is [mm].
    law : ClosureLaw
        Pressure over closure.
    gap : float
        Closure of the joint at which it touches [mm].
    """

    name: str
    area: BaseGeometry
    law: ClosureLaw
    gap: float = 0.0


@dataclass(frozen=True)
class GasketModel:
    """All that presses.

    Attributes
    ----------
    seals : tuple of PressedSeal
        Lines.
    lands : tuple of PressedLand
        Areas.
    thickness : float
        Thickness when first touched [mm].
    uneven : callable or None
        Extra gap [mm] at places of shape (n, 2) [mm]: decks that are not flat, sunken liners
        positive, liners that stand proud negative.
    """

    seals: tuple[PressedSeal, ...]
    lands: tuple[PressedLand, ...] = ()
    thickness: float = 1.0
    uneven: Callable[[Floats], Floats] | None = field(default=None, compare=False)

    def lines(self, plan: DeckPlan, step: float) -> tuple[SealLine, ...]:
        """Return the seals' lines sampled at about `step` [mm]."""
        return tuple(seal_line(plan, pressed.seal, step=step) for pressed in self.seals)


@dataclass(frozen=True)
class LaidGasket:
    """Points of a gasket on the kept nodes of a joint, and their grouping into patches.

    Attributes
    ----------
    names : tuple of str
        Names of seals, then lands [text].
    starts : ndarray of int
        Where the points of each seal or land begin [1].
    places : ndarray, shape (points, 2)
        Places of the points [mm].
    points : Points
        The points on the kept nodes that they touch.
    touched : ndarray of int
        Those nodes, as places among the kept ones [1].
    patch : ndarray of int, shape (points,)
        Patch of every point [1].
    step : float
        Wanted distance of the points along a seal [mm].
    indentation : tuple of float
        By seal and land: how much further the faces give way under a narrow line than the grid's nodes
        show, part of a point's closure but not of the gasket's [mm per N/mm].
    lines : tuple of SealLine
        The seals' lines, at whose points the gasket's points lie.
    """

    names: tuple[str, ...]
    starts: Ints
    places: Floats
    points: Points
    touched: Ints
    patch: Ints
    step: float
    indentation: tuple[float, ...]
    lines: tuple[SealLine, ...]

    def part(self, name: str) -> slice:
        """Return which points belong to a seal or land.

        Raises
        ------
        FiredeckError
            If the gasket has none of that name.
        """
        if name not in self.names:
            raise FiredeckError(
                f"the gasket has no seal or land called {name!r}",
                remedy="use one of " + ", ".join(self.names),
            )
        k = self.names.index(name)
        return slice(int(self.starts[k]), int(self.starts[k + 1]))

    @cached_property
    def middles(self) -> Mapping[int, tuple[Ints, Floats]]:
        """Patches of the seal or land whose points begin at a place, and their middles among its points."""
        found = {}
        for start, end in itertools.pairwise(self.starts):
            own, counts = np.unique(self.patch[start:end], return_counts=True)
            found[int(start)] = own, np.cumsum(counts) - 0.5 * (counts + 1)
        return found

    @cached_property
    def means(self) -> Floats:
        """Mean closures of the patches from the touched nodes' closures, shape (patches, touched) [1]."""
        count = int(self.patch.max()) + 1
        share = csr_array((self.points.size, (self.patch, np.arange(len(self.patch)))))
        sums = np.asarray((share @ self.points.weights)[:, : len(self.touched)].todense())
        return np.asarray(sums / self._sizes(count)[:, None])

    @cached_property
    def patches(self) -> Points:
        """The patches as points on their own mean closures."""
        count = int(self.patch.max()) + 1
        sizes = self._sizes(count)
        first = np.unique(self.patch, return_index=True)[1]
        gap = np.bincount(self.patch, self.points.gap * self.points.size) / sizes
        width = self.points.weights.shape[1] - len(self.touched)
        weights = csr_array((np.ones(count), (np.arange(count), np.arange(count))), (count, count + width))
        return Points(weights, gap, self.points.law[first], sizes, self.points.tables)

    def _sizes(self, count: int) -> Floats:
        return np.asarray(np.bincount(self.patch, self.points.size, minlength=count))


def lay_gasket(
    model: GasketModel,
    plan: DeckPlan,
    face: tuple[Grid, Ints],
    fasteners: int,
    *,
    bodies: Sequence[tuple[float, float]] = (),
    step: float = 1.0,
    sector: tuple[float, float] = (6.0, 12.0),
) -> LaidGasket:
    """Lay a gasket on the kept nodes of a joint.

    Parameters
    ----------
    model : GasketModel
        The gasket.
    plan : DeckPlan
        Plan that the seals refer to.
    face : tuple
        The joint's grid, and the place among the kept nodes of each node of the sealing plane,
        shape (nx + 1, ny + 1), -1 where none is kept.
    fasteners : int
        Number of fasteners, whose unknowns follow those of the nodes.
    bodies : sequence of tuple of float
        Young's modulus [MPa] and Poisson's ratio [1] of head and block, which give way under a narrow
        line further than the nodes show; none to leave that out.
    step : float
        Distance of the points along a seal [mm].
    sector : tuple of float
        Length of a patch along the seals of bores, and along the others [mm].

    Returns
    -------
    LaidGasket
        The laid gasket.

    Raises
    ------
    FiredeckError
        If a part of it lies where the bodies do not meet.
    """
    lines = model.lines(plan, step)
    groups = [*_line_groups(model, plan, lines, sector), *_land_groups(model, face[0])]
    if not groups:
        raise FiredeckError("the gasket has no seals", remedy="give at least one seal or land")
    places = np.concatenate([group.places for group in groups])
    numbers, weights = node_weights(places, face)
    if np.any(np.abs(weights.sum(axis=1) - 1.0) > 1e-6):
        bad = places[np.argmax(np.abs(weights.sum(axis=1) - 1.0))]
        raise FiredeckError(
            f"the gasket lies where head and block do not meet, near x = {bad[0]:.1f}, y = {bad[1]:.1f} mm",
            remedy="build the joint again for this gasket, with a larger reach or a finer grid",
        )
    counts = [len(group.places) for group in groups]
    used = weights != 0.0
    touched, columns = np.unique(numbers[used], return_inverse=True)
    rows = np.repeat(np.arange(len(places)), used.sum(axis=1))
    matrix = csr_array((weights[used], (rows, columns)), (len(places), len(touched) + fasteners))
    matrix.sum_duplicates()
    gaps = np.concatenate([np.full(len(group.places), group.gap) for group in groups])
    if model.uneven is not None:
        gaps = gaps + model.uneven(places)
    given = [
        line_compliance(group.law.width, face[0].pitch, bodies) if group.line else 0.0 for group in groups
    ]
    laws = [
        group.law.plus_compliance(more) if more > 0.0 else group.law
        for group, more in zip(groups, given, strict=True)
    ]
    law = np.repeat(np.arange(len(groups)), counts)
    points = Points(matrix, gaps, law, np.concatenate([group.sizes for group in groups]), law_tables(laws))
    offsets = np.concatenate([[0], np.cumsum([int(group.patch.max()) + 1 for group in groups])])
    patch = np.concatenate([group.patch + offset for group, offset in zip(groups, offsets, strict=False)])
    starts = np.concatenate([[0], np.cumsum(counts)])
    names = tuple(group.name for group in groups)
    return LaidGasket(names, starts, places, points, touched, patch, step, tuple(given), lines)


@dataclass(frozen=True)
class _Group:
    """Points of one seal or land; sizes are lengths or areas."""

    name: str
    places: Floats
    sizes: Floats
    patch: Ints
    law: ClosureLaw
    gap: float
    line: bool


def _line_groups(
    model: GasketModel, plan: DeckPlan, lines: tuple[SealLine, ...], sector: tuple[float, float]
) -> list[_Group]:
    bores = {bore.name for bore in plan.bores}
    groups = []
    for pressed, line in zip(model.seals, lines, strict=True):
        count = len(line.points)
        length = (
            sector[0] if len(pressed.seal.enclosed) == 1 and pressed.seal.enclosed[0] in bores else sector[1]
        )
        patches = min(count, max(8, round(line.length / length)))
        patch = np.arange(count) * patches // count
        groups.append(
            _Group(
                pressed.seal.name,
                line.points,
                np.full(count, line.step),
                patch,
                pressed.law,
                pressed.gap,
                True,
            )
        )
    return groups


def _land_groups(model: GasketModel, grid: Grid) -> list[_Group]:
    return [_land_group(land, 0.5 * grid.pitch) for land in model.lands]


def _land_group(land: PressedLand, pitch: float) -> _Group:
    low_x, low_y, high_x, high_y = land.area.bounds
    x = np.arange(low_x + 0.5 * pitch, high_x, pitch)
    y = np.arange(low_y + 0.5 * pitch, high_y, pitch)
    at = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    inside = at[shapely.contains_xy(land.area, at[:, 0], at[:, 1])]
    if not len(inside):
        raise FiredeckError(
            f"land {land.name!r} is smaller than a grid cell", remedy="leave it out or use a finer grid"
        )
    tiles = np.floor((inside - [low_x, low_y]) / (4.0 * pitch)).astype(np.int64)
    _, patch = np.unique(tiles, axis=0, return_inverse=True)
    area = np.full(len(inside), land.area.area / len(inside))
    return _Group(land.name, inside, area, patch.ravel(), land.law, land.gap, False)

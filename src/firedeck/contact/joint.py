"""The joint: bodies, gasket and fasteners built once, then tightened, settled, warmed and fired."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt
import shapely
from scipy.linalg import cho_factor
from shapely.geometry.base import BaseGeometry

from firedeck.contact.body import CondensedBody, Store, condense_body, ordering
from firedeck.contact.bowing import BowLooks, bow_looks, looked_at
from firedeck.contact.gasket import GasketModel, LaidGasket, lay_gasket
from firedeck.contact.lattice import Lattice, fitted_lattice, lattice
from firedeck.contact.mesh import BodyMesh, body_mesh
from firedeck.contact.pair import ElasticSystem, Pair, elastic_system, merge
from firedeck.contact.patterns import (
    BoreGas,
    FastenerSeat,
    Pattern,
    block_patterns,
    bow_patterns,
    head_patterns,
)
from firedeck.contact.section import BodySection
from firedeck.contact.volume import VolumeSection
from firedeck.contact.volume_body import VolumeBody
from firedeck.contact.weights import node_weights
from firedeck.definition.deck import DeckPlan
from firedeck.definition.shape import outline_polygon
from firedeck.errors import FiredeckError
from firedeck.kernel.press import Chords, Points
from firedeck.kernel.threads import for_each, side_by_side
from firedeck.pressure_map import Grid

__all__ = ["Joint", "Level"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: A body on the joint's grid.
Body = BodyMesh | VolumeBody

#: A body and its kept nodes.
_Part = tuple[Body, Ints]

#: ``fast``: patches along the seals; ``check``: every point.
Level = Literal["fast", "check"]


@dataclass(frozen=True)
class Joint:
    """Head, gasket, block and fasteners, condensed to the sealing plane.

    Attributes
    ----------
    plan : DeckPlan
        The sealing plane.
    head, block : BodyMesh or VolumeBody
        Meshed bodies.
    seats : tuple of FastenerSeat
        Fasteners.
    bores : tuple of BoreGas
        Cylinders.
    depths : tuple of float
        Depths at which bore shape is observed [mm].
    kept : ndarray of int, shape (nx + 1, ny + 1)
        Place of each node of the sealing plane among the kept ones, -1 where it is not kept [1].
    pair : Pair
        Both bodies merged.
    condensed : tuple of CondensedBody
        Head and block, for their resultants and keys.
    model : GasketModel
        The gasket.
    laid : LaidGasket
        Its points on the kept nodes.
    moduli : tuple of float
        Moduli of head and block over those of their sections [1].
    """

    plan: DeckPlan
    head: Body
    block: Body
    seats: tuple[FastenerSeat, ...]
    bores: tuple[BoreGas, ...]
    depths: tuple[float, ...]
    kept: Ints
    pair: Pair
    condensed: tuple[CondensedBody, CondensedBody]
    model: GasketModel
    laid: LaidGasket
    moduli: tuple[float, float] = (1.0, 1.0)

    @classmethod
    def build(
        cls,
        plan: DeckPlan,
        sections: tuple[BodySection | VolumeSection, BodySection | VolumeSection],
        gasket: GasketModel,
        seats: Sequence[FastenerSeat],
        *,
        bores: Sequence[BoreGas] | None = None,
        pitch: float = 6.0,
        reach: float = 12.0,
        depths: tuple[float, ...] = (10.0, 40.0, 80.0),
        store: Store | None = None,
        grid: Grid | None = None,
    ) -> Joint:
        """Mesh, condense and merge the bodies and lay the gasket on them.

        Parameters
        ----------
        plan : DeckPlan
            The sealing plane.
        sections : tuple of BodySection or VolumeSection
            Head and block; a volume mesh takes the place of a section.
        gasket : GasketModel
            The gasket.
        seats : sequence of FastenerSeat
            Fasteners.
        bores : sequence of BoreGas, optional
            Where the gas presses; taken from the plan and the innermost seal of each bore
            unless stated.
        pitch : float
            Wanted side of the grid's cells in plan [mm].
        reach : float
            How far from a seal the faces stay free to take another [mm].
        depths : tuple of float
            Depths at which bore shape is observed [mm]; those below the block are left out.
        store : Store, optional
            Where condensed bodies are kept between runs.
        grid : Grid, optional
            Cells in plan, in place of those that the pitch and the walls give.

        Returns
        -------
        Joint
            The joint.

        Raises
        ------
        FiredeckError
            If a section, seal or fastener does not fit the plan.
        """
        lines = lattice(grid) if grid is not None else _grid(plan, sections, pitch)
        head, block = for_each(lambda section: _laid(section, lines), sections)
        _check_sides(head, block, seats)
        depths = tuple(depth for depth in depths if depth < -block.heights[0])
        kept = _kept_nodes(plan, gasket, head, block, reach)
        at = kept >= 0
        places = tuple(seats)
        nodes = _in_order(head, kept, at), _in_order(block, kept, at)
        with _condensing(((head, nodes[0]), (block, nodes[1])), store) as begin:
            gas = tuple(bores) if bores is not None else bore_gas(plan, gasket)
            areas = looked_at(plan, gasket.lines(plan, 1.0)).head
            looks = bow_looks(head.face_shares, len(head.coordinates), _places_of(places), areas)
            # The head's patterns come first, at once: made beside the block's, which hold the interpreter's
            # lock as well, neither body would be under way before both have theirs.
            loads = [*head_patterns(head, places, gas), *bow_patterns(places, looks)]
            condensed = begin(loads, block_patterns(block, places, gas, depths))
            laid = lay_gasket(gasket, plan, (lines, kept), len(places), bodies=_elastic((head, block)))
        bodies = condensed[0].result(), condensed[1].result()
        return cls(plan, head, block, places, gas, depths, kept, merge(*bodies), bodies, gasket, laid)

    def with_gasket(self, gasket: GasketModel) -> Joint:
        """Return the joint with another gasket on the same bodies.

        The head's bow is still read where the gasket that it was built with leaves its face clear.

        Raises
        ------
        FiredeckError
            If it lies beyond the reach of the kept nodes.
        """
        elastic = _elastic((self.head, self.block))
        laid = lay_gasket(gasket, self.plan, (self.grid, self.kept), len(self.seats), bodies=elastic)
        same = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Joint(**{**same, "model": gasket, "laid": laid})

    def stiffened(self, head: float, block: float) -> Joint:
        """Return the joint with bodies of other moduli.

        Parameters
        ----------
        head, block : float
            Factors on their moduli [1].
        """
        condensed = (self.condensed[0].stiffened(head), self.condensed[1].stiffened(block))
        moduli = (head * self.moduli[0], block * self.moduli[1])
        same = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Joint(**{**same, "condensed": condensed, "pair": merge(*condensed), "moduli": moduli})

    def warmed(self, head: float, block: float, fasteners: Sequence[float] = ()) -> Joint:
        """Return the joint with bodies of other moduli and fasteners of other stiffness.

        The last such joint is kept: all states at one temperature share it.

        Parameters
        ----------
        head, block : float
            Factors on their moduli [1].
        fasteners : sequence of float
            Factor on the stiffness of every fastener, in order [1]; empty where it stays.
        """
        factors = (head, block, *fasteners)
        if all(factor == 1.0 for factor in factors):
            return self
        if factors not in self._warmed:
            self._warmed.clear()
            bodies = self if head == block == 1.0 else self.stiffened(head, block)
            self._warmed[factors] = bodies._with_fasteners(fasteners)
        return self._warmed[factors]

    @cached_property
    def _warmed(self) -> dict[tuple[float, ...], Joint]:
        return {}

    def _with_fasteners(self, factors: Sequence[float]) -> Joint:
        if not factors:
            return self
        seats = tuple(
            replace(seat, stiffness=factor * seat.stiffness)
            for seat, factor in zip(self.seats, factors, strict=True)
        )
        return replace(self, seats=seats)

    @property
    def grid(self) -> Lattice:
        """Cells in plan, common to both bodies."""
        return lattice(self.head.grid)

    @property
    def kept_places(self) -> Floats:
        """Places of the kept nodes, shape (n, 2) [mm]."""
        at = np.argwhere(self.kept >= 0)
        order = np.argsort(self.kept[self.kept >= 0])
        return self.grid.nodes(at[order])

    @cached_property
    def whole(self) -> ElasticSystem:
        """System in the closures of all kept nodes."""
        return elastic_system(self.pair, tuple(f"fastener {seat.name}" for seat in self.seats))

    @cached_property
    def gap_looks(self) -> BowLooks:
        """Where the bow of the gap between neighbouring fasteners is looked at."""
        areas = looked_at(self.plan, self.laid.lines).gap

        def shares(places: Floats) -> tuple[Ints, Floats]:
            return node_weights(places, (self.grid, self.kept))

        return bow_looks(shares, int(self.kept.max()) + 1, _places_of(self.seats), areas)

    @cached_property
    def grounded(self) -> tuple[Floats, Floats]:
        """Springs laid on the seats, and the lower factor of the whole system with them [N/mm]."""
        stiffness = self.whole.stiffness
        seats = np.arange(len(stiffness) - self.whole.fasteners, len(stiffness))
        springs = np.abs(np.diag(stiffness)[seats])
        with_springs = stiffness.copy()
        with_springs[seats, seats] += springs
        factor, _ = cho_factor(with_springs, lower=True, overwrite_a=True)
        return springs, np.asarray(factor)

    @cached_property
    def _check(self) -> tuple[ElasticSystem, Points]:
        return self.whole.on(self.laid.touched), self.laid.points

    @cached_property
    def _fast(self) -> tuple[ElasticSystem, Points]:
        return self._check[0].averaged(self.laid.means, soft=1e-9), self.laid.patches

    def at_level(self, level: Level) -> tuple[ElasticSystem, Points]:
        """Return the system and the gasket points that a level solves with."""
        return self._check if level == "check" else self._fast

    @cached_property
    def chords(self) -> Mapping[Level, Chords]:
        """Last factored matrices of every level, from which later load steps start."""
        return {"fast": Chords(), "check": Chords()}

    @cached_property
    def places_of_patterns(self) -> Mapping[str, int]:
        """Place of every pattern among those of the pair [1]."""
        return {name: place for place, name in enumerate(self.pair.names)}

    @cached_property
    def fastener_stiffness(self) -> Floats:
        """Stiffness of every fastener [N/mm]."""
        return np.array([seat.stiffness for seat in self.seats])

    @cached_property
    def fastener_lengths(self) -> Floats:
        """Length of every fastener between its seats, to the middle of its thread [mm]."""
        thickness = self.model.thickness
        return np.array(
            [s.bearing_height + thickness + s.thread_start + 0.5 * s.engagement for s in self.seats]
        )

    @property
    def reach(self) -> float:
        """Half the deck's longer side [mm]."""
        return 0.5 * self.grid.pitch * max(self.grid.cols, self.grid.rows)

    @cached_property
    def fastener_resultants(self) -> Floats:
        """Upright force and moments on the head per tension of every fastener [N/N, N*mm/N]."""
        known = self.resultants()
        return np.array([known[f"fastener {seat.name}"] for seat in self.seats])

    @cached_property
    def middle(self) -> Floats:
        """Mean place of the kept nodes [mm]."""
        return np.asarray(self.kept_places.mean(axis=0))

    def gasket_resultants(self, level: Level) -> Floats:
        """Return upright force and moments on the head per load, by the points' own places [N/N, N*mm/N].

        Parameters
        ----------
        level : {"fast", "check"}
            Whose loads; a patch's load lies on its points by their sizes.

        Returns
        -------
        ndarray, shape (3, points or patches)
            The resultants.
        """
        return self._arms if level == "check" else self._patch_arms

    @cached_property
    def _arms(self) -> Floats:
        x, y = self.laid.places.T
        return np.stack([np.ones(len(x)), y, -x])

    @cached_property
    def _patch_arms(self) -> Floats:
        laid = self.laid
        share = laid.points.size / laid.patches.size[laid.patch]
        return np.stack([np.bincount(laid.patch, share * arm) for arm in self._arms])

    def resultants(self) -> Mapping[str, Floats]:
        """Return upright force and moments of every pattern on the head [N, N*mm]."""
        return self._resultants

    @cached_property
    def _resultants(self) -> Mapping[str, Floats]:
        body = self.condensed[0]
        return dict(zip(body.names, body.resultants, strict=True))


def _places_of(seats: Sequence[FastenerSeat]) -> Floats:
    return np.array([seat.place for seat in seats])


def _elastic(bodies: tuple[Body, Body]) -> list[tuple[float, float]]:
    """Return modulus [MPa] and Poisson's ratio [1] of head and block at 20 degC.

    What the faces give way under a narrow line is taken from these in every state: hot it is some per
    cent of a few micrometres more, and the gasket's memory would have to be told anew.
    """
    sections = [body.section for body in bodies]
    return [(one.modulus, one.material.poisson) for one in sections]


def _grid(
    plan: DeckPlan, sections: tuple[BodySection | VolumeSection, BodySection | VolumeSection], pitch: float
) -> Lattice:
    """Return the grid: with lines on the walls where both bodies are sections, else even.

    A volume mesh is tied to the grid, and must not be asked for more nodes where lines lie close.
    """
    sized = [section for section in sections if isinstance(section, BodySection)]
    return fitted_lattice(outline_polygon(plan), pitch, sized if len(sized) == 2 else ())


def _laid(section: BodySection | VolumeSection, grid: Lattice) -> Body:
    return VolumeBody(section, grid) if isinstance(section, VolumeSection) else body_mesh(section, grid)


def bore_gas(plan: DeckPlan, gasket: GasketModel, *, wall_depth: float = 15.0) -> tuple[BoreGas, ...]:
    """Return where the gas presses: up to the innermost seal of each bore.

    Parameters
    ----------
    plan : DeckPlan
        The sealing plane.
    gasket : GasketModel
        The gasket.
    wall_depth : float
        Depth of wall that sees the gas near its peak [mm].

    Raises
    ------
    FiredeckError
        If a bore has no seal of its own.
    """
    found, lines = [], gasket.lines(plan, 1.0)
    for bore in plan.bores:
        own = [
            line.length / np.pi
            for pressed, line in zip(gasket.seals, lines, strict=True)
            if pressed.seal.enclosed == (bore.name,)
        ]
        if not own:
            raise FiredeckError(f"no seal lies around {bore.name!r} alone", remedy="add its ring or bead")
        found.append(BoreGas(bore.name, bore.centre, bore.diameter, float(min(own)), wall_depth))
    return tuple(found)


@contextmanager
def _condensing(
    parts: tuple[_Part, _Part], store: Store | None
) -> Iterator[Callable[..., list[Future[CondensedBody]]]]:
    """Lend what begins to condense head and block by their patterns; it lets go of the interpreter's lock.

    Their orders of elimination are found meanwhile, one by one: a processor is left for the patterns.
    """
    finds = [ordering(*part) for part in parts]
    with side_by_side(1) as ahead, side_by_side(len(parts)) as pool:
        orders = [ahead.submit(find).result for find in finds]

        def begin(*patterns: Iterable[Pattern]) -> list[Future[CondensedBody]]:
            asked = zip(parts, patterns, orders, strict=True)
            return [pool.submit(condense_body, *part, loads, store, order) for part, loads, order in asked]

        yield begin


def _check_sides(head: Body, block: Body, seats: Sequence[FastenerSeat]) -> None:
    if (head.section.side, block.section.side) != ("head", "block"):
        raise FiredeckError("the sections are not a head and a block", remedy="give the head first")
    if len(seats) < 3:
        raise FiredeckError(
            f"{len(seats)} fasteners do not hold a head", remedy="give at least three fasteners"
        )
    for seat in seats:
        if not 0.0 < seat.bearing_height <= head.heights[-1]:
            raise FiredeckError(
                f"{seat.name!r} bears {seat.bearing_height:.4g} mm above the sealing plane, outside the head",
                remedy="check the height of its bearing face against the head's layers",
            )
        if seat.thread_start + seat.engagement > -block.heights[0]:
            raise FiredeckError(
                f"the thread of {seat.name!r} goes deeper than the block", remedy="check its depth"
            )


def _kept_nodes(plan: DeckPlan, gasket: GasketModel, head: Body, block: Body, reach: float) -> Ints:
    """Give a number to the nodes that both faces have within reach of gasket and fasteners.

    What lies about the fasteners is looked at, not pressed: bow is counted from there.
    """
    both = (head.face_numbers >= 0) & (block.face_numbers >= 0)
    lines: list[BaseGeometry] = [shapely.LinearRing(line.points) for line in gasket.lines(plan, 2.0)]
    holes = [shapely.Point(hole.centre) for hole in plan.fastener_holes]
    shapes = [*lines, *(land.area for land in gasket.lands), *holes]
    near = shapely.union_all([shape.buffer(reach, quad_segs=4) for shape in shapes])
    at = np.argwhere(both)
    at = at[shapely.intersects_xy(near, *lattice(head.grid).nodes(at).T)]
    kept = np.full(both.shape, -1, dtype=np.int64)
    kept[tuple(at.T)] = np.arange(len(at))
    return kept


def _in_order(mesh: Body, kept: Ints, at: npt.NDArray[np.bool_]) -> Ints:
    return np.asarray(mesh.face_numbers[at][np.argsort(kept[at])], dtype=np.int64)

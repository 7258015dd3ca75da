"""A meshed body condensed to the sealing plane, with its patterns, kept by the hash of its contents."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Protocol

import numpy as np
import numpy.typing as npt
import shapely

from firedeck.contact.fingerprint import fingerprint
from firedeck.contact.mesh import BodyMesh, loads_by_node
from firedeck.contact.patterns import Pattern
from firedeck.contact.pieces import FULL_PART
from firedeck.contact.volume_body import VolumeBody, condense_volume, volume_key
from firedeck.errors import FiredeckError
from firedeck.kernel.condense import Condensed, Loads, condense, ordered
from firedeck.kernel.dissection import Dissection

__all__ = ["CondensedBody", "Store", "condense_body", "held_freedoms", "ordering"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Changes whenever the same input would give another answer.
_RULES = "brick, enhanced strains less their mean, 8 x 8 parts by share, pieces apart, even threads; 3"


class Store(Protocol):
    """Where condensed bodies are kept between runs."""

    def get(self, key: str) -> Mapping[str, npt.NDArray[np.float64]] | None:
        """Return the arrays kept under a key, or None."""

    def put(self, key: str, arrays: Mapping[str, npt.NDArray[np.float64]]) -> None:
        """Keep arrays under a key."""


@dataclass(frozen=True)
class CondensedBody:
    """A body as the sealing plane sees it.

    Attributes
    ----------
    key : str
        Hash of all that the numbers depend on, empty for what no store was asked for [text].
    names : tuple of str
        Names of the patterns, in the order of the condensed columns [text].
    condensed : Condensed
        Stiffness, arriving loads and flexibilities.
    resultants : ndarray, shape (patterns, 3)
        Upright force of each pattern, and its moments ``sum F y`` and ``-sum F x`` [N and N*mm].
    """

    key: str
    names: tuple[str, ...]
    condensed: Condensed
    resultants: Floats

    def stiffened(self, factor: float) -> CondensedBody:
        """Return the body of a modulus so many times as high; nothing is condensed again.

        Parameters
        ----------
        factor : float
            Factor on Young's modulus [1].
        """
        # What a free strain pushes with grows with the modulus, what a force does to the faces does not.
        pushes = np.array([factor if " plane " in name else 1.0 for name in self.names])
        before = self.condensed
        flexibility = pushes[:, None] * before.flexibility * pushes / factor
        condensed = Condensed(factor * before.stiffness, before.arriving * pushes, flexibility)
        resultants = self.resultants * pushes[:, None]
        return replace(
            self,
            key=f"{self.key} x {factor!r}" if self.key else "",
            condensed=condensed,
            resultants=resultants,
        )


def held_freedoms(mesh: BodyMesh) -> npt.NDArray[np.bool_]:
    """Return which freedoms are held: a block's bottom upright, and three in plan for either body.

    The three in plan only take away rigid motion: no load that balances itself meets them.

    Parameters
    ----------
    mesh : BodyMesh
        The body.
    """
    held = np.zeros((len(mesh.body.places), 3), dtype=bool)
    outer = len(mesh.heights) - 1 if mesh.section.side == "head" else 0
    level = mesh.body.places[:, 2] == outer
    if mesh.section.side == "block":
        held[_supported(mesh, level), 2] = True
    first, second = _pins(mesh)
    held[first, :2] = True
    held[second, _across(mesh, first, second)] = True
    return held


def _supported(mesh: BodyMesh, level: npt.NDArray[np.bool_]) -> Ints:
    nodes = np.flatnonzero(level)
    if mesh.section.support is None:
        return nodes
    at = mesh.coordinates[nodes]
    inside = shapely.contains_xy(mesh.section.support, at[:, 0], at[:, 1])
    if inside.sum() < 3:
        raise FiredeckError(
            "the block's support holds fewer than three nodes", remedy="use a larger support or a finer grid"
        )
    held = at[inside, :2]
    # Without a second direction the joint could roll over the line, and no balance would notice.
    if np.linalg.svd(held - held.mean(axis=0), compute_uv=False)[1] < 0.5 * mesh.grid.pitch:
        raise FiredeckError(
            "the block's support is a single line of nodes, over which the block would roll",
            remedy="use a support that is at least a cell of the grid wide, or a finer grid",
        )
    return nodes[inside]


def _pins(mesh: BodyMesh) -> tuple[int, int]:
    """Return two nodes far apart that sit in the middle of full material."""
    full = np.all(mesh.bricks.filled == FULL_PART, axis=1)
    support = np.bincount(mesh.body.elements[full].ravel(), minlength=len(mesh.body.places))
    best = np.flatnonzero(support == support.max())
    along = mesh.coordinates[best, :2] @ np.array([1.0, 0.01])
    return int(best[np.argmin(along)]), int(best[np.argmax(along)])


def _across(mesh: BodyMesh, first: int, second: int) -> int:
    """Return the axis in plan that turning about the first pin moves the second one along."""
    apart = np.abs(mesh.coordinates[second, :2] - mesh.coordinates[first, :2])
    return 1 if apart[0] >= apart[1] else 0


def ordering(mesh: BodyMesh | VolumeBody, kept: Ints) -> Callable[[], Dissection | None]:
    """Return what finds the order in which a body is eliminated, None for one without a grid of its own.

    Parameters
    ----------
    mesh, kept
        As for `condense_body`.
    """
    if isinstance(mesh, VolumeBody):
        return lambda: None
    # What is short comes first: later it would have to wait for the interpreter's lock.
    return partial(ordered, mesh.body, _upright(kept), held_freedoms(mesh))


def _upright(kept: Ints) -> Ints:
    return np.column_stack([kept, np.full(len(kept), 2)])


def condense_body(
    mesh: BodyMesh | VolumeBody,
    kept: Ints,
    patterns: Iterable[Pattern],
    store: Store | None = None,
    order: Callable[[], Dissection | None] = lambda: None,
) -> CondensedBody:
    """Condense a body to the upright freedoms of some nodes of its sealing face.

    Parameters
    ----------
    mesh : BodyMesh or VolumeBody
        The body.
    kept : ndarray of int, shape (n,)
        Nodes in the sealing plane whose upright freedom is kept.
    patterns : iterable of (str, ndarray)
        Patterns.
    store : Store, optional
        Where an earlier answer may lie, and where this one goes.
    order : callable, optional
        Gives what `ordering` finds ahead.

    Returns
    -------
    CondensedBody
        The condensed body.

    Raises
    ------
    FiredeckError
        If a part of the body hangs on nothing.
    """
    asked = (
        _of_volume(mesh, kept, patterns)
        if isinstance(mesh, VolumeBody)
        else _of_grid(mesh, kept, patterns, order)
    )
    if store is None:
        return CondensedBody("", asked.names, _condense(mesh, asked.task), asked.resultants)
    key = asked.key()
    condensed = _kept_before(store, key, (len(kept), len(asked.names)))
    if condensed is None:
        condensed = _condense(mesh, asked.task)
        store.put(key, vars(condensed))
    return CondensedBody(key, asked.names, condensed, asked.resultants)


@dataclass(frozen=True)
class _Asked:
    """A condensation: what gives the hash of all that it depends on, its patterns, and what does it."""

    key: Callable[[], str]
    names: tuple[str, ...]
    resultants: Floats
    task: Callable[[], Condensed]


def _of_volume(mesh: VolumeBody, kept: Ints, patterns: Iterable[Pattern]) -> _Asked:
    named = list(patterns)
    names, columns = tuple(name for name, _ in named), tuple(loads for _, loads in named)
    key = partial(volume_key, mesh, columns, names, kept)
    resultants = _resultants(mesh, loads_by_node(columns, len(mesh.coordinates)))
    return _Asked(key, names, resultants, lambda: condense_volume(mesh, kept, columns))


def _of_grid(
    mesh: BodyMesh, kept: Ints, patterns: Iterable[Pattern], order: Callable[[], Dissection | None]
) -> _Asked:
    found: list[str] = []

    def columns() -> Iterator[Floats]:
        # One at a time: a column is as long as the body, and hardly anything of it is loaded.
        for name, loads in patterns:
            found.append(name)
            yield loads

    loads, names = loads_by_node(columns(), len(mesh.body.places)), tuple(found)
    held = held_freedoms(mesh)
    key = partial(_key, mesh, kept, held, loads, names)

    def task() -> Condensed:
        return condense(mesh.body, _upright(kept), held, loads, order())

    return _Asked(key, names, _resultants(mesh, loads), task)


def _condense(mesh: BodyMesh | VolumeBody, task: Callable[[], Condensed]) -> Condensed:
    try:
        return task()
    except ArithmeticError as fault:
        raise FiredeckError(
            f"a part of the {mesh.section.side} hangs on nothing",
            remedy="check that its layers overlap in plan, or use a finer grid; a volume mesh must hang "
            "together by whole faces of its elements",
        ) from fault


def _kept_before(store: Store, key: str, counts: tuple[int, int]) -> Condensed | None:
    """Return what the store holds under a key if it is whole: freedoms and patterns as counted."""
    found = store.get(key)
    n, p = counts
    shapes = {"stiffness": (n, n), "arriving": (n, p), "flexibility": (p, p)}
    if found is None or {name: array.shape for name, array in found.items()} != shapes:
        return None
    if not all(np.isfinite(array).all() for array in found.values()):
        return None
    return Condensed(found["stiffness"], found["arriving"], found["flexibility"])


def _key(
    mesh: BodyMesh, kept: Ints, held: npt.NDArray[np.bool_], loads: Loads, names: tuple[str, ...]
) -> str:
    section, bricks = mesh.section, mesh.bricks
    words = [_RULES, section.side, section.modulus, section.material.poisson, names]
    shape = (*mesh.grid.lines, bricks.cells, bricks.filled, bricks.corners, mesh.heights)
    pushed = (loads.starts, loads.columns, _counted(loads.values))
    return fingerprint(words, (*shape, kept, held, *pushed))


def _counted(values: Floats) -> Ints:
    """Return values in counts of about a billionth of the largest.

    Loads come out of small systems of equations, whose last digits depend on the machine's linear algebra
    and, for a body that is meshed by itself, on how many threads it starts: two processes must still find
    the same body. The odd step keeps common fractions off the halves.
    """
    step = 1e-9 * math.sqrt(0.7) * float(np.abs(values).max(initial=0.0)) or 1.0
    return np.rint(values / step).astype(np.int64)


def _resultants(mesh: BodyMesh | VolumeBody, loads: Loads) -> Floats:
    x, y = np.repeat(mesh.coordinates[:, :2], np.diff(loads.starts), axis=0).T
    lift = loads.values[:, 2]
    sums = [np.bincount(loads.columns, part, minlength=loads.count) for part in (lift, lift * y, -lift * x)]
    return np.column_stack(sums)

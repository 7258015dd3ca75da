"""Head and block merged: forces and closures between them, and the seats of the fasteners."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from firedeck.contact.body import CondensedBody
from firedeck.kernel.dense import from_diagonal, routines
from firedeck.kernel.elimination import parted
from firedeck.kernel.shared_columns import eliminate_shared
from firedeck.kernel.threads import side_by_side

__all__ = ["ElasticSystem", "Pair", "elastic_system", "merge"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_First = TypeVar("_First")
_Second = TypeVar("_Second")


@dataclass(frozen=True)
class Pair:
    """Both bodies in terms of the opening between them, head's displacement less the block's.

    Attributes
    ----------
    names : tuple of str
        Names of the patterns of either body; one name in both acts on both [text].
    stiffness : ndarray, shape (n, n)
        Stiffness against opening [N/mm].
    arriving : ndarray, shape (n, p)
        Opening force per unit of each pattern [N].
    flexibility : ndarray, shape (p, p)
        Displacement in the sense of one pattern per unit of another, opening held [mm].
    head : ndarray, shape (n, n)
        The head's own stiffness [N/mm].
    factor : ndarray, shape (n, n)
        Lower Cholesky factor of both stiffnesses together [(N/mm)^0.5].
    lifting : ndarray, shape (n, p)
        Force on both faces together per unit of each pattern [N].
    """

    names: tuple[str, ...]
    stiffness: Floats
    arriving: Floats
    flexibility: Floats
    head: Floats
    factor: Floats
    lifting: Floats

    def block_face(self, opening: Floats, amounts: Floats) -> Floats:
        """Return the upright displacement of the block's face [mm].

        Parameters
        ----------
        opening : ndarray, shape (n,)
            Opening at the kept nodes [mm].
        amounts : ndarray, shape (p,)
            Amount of every pattern.
        """
        force = self.lifting @ amounts - self.head @ opening
        return np.asarray(cho_solve((self.factor, True), force))


def merge(head: CondensedBody, block: CondensedBody) -> Pair:
    """Merge two bodies with the same kept nodes.

    With the block's displacement free to take its balance, stiffness against opening is
    ``H - H (H + B)^-1 H``, in which the head's rigid motions stay free.

    Parameters
    ----------
    head, block : CondensedBody
        The bodies.

    Returns
    -------
    Pair
        Their common terms.
    """
    names = (*head.names, *(name for name in block.names if name not in set(head.names)))
    arriving_h, flexibility_h = _on(names, head)
    arriving_b, flexibility_b = _on(names, block)
    own, lifting = head.condensed.stiffness, arriving_h + arriving_b
    n = len(own)
    panel, left = np.empty((n, 2 * n + len(names))), np.empty((n + len(names), n + len(names)))

    def fill_panel() -> None:
        np.add(own, block.condensed.stiffness, out=panel[:, :n])
        panel[:, n : 2 * n], panel[:, 2 * n :] = own, -lifting

    def fill_left() -> None:
        left[:n, :n], left[:n, n:] = own, -arriving_h
        left[n:, n:] = -(flexibility_h + flexibility_b)

    with side_by_side(os.cpu_count() or 1) as pool:
        _both(pool, fill_panel, fill_left)
        if not eliminate_shared(panel, left, routines(), pool):
            raise ArithmeticError("head and block together can move without resistance")
        factor, parts = _both(pool, partial(from_diagonal, panel[:, :n]), partial(parted, left, n))
    return Pair(names, *parts, own, factor.T, lifting)


def _both(
    pool: ThreadPoolExecutor, first: Callable[[], _First], second: Callable[[], _Second]
) -> tuple[_First, _Second]:
    """Do two things side by side."""
    begun, beside = pool.submit(first), pool.submit(second)
    return begun.result(), beside.result()


def _on(names: tuple[str, ...], body: CondensedBody) -> tuple[Floats, Floats]:
    """Spread a body's columns over the common names."""
    place = [names.index(name) for name in body.names]
    n, p = len(body.condensed.stiffness), len(names)
    arriving, flexibility = np.zeros((n, p)), np.zeros((p, p))
    arriving[:, place] = body.condensed.arriving
    flexibility[np.ix_(place, place)] = body.condensed.flexibility
    return arriving, flexibility


@dataclass(frozen=True)
class ElasticSystem:
    """What a load step solves on: closures at some places, then the approach of each fastener's seats.

    Attributes
    ----------
    stiffness : ndarray, shape (n + m, n + m)
        Stiffness [N/mm].
    forces : ndarray, shape (n + m, p)
        Force on the unknowns per unit of each pattern [N]; nothing for the fasteners' own.
    fasteners : int
        How many of the unknowns are seats [1].
    """

    stiffness: Floats
    forces: Floats
    fasteners: int

    def on(self, chosen: Ints) -> ElasticSystem:
        """Return the system on some of its closures, the others free of force."""
        m = self.fasteners
        keep = np.concatenate([chosen, len(self.stiffness) - m + np.arange(m)])
        drop = np.setdiff1d(np.arange(len(self.stiffness)), keep)
        if not len(drop):
            return self
        inner = cho_factor(self.stiffness[np.ix_(drop, drop)], lower=True)
        across = self.stiffness[np.ix_(drop, keep)]
        solved = cho_solve(inner, np.concatenate([across, self.forces[drop]], axis=1))
        stiffness = self.stiffness[np.ix_(keep, keep)] - across.T @ solved[:, : len(keep)]
        forces = self.forces[keep] - across.T @ solved[:, len(keep) :]
        return ElasticSystem(0.5 * (stiffness + stiffness.T), forces, m)

    def averaged(self, means: Floats, *, soft: float) -> ElasticSystem:
        """Return the system in mean closures, each with its force shared as the mean is taken.

        Parameters
        ----------
        means : ndarray, shape (k, n)
            Mean closures from the closures [1].
        soft : float
            Compliance added to every mean, which keeps neighbours apart that share their nodes [mm/N].
        """
        m = self.fasteners
        springs = np.zeros(len(self.stiffness))
        springs[len(springs) - m :] = np.abs(np.diag(self.stiffness)[len(springs) - m :])
        rows = np.zeros((len(means) + m, len(self.stiffness)))
        rows[: len(means), : means.shape[1]] = means
        rows[len(means) :, means.shape[1] :] = np.eye(m)
        factor = cho_factor(self.stiffness + np.diag(springs), lower=True)
        solved = cho_solve(factor, np.concatenate([rows.T, self.forces], axis=1))
        compliance = rows @ solved[:, : len(rows)]
        compliance[range(len(means)), range(len(means))] += soft
        stiffness = np.linalg.inv(0.5 * (compliance + compliance.T))
        forces = stiffness @ (rows @ solved[:, len(rows) :])
        stiffness[range(len(means), len(rows)), range(len(means), len(rows))] -= springs[len(springs) - m :]
        return ElasticSystem(0.5 * (stiffness + stiffness.T), forces, m)


def elastic_system(pair: Pair, fasteners: tuple[str, ...]) -> ElasticSystem:
    """Return the system in closures of the kept nodes and the approach of the fasteners' seats.

    Parameters
    ----------
    pair : Pair
        Both bodies.
    fasteners : tuple of str
        Names of the fasteners' patterns.
    """
    place = np.array([pair.names.index(name) for name in fasteners], dtype=np.int64)
    own = pair.flexibility[np.ix_(place, place)]
    inverse = np.linalg.inv(own)
    pull = pair.arriving[:, place]
    across = pull @ inverse
    to_seats = inverse @ pair.flexibility[place]
    stiffness = np.block([[pair.stiffness + across @ pull.T, across], [across.T, inverse]])
    forces = np.concatenate([pull @ to_seats - pair.arriving, to_seats])
    forces[:, place] = 0.0
    return ElasticSystem(0.5 * (stiffness + stiffness.T), forces, len(place))

"""Elastic interaction: what every fastener still holds after its neighbours were tightened."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firedeck.errors import FiredeckError
from firedeck.kernel.interaction import advance_for, balance, pull_to, rigid_bed_compliance

__all__ = ["Bed", "Move", "SharedJoint", "TighteningHistory", "tighten"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bed:
    """A bed of springs under a rigid head, the stand-in until a real joint is supplied.

    Attributes
    ----------
    stiffness : float
        Stiffness of the whole bed [N/mm].
    centre : tuple of float
        Centre of stiffness in plan [mm].
    moments : array, shape (2, 2)
        Second moments of stiffness about the centre [N*mm].
    """

    stiffness: float
    centre: tuple[float, float]
    moments: Floats

    @classmethod
    def from_points(cls, positions: ArrayLike, stiffness: ArrayLike) -> Bed:
        """Build from springs at points: positions (n, 2) [mm], stiffness of each [N/mm]."""
        places = np.asarray(positions, dtype=np.float64).reshape(-1, 2)
        each = np.broadcast_to(np.asarray(stiffness, dtype=np.float64), len(places))
        total = float(each.sum())
        centre = each @ places / total
        arms = places - centre
        return cls(total, (float(centre[0]), float(centre[1])), arms.T @ (each[:, None] * arms))

    @classmethod
    def from_rectangle(cls, length: float, width: float, pressure_per_mm: float) -> Bed:
        """Build a rectangle centred on the origin: sides [mm], pressure per closure [N/mm^3]."""
        total = length * width * pressure_per_mm
        return cls(total, (0.0, 0.0), np.diag([total * length**2 / 12.0, total * width**2 / 12.0]))

    @classmethod
    def from_line(cls, length: float, stiffness_per_length: float) -> Bed:
        """Build a line along x centred on the origin: length [mm], stiffness per length [N/mm^2]."""
        total = length * stiffness_per_length
        return cls(total, (0.0, 0.0), np.diag([total * length**2 / 12.0, 0.0]))

    @classmethod
    def from_rings(cls, centres: ArrayLike, diameters: ArrayLike, stiffness_per_length: float) -> Bed:
        """Build from sealing rings: centres (n, 2), diameters [mm], line stiffness [N/mm^2]."""
        places = np.asarray(centres, dtype=np.float64).reshape(-1, 2)
        across = np.broadcast_to(np.asarray(diameters, dtype=np.float64), len(places))
        each = np.pi * across * stiffness_per_length
        rings = cls.from_points(places, each)
        own = float((each * across**2).sum()) / 8.0
        return cls(rings.stiffness, rings.centre, rings.moments + own * np.eye(2))

    def compliance(self, positions: ArrayLike) -> Floats:
        """Return the joint compliance at fasteners in plan (n, 2) [mm], as (n, n) [mm/N].

        Raises
        ------
        FiredeckError
            If fasteners lie off the line of a bed that resists no tilt across it.
        """
        places = np.asarray(positions, dtype=np.float64).reshape(-1, 2)
        values, vectors = np.linalg.eigh(self.moments)
        weak = vectors[:, values <= 1e-12 * max(values.max(), 1e-300)]
        arms = (places - np.array(self.centre)) @ weak
        if weak.size and np.abs(arms).max() > 1e-6:
            raise FiredeckError(
                "the bed lies on one line and resists no tilt across it, but fasteners lie off that line",
                remedy="give the bed a width, or place the fasteners on its line",
            )
        return rigid_bed_compliance(places, self.stiffness, np.array(self.centre), self.moments)


@dataclass(frozen=True)
class SharedJoint:
    """Fasteners that pull on one joint.

    Attributes
    ----------
    names : tuple of str
        Names of the fasteners.
    joint : array, shape (n, n)
        Give at fastener i per newton at fastener j, fasteners left out [mm/N].
    fastener : array, shape (n,)
        Compliance of each fastener [mm/N].
    """

    names: tuple[str, ...]
    joint: Floats
    fastener: Floats

    def __post_init__(self) -> None:
        count = len(self.names)
        if self.joint.shape != (count, count) or self.fastener.shape != (count,):
            raise FiredeckError(
                f"{count} fasteners need a joint compliance of {count} by {count} and {count} fastener "
                f"compliances, not {self.joint.shape} and {self.fastener.shape}",
                remedy="supply one row, one column and one compliance for each fastener",
            )
        if len(set(self.names)) != count:
            raise FiredeckError("two fasteners have the same name", remedy="name each fastener differently")
        if not np.all(self.fastener > 0.0):
            raise FiredeckError(
                "a fastener's compliance must be above zero", remedy="check the fastener's stiffness"
            )
        _reciprocal(self.joint)

    @classmethod
    def build(
        cls, joint: ArrayLike, fastener_stiffness: ArrayLike, names: Sequence[str] | None = None
    ) -> SharedJoint:
        """Build from joint compliance (n, n) [mm/N] and fastener stiffness, one or n [N/mm].

        Fasteners without names are called 1, 2, 3 and so on.
        """
        matrix = np.array(joint, dtype=np.float64)
        count = len(matrix)
        stiffness = np.broadcast_to(np.asarray(fastener_stiffness, dtype=np.float64), count)
        called = tuple(names) if names is not None else tuple(str(k + 1) for k in range(count))
        with np.errstate(divide="ignore"):
            return cls(called, matrix, 1.0 / stiffness)

    def index(self, name: str) -> int:
        """Return the place of a fastener.

        Raises
        ------
        FiredeckError
            If no fastener has that name.
        """
        if name not in self.names:
            raise FiredeckError(
                f"no fastener is called {name!r}", remedy="use one of " + ", ".join(self.names)
            )
        return self.names.index(name)


def _reciprocal(matrix: Floats) -> None:
    """Refuse a compliance that no elastic joint can have."""
    scale = float(np.abs(matrix).max(initial=0.0))
    if not np.isfinite(matrix).all() or np.abs(matrix - matrix.T).max(initial=0.0) > 1e-6 * scale:
        raise FiredeckError(
            "the joint compliance is not symmetric: "
            "the give at i per force at j must be that at j per force at i",
            remedy="check the order of rows and columns, and that the matrix is of an elastic joint",
        )
    if len(matrix) and np.linalg.eigvalsh(0.5 * (matrix + matrix.T)).min() < -1e-9 * scale:
        raise FiredeckError(
            "the joint compliance would give out work when pressed; no elastic joint does",
            remedy="check signs: the give is positive towards closing under a positive clamp force",
        )


@dataclass(frozen=True)
class Move:
    """One action of a wrench on one fastener.

    Attributes
    ----------
    fastener : str
        Name.
    preload : float, optional
        Preload at which the wrench stops; it turns no fastener that holds as much already [N].
    advance : float, optional
        How far the nut is turned on, along the fastener [mm].
    loosen : bool
        Taken out of play.
    """

    fastener: str
    preload: float | None = None
    advance: float | None = None
    loosen: bool = False

    def __post_init__(self) -> None:
        given = (self.preload is not None) + (self.advance is not None) + self.loosen
        if given != 1 or (self.preload or 0.0) < 0.0:
            raise FiredeckError(
                f"the move on {self.fastener} needs one action: "
                "a preload of zero or more, an advance, or loosening",
                remedy="give exactly one of preload, advance and loosen",
            )


@dataclass(frozen=True)
class TighteningHistory:
    """Preloads after every move.

    Attributes
    ----------
    names : tuple of str
        Fasteners, in the order of the columns.
    moves : tuple of Move
        What was done.
    preload : array, shape (n_moves, n)
        Preload of every fastener after every move [N]; zero where it came loose.
    """

    names: tuple[str, ...]
    moves: tuple[Move, ...]
    preload: Floats

    @property
    def final(self) -> Floats:
        """Preload of every fastener at the end [N]."""
        last: Floats = self.preload[-1]
        return last

    @property
    def peak(self) -> Floats:
        """Highest preload that each fastener passed through [N]; a film keeps this state."""
        highest: Floats = self.preload.max(axis=0)
        return highest

    @property
    def unevenness(self) -> float:
        """Greatest less least final preload, over their mean [1]."""
        return float(np.ptp(self.final) / self.final.mean())

    def until(self, count: int) -> TighteningHistory:
        """Return the history of the first `count` moves."""
        return TighteningHistory(self.names, self.moves[:count], self.preload[:count])

    @property
    def came_loose(self) -> tuple[str, ...]:
        """Fasteners that were tightened and hold nothing at the end."""
        touched = {move.fastener for move in self.moves if not move.loosen}
        return tuple(
            name
            for name, force in zip(self.names, self.final, strict=True)
            if force <= 0.0 and name in touched
        )


def tighten(joint: SharedJoint, moves: Iterable[Move]) -> TighteningHistory:
    """Carry out moves one by one and return every fastener's preload after each.

    Linear elastic; a fastener never pushes: one whose neighbours pull the joint from under it
    holds zero until the joint comes back or it is turned again.

    Parameters
    ----------
    joint : SharedJoint
        Joint and fasteners.
    moves : iterable of Move
        In order.

    Raises
    ------
    FiredeckError
        If there is no move, or one names a fastener that is not there.
    """
    plan = tuple(moves)
    if not plan:
        raise FiredeckError("there is nothing to tighten", remedy="give at least one move")
    bench = _Bench(joint)
    rows = [bench.carry_out(move) for move in plan]
    return TighteningHistory(joint.names, plan, np.array(rows))


class _Bench:
    """The joint while it is being tightened."""

    def __init__(self, joint: SharedJoint) -> None:
        count = len(joint.names)
        self.joint = joint
        self.advance = np.zeros(count)
        self.in_play = np.zeros(count, dtype=np.bool_)
        self.preload: Floats = np.zeros(count)

    def carry_out(self, move: Move) -> Floats:
        place = self.joint.index(move.fastener)
        if move.loosen:
            self.in_play[place] = False
            self._settle()
        elif move.advance is not None:
            self._turn(place, move.advance)
        else:
            self._pull(place, move.preload or 0.0)
        return self.preload

    def _settle(self) -> None:
        self.preload = balance(self.joint.joint, self.joint.fastener, self.advance, self.in_play)

    def _turn(self, place: int, advance: float) -> None:
        if not self.in_play[place]:
            self.advance[place] = float(self.joint.joint[place] @ self.preload)
            self.in_play[place] = True
        self.advance[place] += advance
        self._settle()

    def _pull(self, place: int, target: float) -> None:
        if self.preload[place] >= target:
            return
        self.preload = pull_to(
            self.joint.joint, self.joint.fastener, self.advance, self.in_play, place, target
        )
        self.advance[place] = advance_for(self.joint.joint, self.joint.fastener, self.preload)[place]
        self.in_play[place] = True

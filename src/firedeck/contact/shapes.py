"""What the bodies look like in a state: faces, bow between fasteners, shape of the bores."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_solve

from firedeck.contact.patterns import BORE_ORDERS, BoreGas, bow_name, shape_name
from firedeck.contact.state import JointState

__all__ = ["BoreShape", "Bow", "Faces", "bore_shapes", "bows", "faces"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Faces:
    """Both faces at the kept nodes.

    Attributes
    ----------
    place : ndarray, shape (n, 2)
        Places of the nodes [mm].
    head, block : ndarray, shape (n,)
        Upright displacement of the faces [mm].
    """

    place: Floats
    head: Floats
    block: Floats

    @property
    def opening(self) -> Floats:
        """Head's displacement less the block's [mm]."""
        return self.head - self.block

    def head_bow(self) -> Floats:
        """Return the head's face against its best plane [mm], up positive."""
        rows = np.column_stack([np.ones(len(self.place)), self.place])
        fit, *_ = np.linalg.lstsq(rows, self.head, rcond=None)
        return np.asarray(self.head - rows @ fit)


def faces(state: JointState) -> Faces:
    """Return the displacement of both faces.

    Parameters
    ----------
    state : JointState
        The state.
    """
    opening = _opening(state)
    block = state.joint.pair.block_face(opening, state.amount_vector)
    return Faces(state.joint.kept_places, opening + block, block)


def _opening(state: JointState) -> Floats:
    """Return the opening at all kept nodes, also where nothing touches, from the forces there [mm]."""
    joint, laid = state.joint, state.joint.laid
    whole = joint.whole
    m = whole.fasteners
    load = state.balance.load
    if state.level == "fast":
        load = load[laid.patch] * laid.points.size / laid.patches.size[laid.patch]
    amounts = np.array([state.amounts.get(name, 0.0) for name in joint.pair.names])
    force = whole.forces @ amounts
    pressed = np.zeros(len(force))
    pressed[laid.touched] = (laid.points.weights.T @ load)[: len(laid.touched)]
    pressed[len(force) - m :] = -state.tension
    springs, factor = joint.grounded
    seats = state.balance.unknowns[len(state.balance.unknowns) - m :]
    force[len(force) - m :] += springs * seats
    closures = cho_solve((factor, True), force - pressed)
    return np.asarray(-closures[: len(closures) - m])


@dataclass(frozen=True)
class Bow:
    """How far the head stands up midway between two neighbouring fasteners.

    Between two bores, where seals cover all of its face, the head is read in the chambers' roofs beside
    the bridge; the gap is read on the bridge itself.

    Attributes
    ----------
    fasteners : tuple of str
        The two fasteners [text].
    head : float
        Head's face midway, against its height beside the two fasteners [mm], up positive.
    opening : float
        The same for the gap between the faces, seals' dents in it where they leave no other [mm].
    """

    fasteners: tuple[str, str]
    head: float
    opening: float


def bows(state: JointState) -> tuple[Bow, ...]:
    """Return the bow between every two neighbouring fasteners, the largest gap first.

    Pairs are left out where too little of a face can be seen.

    Parameters
    ----------
    state : JointState
        The state.
    """
    opening = _opening(state)
    looks, seats, seen = state.joint.gap_looks, state.joint.seats, _looked_at(state, opening)
    found = []
    for (a, b), rise in zip(looks.pairs, looks.weights @ opening, strict=True):
        pair = (seats[a].name, seats[b].name)
        if bow_name(*pair) in seen:
            found.append(Bow(pair, seen[bow_name(*pair)], float(rise)))
    return tuple(sorted(found, key=lambda bow: -bow.opening))


def _looked_at(state: JointState, opening: Floats) -> dict[str, float]:
    """Return the displacement of both bodies in the sense of every pattern [mm]."""
    pair = state.joint.pair
    moved = pair.arriving.T @ opening + pair.flexibility @ state.amount_vector
    return dict(zip(pair.names, moved.tolist(), strict=True))


@dataclass(frozen=True)
class BoreShape:
    """How far a bore is from round at one depth.

    Attributes
    ----------
    bore : str
        Name of the bore [text].
    depth : float
        Depth below the sealing plane [mm].
    amplitude : ndarray, shape (9,)
        Amplitude of the radial displacement by Fourier order 0 to 8 [mm]; order 0 is growth,
        signed, and order 1 mostly a shift.
    phase : ndarray, shape (9,)
        Angle of each order's first outward crest [degree].
    """

    bore: str
    depth: float
    amplitude: Floats
    phase: Floats

    @property
    def out_of_round(self) -> float:
        """Peak to valley of orders 2 and above, at most [mm]."""
        return 2.0 * float(self.amplitude[2:].sum())


def bore_shapes(state: JointState) -> tuple[BoreShape, ...]:
    """Return the distortion of every bore at every observed depth.

    Parameters
    ----------
    state : JointState
        The state.
    """
    joint, seen = state.joint, _looked_at(state, _opening(state))
    return tuple(_bore_shape(bore, depth, seen) for bore in joint.bores for depth in joint.depths)


def _bore_shape(bore: BoreGas, depth: float, seen: Mapping[str, float]) -> BoreShape:
    cos = np.array([seen[shape_name(bore.name, depth, order, "cos")] for order in BORE_ORDERS])
    sin = np.array([seen.get(shape_name(bore.name, depth, order, "sin"), 0.0) for order in BORE_ORDERS])
    amplitude = np.hypot(cos, sin)
    amplitude[0] = cos[0]
    order = np.maximum(np.arange(len(cos)), 1)
    return BoreShape(bore.name, depth, amplitude, np.degrees(np.arctan2(sin, cos)) / order)

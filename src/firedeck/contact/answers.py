"""What a state says: seal profiles, faces and bow, swings, clamp against gas, bore shape."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from firedeck.contact.joint import Joint
from firedeck.contact.patterns import BORE_ORDERS, BoreGas, shape_name
from firedeck.contact.state import JointState
from firedeck.definition.shape import seal_line
from firedeck.errors import FiredeckError
from firedeck.kernel.closure import point_loads

__all__ = [
    "BoreShape",
    "Faces",
    "LevelDifference",
    "SealPressure",
    "SealSwing",
    "bore_shapes",
    "clamp_over_gas",
    "compare_levels",
    "faces",
    "peak_profile",
    "profile",
    "swings",
]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SealPressure:
    """What one seal carries all along.

    Attributes
    ----------
    seal : str
        Name of the seal [text].
    arc : ndarray, shape (n,)
        Arc length from the line's first point [mm].
    angle : ndarray, shape (n,)
        Angle about the centre of what the seal encloses [degree].
    place : ndarray, shape (n, 2)
        Points of the line [mm].
    line_load : ndarray, shape (n,)
        Load per length [N/mm].
    pressure : ndarray, shape (n,)
        Line load over the law's width [MPa]; NaN where the law states no width.
    closure : ndarray, shape (n,)
        Closure from first touch [mm]; negative where the gap is open.
    beyond : float
        Share of the length where the closure is beyond the law's table, which goes on straight [1].
    """

    seal: str
    arc: Floats
    angle: Floats
    place: Floats
    line_load: Floats
    pressure: Floats
    closure: Floats
    beyond: float

    @property
    def mean(self) -> float:
        """Mean line load [N/mm]."""
        return float(self.line_load.mean())

    @property
    def lowest(self) -> float:
        """Lowest line load [N/mm]."""
        return float(self.line_load.min())

    @property
    def weakest_angle(self) -> float:
        """Angle of the lowest line load [degree]."""
        return float(self.angle[np.argmin(self.line_load)])


def profile(state: JointState, seal: str) -> SealPressure:
    """Return what a seal carries at every point along it.

    On the fast level the values of the patches are joined by straight lines.

    Parameters
    ----------
    state : JointState
        The state.
    seal : str
        Name of the seal.

    Raises
    ------
    FiredeckError
        If the gasket has no such seal.
    """
    return _profile(state, seal, state.balance.load, state.balance.closure)


def peak_profile(state: JointState, seal: str) -> SealPressure:
    """Return the highest line load that every point of a seal has met so far.

    It is what a film that keeps the highest pressure would have seen if it had no thickness.

    Parameters
    ----------
    state : JointState
        The state, with the history that led to it.
    seal : str
        Name of the seal.
    """
    _, points = state.joint.at_level(state.level)
    load, slope = np.zeros(len(points.gap)), np.zeros(len(points.gap))
    point_loads(state.largest, state.largest, points.law, points.size, points.tables, load, slope)
    return _profile(state, seal, load, state.largest)


def _profile(state: JointState, seal: str, load: Floats, closure: Floats) -> SealPressure:
    joint = state.joint
    part = joint.laid.part(seal)
    _, points = joint.at_level(state.level)
    each: Floats = load / points.size
    per_length = _along(state, part, each)
    pressed_in = joint.laid.indentation[joint.laid.names.index(seal)]
    closed = _along(state, part, closure) - pressed_in * per_length
    names = [pressed.seal.name for pressed in joint.model.seals]
    if seal not in names:
        raise FiredeckError(f"{seal!r} is a land, not a seal", remedy="ask for " + ", ".join(names))
    pressed = joint.model.seals[names.index(seal)]
    line = seal_line(joint.plan, pressed.seal, step=joint.laid.step)
    width = pressed.law.width or math.nan
    return SealPressure(
        seal,
        np.arange(len(line.points), dtype=np.float64) * line.step,
        line.angles,
        line.points,
        per_length,
        np.asarray(per_length / width, dtype=np.float64),
        closed,
        float(np.mean(closed > pressed.law.closure[-1])),
    )


def _along(state: JointState, part: slice, values: Floats) -> Floats:
    """Values at the points of one seal; patches are joined by straight lines round the seal."""
    if state.level == "check":
        return values[part]
    patch = state.joint.laid.patch[part]
    own, counts = np.unique(patch, return_counts=True)
    middle = np.cumsum(counts) - 0.5 * (counts + 1)
    return np.asarray(np.interp(np.arange(len(patch)), middle, values[own], period=len(patch)))


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
    springs, factor = _grounded(joint)
    seats = state.balance.unknowns[len(state.balance.unknowns) - m :]
    force[len(force) - m :] += springs * seats
    closures = cho_solve((factor, True), force - pressed)
    return np.asarray(-closures[: len(closures) - m])


def _grounded(joint: Joint) -> tuple[Floats, Floats]:
    """Springs on the seats and the factor of the whole system with them."""
    stiffness = joint.whole.stiffness
    at = len(stiffness) - joint.whole.fasteners
    springs = np.abs(np.diag(stiffness)[at:])
    with_springs = stiffness.copy()
    with_springs[range(at, len(stiffness)), range(at, len(stiffness))] += springs
    factor, _ = cho_factor(with_springs, lower=True, overwrite_a=True)
    return springs, np.asarray(factor)


@dataclass(frozen=True)
class SealSwing:
    """How a seal changes from one state to another.

    Attributes
    ----------
    seal : str
        Name of the seal [text].
    opening : float
        Largest loss of closure [mm].
    angle : float
        Angle at which it occurs [degree].
    load : float
        Largest loss of line load [N/mm].
    """

    seal: str
    opening: float
    angle: float
    load: float


def swings(before: JointState, after: JointState) -> tuple[SealSwing, ...]:
    """Return how much every seal opens from one state to another, the largest first.

    Parameters
    ----------
    before, after : JointState
        The states, for example without gas and firing.
    """
    found = []
    for pressed in before.joint.model.seals:
        first, then = profile(before, pressed.seal.name), profile(after, pressed.seal.name)
        lost = first.closure - then.closure
        worst = int(np.argmax(lost))
        fallen = float((first.line_load - then.line_load).max())
        found.append(SealSwing(pressed.seal.name, float(lost[worst]), float(first.angle[worst]), fallen))
    return tuple(sorted(found, key=lambda swing: -swing.opening))


def clamp_over_gas(state: JointState, pressures: Mapping[str, float]) -> dict[str, float]:
    """Return by cylinder the force on its own seals, without gas, over the gas force it must stand [1].

    Parameters
    ----------
    state : JointState
        The joint without gas.
    pressures : mapping of str to float
        Peak pressure of each cylinder [MPa].
    """
    ratios = {}
    for bore in state.joint.bores:
        if not pressures.get(bore.name):
            continue
        gas = 0.25 * math.pi * bore.seal_diameter**2 * pressures[bore.name]
        own = [p.seal.name for p in state.joint.model.seals if p.seal.enclosed == (bore.name,)]
        clamp = sum(_total(profile(state, name)) for name in own)
        ratios[bore.name] = clamp / gas
    return ratios


def _total(carried: SealPressure) -> float:
    step = carried.arc[1] - carried.arc[0]
    return float(carried.line_load.sum() * step)


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
    joint = state.joint
    moved = joint.pair.arriving.T @ _opening(state) + joint.pair.flexibility @ state.amount_vector
    seen = dict(zip(joint.pair.names, moved, strict=True))
    return tuple(_bore_shape(bore, depth, seen) for bore in joint.bores for depth in joint.depths)


def _bore_shape(bore: BoreGas, depth: float, seen: Mapping[str, float]) -> BoreShape:
    cos = np.array([seen[shape_name(bore.name, depth, order, "cos")] for order in BORE_ORDERS])
    sin = np.array([seen.get(shape_name(bore.name, depth, order, "sin"), 0.0) for order in BORE_ORDERS])
    amplitude = np.hypot(cos, sin)
    amplitude[0] = cos[0]
    order = np.maximum(np.arange(len(cos)), 1)
    return BoreShape(bore.name, depth, amplitude, np.degrees(np.arctan2(sin, cos)) / order)


@dataclass(frozen=True)
class LevelDifference:
    """What the patches make of a seal, against every point.

    Attributes
    ----------
    seal : str
        Name of the seal [text].
    mean, lowest : float
        Mean and lowest line load on the fast level over the check level, less 1 [1].
    """

    seal: str
    mean: float
    lowest: float


def compare_levels(fast: JointState, check: JointState) -> tuple[LevelDifference, ...]:
    """Return how far the fast level is off, seal by seal.

    Parameters
    ----------
    fast, check : JointState
        The same state on both levels.
    """
    found = []
    for pressed in check.joint.model.seals:
        quick, full = profile(fast, pressed.seal.name), profile(check, pressed.seal.name)
        lowest = quick.lowest / full.lowest - 1.0 if full.lowest > 0.0 else math.inf * (quick.lowest > 0.0)
        mean = quick.mean / full.mean - 1.0 if full.mean > 0.0 else math.inf * (quick.mean > 0.0)
        found.append(LevelDifference(pressed.seal.name, mean, 0.0 if math.isnan(lowest) else lowest))
    return tuple(found)

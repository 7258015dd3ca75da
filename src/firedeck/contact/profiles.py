"""What a seal carries all along, in one state or in many assemblies at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.contact.assemblies import Assemblies
from firedeck.contact.gasket import LaidGasket
from firedeck.contact.joint import Joint
from firedeck.contact.state import JointState
from firedeck.errors import FiredeckError
from firedeck.kernel.closure import point_loads

__all__ = ["ManyProfiles", "SealPressure", "peak_profile", "profile", "profiles"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


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
    place = _place(joint, seal)
    # What the faces give way under a narrow line is not the gasket's closure.
    closed = _along(state, part, closure) - joint.laid.indentation[place] * per_length
    pressed, line = joint.model.seals[place], joint.laid.lines[place]
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


def _place(joint: Joint, seal: str) -> int:
    names = [pressed.seal.name for pressed in joint.model.seals]
    if seal not in names:
        raise FiredeckError(f"{seal!r} is a land, not a seal", remedy="ask for " + ", ".join(names))
    return names.index(seal)


def _along(state: JointState, part: slice, values: Floats) -> Floats:
    """Values at the points of one seal; patches are joined by straight lines round the seal."""
    if state.level == "check":
        return values[part]
    own, middle = state.joint.laid.middles[part.start]
    count = part.stop - part.start
    return np.asarray(np.interp(np.arange(count), middle, values[own], period=count))


@dataclass(frozen=True)
class ManyProfiles:
    """What one seal carries all along in many assemblies.

    Attributes
    ----------
    line_load : ndarray, shape (rows, n)
        Load per length [N/mm].
    closure : ndarray, shape (rows, n)
        Closure from first touch [mm].
    width : float
        Width on which the law presses [mm]; NaN where it states none.
    """

    line_load: Floats
    closure: Floats
    width: float


def profiles(rows: Assemblies, seal: str) -> ManyProfiles:
    """Return what a seal carries at every point along it in every assembly, as `profile` does for one.

    Parameters
    ----------
    rows : Assemblies
        The assemblies.
    seal : str
        Name of the seal.

    Raises
    ------
    FiredeckError
        If the gasket has no such seal.
    """
    place = _place(rows.joint, seal)
    laid, pressed = rows.joint.laid, rows.joint.model.seals[place]
    own, joining = _joining(laid, laid.part(seal))
    each = rows.balances.load[:, own] / laid.patches.size[own]
    closed = rows.balances.closure[:, own] - laid.indentation[place] * each
    return ManyProfiles(each @ joining, closed @ joining, pressed.law.width or math.nan)


def _joining(laid: LaidGasket, part: slice) -> tuple[Ints, Floats]:
    """Return the patches of one seal, and the weights that join their values by straight lines round it."""
    own, middle = laid.middles[part.start]
    count = part.stop - part.start
    each = [np.interp(np.arange(count), middle, one, period=count) for one in np.eye(len(own))]
    return own, np.array(each)

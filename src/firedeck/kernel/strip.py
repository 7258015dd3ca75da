"""An elastic-plastic strip in cylindrical bending, pressed between two flat faces.

Corotational beam elements: displacements and turns may be large, strains stay small. Every
element has two stations along it, and fibres through the thickness that yield with linear
kinematic hardening. The faces push on the nodes only, without friction. All loads are per length
of the strip across the plane of bending.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["press_strip"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Half bandwidth of the stiffness, the diagonal left out: two nodes of three freedoms.
_BAND = 5
_MOST_ITERATIONS = 30

#: Depth over which touch comes on, so that a node does not jump on and off a face [mm].
_SOFT = 1e-4

#: How much deeper a node may go into a face in one iteration [mm].
_DEEP = 1e-3

_MOST_CUTS = 12


@njit(cache=True, nogil=True)
def _fibre(strain: float, plastic: float, steel: Floats) -> tuple[float, float, float]:
    """Return stress, its slope and the plastic strain of a fibre."""
    modulus, limit, hardening = steel
    trial = modulus * (strain - plastic)
    over = trial - hardening * plastic
    excess = abs(over) - limit
    if excess <= 0.0:
        return trial, modulus, plastic
    grown = plastic + np.sign(over) * excess / (modulus + hardening)
    return modulus * (strain - grown), modulus * hardening / (modulus + hardening), grown


@njit(cache=True, nogil=True)
def _section(
    strain: float, curvature: float, fibres: Floats, steel: Floats, before: Floats, after: Floats
) -> tuple[float, float, float, float, float]:
    """Return force and moment of a section, and its stiffness: axial, coupled, in bending."""
    force, moment, axial, coupled, bending = 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(fibres.shape[1]):
        z, thick = fibres[0, k], fibres[1, k]
        stress, slope, after[k] = _fibre(strain - z * curvature, before[k], steel)
        force += thick * stress
        moment -= thick * stress * z
        axial += thick * slope
        coupled -= thick * slope * z
        bending += thick * slope * z * z
    return force, moment, axial, coupled, bending


@njit(cache=True, nogil=True)
def _local(
    stretch: float,
    turns: tuple[float, float],
    length: float,
    fibres: Floats,
    steel: Floats,
    before: Floats,
    after: Floats,
    force: Floats,
    stiff: Floats,
) -> None:
    """Fill in force and stiffness of one element in its own frame: stretch and both end turns."""
    force[:] = 0.0
    stiff[:] = 0.0
    for station in range(2):
        at = 0.5 + (station - 0.5) / np.sqrt(3.0)
        bend_1, bend_2 = -4.0 + 6.0 * at, -2.0 + 6.0 * at
        curvature = (bend_1 * turns[0] + bend_2 * turns[1]) / length
        n, m, axial, coupled, bending = _section(
            stretch / length, curvature, fibres, steel, before[station], after[station]
        )
        force[0] += 0.5 * n
        force[1] += 0.5 * m * bend_1
        force[2] += 0.5 * m * bend_2
        stiff[0, 0] += 0.5 * axial / length
        stiff[0, 1] += 0.5 * coupled * bend_1 / length
        stiff[0, 2] += 0.5 * coupled * bend_2 / length
        stiff[1, 1] += 0.5 * bending * bend_1 * bend_1 / length
        stiff[1, 2] += 0.5 * bending * bend_1 * bend_2 / length
        stiff[2, 2] += 0.5 * bending * bend_2 * bend_2 / length
    stiff[1, 0], stiff[2, 0], stiff[2, 1] = stiff[0, 1], stiff[0, 2], stiff[1, 2]


@njit(cache=True, nogil=True)
def _frame(along: float, up: float, rows: Floats) -> float:
    """Fill in how stretch and end turns go with an element's six freedoms; return its length."""
    length = float(np.hypot(along, up))
    c, s = along / length, up / length
    rows[:] = 0.0
    rows[0, 0], rows[0, 1], rows[0, 3], rows[0, 4] = -c, -s, c, s
    for turn in (1, 2):
        rows[turn, 0], rows[turn, 1] = -s / length, c / length
        rows[turn, 3], rows[turn, 4] = s / length, -c / length
    rows[1, 2], rows[2, 5] = 1.0, 1.0
    return length


@njit(cache=True, nogil=True)
def _add_element(
    first: int,
    length: float,
    rows: Floats,
    local: Floats,
    stiff: Floats,
    half: Floats,
    rest: Floats,
    band: Floats,
) -> None:
    """Add one element's forces and stiffness, turned into the frame of the faces."""
    for i in range(3):
        for b in range(6):
            half[i, b] = stiff[i, 0] * rows[0, b] + stiff[i, 1] * rows[1, b] + stiff[i, 2] * rows[2, b]
    pull, moment = local[0] / length, (local[1] + local[2]) / length**2
    for a in range(6):
        rest[first + a] += rows[0, a] * local[0] + rows[1, a] * local[1] + rows[2, a] * local[2]
        across_a = 0.0 if a % 3 == 2 else -rows[1, a] * length
        for b in range(a + 1):
            across_b = 0.0 if b % 3 == 2 else -rows[1, b] * length
            total = rows[0, a] * half[0, b] + rows[1, a] * half[1, b] + rows[2, a] * half[2, b]
            total += pull * across_a * across_b
            total += moment * (rows[0, a] * across_b + across_a * rows[0, b])
            band[first + a, a - b] += total


@njit(cache=True, nogil=True)
def _pushed(depth: float) -> tuple[float, float]:
    """Return how far a face is pushed in by a node at a depth, touch coming on softly, and its slope."""
    if depth <= -_SOFT:
        return 0.0, 0.0
    if depth >= _SOFT:
        return depth, 1.0
    return (depth + _SOFT) ** 2 / (4.0 * _SOFT), (depth + _SOFT) / (2.0 * _SOFT)


@njit(cache=True, nogil=True)
def _add_faces(
    place: Floats, moved: Floats, opening: float, push: Floats, rest: Floats, band: Floats
) -> tuple[float, float]:
    """Add the faces' forces; return load and width of what touches the upper face."""
    load, width = 0.0, 0.0
    stiffest = push.max()
    for node in range(len(place)):
        freedom = 3 * node + 1
        height = place[node, 1] + moved[freedom]
        below, below_slope = _pushed(-height)
        above, above_slope = _pushed(height - opening)
        rest[freedom] += push[node] * (above - below)
        band[freedom, 0] += push[node] * (above_slope + below_slope)
        load += push[node] * above
        width += push[node] / stiffest if above > _SOFT else 0.0
    return load, width


@njit(cache=True, nogil=True)
def _share(place: Floats, moved: Floats, step: Floats, opening: float) -> float:
    """Return how much of a step may be made before a node runs too far into a face [1]."""
    share = 1.0
    for node in range(len(place)):
        freedom = 3 * node + 1
        height = place[node, 1] + moved[freedom]
        above, below = height - opening, -height
        rise = -step[freedom]
        if above + rise > max(above, 0.0) + _DEEP:
            share = min(share, (max(above, 0.0) + _DEEP - above) / rise)
        if below - rise > max(below, 0.0) + _DEEP:
            share = min(share, (max(below, 0.0) + _DEEP - below) / -rise)
    return share


@njit(cache=True, nogil=True, error_model="numpy")
def _solve(band: Floats, right: Floats) -> None:
    """Solve a symmetric system, its lower band given by rows, in place of the right side."""
    n = len(right)
    for i in range(n):
        start = max(0, i - _BAND)
        for j in range(start, i):
            total = band[i, i - j]
            for k in range(max(start, j - _BAND), j):
                total -= band[i, i - k] * band[j, j - k] * band[k, 0]
            band[i, i - j] = total / band[j, 0]
        for k in range(start, i):
            band[i, 0] -= band[i, i - k] ** 2 * band[k, 0]
            right[i] -= band[i, i - k] * right[k]
    for i in range(n):
        right[i] /= band[i, 0]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, min(n, i + _BAND + 1)):
            right[i] -= band[k, k - i] * right[k]


@njit(cache=True, nogil=True)
def _assemble(
    place: Floats,
    moved: Floats,
    before: Floats,
    after: Floats,
    fibres: Floats,
    steel: Floats,
    rest: Floats,
    band: Floats,
) -> None:
    local, stiff, rows, half = np.empty(3), np.empty((3, 3)), np.empty((3, 6)), np.empty((3, 6))
    rest[:] = 0.0
    band[:] = 0.0
    for node in range(len(place) - 1):
        first = 3 * node
        dx0 = place[node + 1, 0] - place[node, 0]
        dy0 = place[node + 1, 1] - place[node, 1]
        dx = dx0 + moved[first + 3] - moved[first]
        dy = dy0 + moved[first + 4] - moved[first + 1]
        free, now = np.hypot(dx0, dy0), _frame(dx, dy, rows)
        turn = np.arctan2(dx0 * dy - dy0 * dx, dx0 * dx + dy0 * dy)
        turns = (moved[first + 2] - turn, moved[first + 5] - turn)
        _local(now - free, turns, free, fibres, steel, before[node], after[node], local, stiff)
        _add_element(first, now, rows, local, stiff, half, rest, band)


@njit(cache=True, nogil=True)
def _balance(
    place: Floats,
    fixed: Bools,
    push: Floats,
    fibres: Floats,
    steel: Floats,
    opening: float,
    moved: Floats,
    plastic: Floats,
) -> tuple[bool, float, float]:
    """Bring the strip into balance between faces so far apart; state is changed only if it can be."""
    trial, after = moved.copy(), plastic.copy()
    rest, band = np.empty(len(moved)), np.empty((len(moved), _BAND + 1))
    for _ in range(_MOST_ITERATIONS):
        _assemble(place, trial, plastic, after, fibres, steel, rest, band)
        load, width = _add_faces(place, trial, opening, push, rest, band)
        for i in range(len(fixed)):
            if fixed[i]:
                rest[i] = 0.0
                band[i, 0] = 1.0
                for k in range(1, _BAND + 1):
                    band[i, k] = 0.0
                    if i + k < len(fixed):
                        band[i + k, k] = 0.0
        if np.abs(rest).max() < 1e-7 * (1.0 + load):
            moved[:] = trial
            plastic[:] = after
            return True, load, width
        _solve(band, rest)
        if not np.isfinite(np.abs(rest).max()):
            break
        trial -= rest * _share(place, trial, rest, opening)
    return False, 0.0, 0.0


@njit(cache=True, nogil=True)
def press_strip(
    place: Floats,
    fixed: Bools,
    push: Floats,
    fibres: Floats,
    steel: Floats,
    openings: Floats,
    start: float,
    moved: Floats,
    plastic: Floats,
    load: Floats,
    width: Floats,
) -> int:
    """Press a strip to one opening after the other.

    Parameters
    ----------
    place : ndarray, shape (n, 2)
        Nodes of the free strip's middle, along the faces and above its lowest place [mm].
    fixed : ndarray of bool, shape (3 n,)
        Which of every node's freedoms along, up and turn cannot move.
    push : ndarray, shape (n,)
        Load with which a face answers each node going into it, over how far [N/mm per mm].
    fibres : ndarray, shape (2, m)
        Height over the strip's middle, and thickness, of every fibre [mm].
    steel : ndarray, shape (3,)
        Modulus, yield strength, slope of stress over plastic strain, all in plane strain [MPa].
    openings : ndarray, shape (k,)
        Distance of the faces less the strip's thickness, one after the other [mm].
    start : float
        Opening at which the strip is now [mm].
    moved : ndarray, shape (3 n,)
        Displacements and turns, changed in place [mm, rad].
    plastic : ndarray, shape (n - 1, 2, m)
        Plastic strain of every fibre, changed in place [1].
    load, width : ndarray, shape (k,)
        Filled in: load of the upper face [N/mm] and the width it touches [mm over the widest node].

    Returns
    -------
    int
        How many openings were reached; fewer than asked where no balance was found or, on the way
        back, once the load is gone.
    """
    now = start
    for number in range(len(openings)):
        target, cuts, step = openings[number], 0, openings[number] - now
        while True:
            goal = target if abs(target - now) <= abs(step) * 1.000001 else now + step
            done, load[number], width[number] = _balance(
                place, fixed, push, fibres, steel, goal, moved, plastic
            )
            if done:
                now = goal
                if goal == target:
                    break
            else:
                cuts += 1
                step *= 0.5
                if cuts > _MOST_CUTS:
                    return number
        if target > start and load[number] <= 0.0:
            return number + 1
    return len(openings)

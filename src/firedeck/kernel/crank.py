"""Slider-crank geometry: where the piston stands and what volume and wall it leaves to the gas."""

from __future__ import annotations

import math

import numba as nb
import numpy as np
from numpy.typing import NDArray

__all__ = ["cylinder_volume", "cylinder_volumes", "piston_travel", "volume_rate", "wall_area"]


@nb.njit(cache=True, nogil=True)
def piston_travel(angle: float, stroke: float, rod: float) -> float:
    """Distance of the piston from its top position.

    Written so that an infinitely long rod is a legal limit, not a difference of infinities.

    Parameters
    ----------
    angle : float
        Crank angle after top dead centre [deg].
    stroke, rod : float
        Stroke and rod length between centres [mm].

    Returns
    -------
    float
        Travel [mm].
    """
    radius = 0.5 * stroke
    sine = math.sin(math.radians(angle))
    side = radius * sine
    return radius * (1.0 - math.cos(math.radians(angle))) + side * side / (
        rod + math.sqrt(rod * rod - side * side)
    )


@nb.njit(cache=True, nogil=True)
def cylinder_volume(angle: float, bore: float, stroke: float, rod: float, ratio: float) -> float:
    """Gas volume of a cylinder [mm^3] at a crank angle [deg]; lengths in mm, `ratio` [1]."""
    area = 0.25 * math.pi * bore * bore
    return area * (stroke / (ratio - 1.0) + piston_travel(angle, stroke, rod))


@nb.njit(cache=True, nogil=True)
def volume_rate(angle: float, bore: float, stroke: float, rod: float) -> float:
    """Rate of change of the gas volume with crank angle [mm^3/deg]; `angle` [deg], lengths in mm."""
    radius = 0.5 * stroke
    turn = math.radians(angle)
    sine = math.sin(turn)
    side = radius * sine
    rate = radius * sine * (1.0 + radius * math.cos(turn) / math.sqrt(rod * rod - side * side))
    return 0.25 * math.pi * bore * bore * rate * math.pi / 180.0


@nb.njit(cache=True, nogil=True)
def wall_area(volume: float, bore: float) -> float:
    """Wall that the gas touches [mm^2], taking a flat-topped disc of this `volume` [mm^3] and `bore` [mm]."""
    return 0.5 * math.pi * bore * bore + 4.0 * volume / bore


@nb.njit(cache=True, nogil=True)
def cylinder_volumes(
    angles: NDArray[np.float64], bore: float, stroke: float, rod: float, ratio: float
) -> NDArray[np.float64]:
    """Gas volumes [mm^3] at many crank angles [deg]; lengths in mm, `ratio` [1]."""
    volumes = np.empty(angles.size)
    for i in range(angles.size):
        volumes[i] = cylinder_volume(angles[i], bore, stroke, rod, ratio)
    return volumes

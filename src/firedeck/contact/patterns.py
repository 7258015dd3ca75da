"""Load and observation patterns of a body: fasteners, gas, temperature, bore shape."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.contact.bowing import BowLooks
from firedeck.contact.mesh import BodyMesh
from firedeck.contact.volume_body import VolumeBody

__all__ = [
    "BoreGas",
    "FastenerSeat",
    "block_patterns",
    "bow_name",
    "bow_patterns",
    "head_patterns",
    "shape_name",
]

Floats = npt.NDArray[np.float64]

#: A pattern: its name and the loads at the nodes per unit of its amount, shape (nodes, 3).
Pattern = tuple[str, Floats]

#: Fourier orders of bore shape that are observed.
BORE_ORDERS = range(9)

_RING_POINTS = 96


@dataclass(frozen=True)
class FastenerSeat:
    """Where a fastener bears on the head and where its thread holds in the block.

    Attributes
    ----------
    name : str
        Name of the fastener's hole.
    place : tuple of float
        Centre in plan [mm].
    bearing_outer, bearing_hole : float
        Outer and inner diameter of the bearing face on the head [mm].
    bearing_height : float
        Height of the bearing face over the sealing plane [mm].
    thread_diameter : float
        Diameter of the tapped hole [mm].
    thread_start, engagement : float
        Depth in the block at which the thread begins to hold, and length over which it does [mm].
    stiffness : float
        Stiffness of the fastener between its seats, both ends' give included [N/mm].
    """

    name: str
    place: tuple[float, float]
    bearing_outer: float
    bearing_hole: float
    bearing_height: float
    thread_diameter: float
    thread_start: float
    engagement: float
    stiffness: float


@dataclass(frozen=True)
class BoreGas:
    """Where the gas of one cylinder presses.

    Attributes
    ----------
    name : str
        Name of the bore.
    place : tuple of float
        Centre in plan [mm].
    bore_diameter : float
        Diameter of the cylinder [mm].
    seal_diameter : float
        Diameter up to which the gas reaches between head and block [mm].
    wall_depth : float
        Depth of cylinder wall that sees the gas near the peak pressure [mm].
    """

    name: str
    place: tuple[float, float]
    bore_diameter: float
    seal_diameter: float
    wall_depth: float


def head_patterns(
    mesh: BodyMesh | VolumeBody, seats: tuple[FastenerSeat, ...], bores: tuple[BoreGas, ...]
) -> Iterator[Pattern]:
    """Yield the head's patterns: unit tension of each fastener, 1 MPa in each bore, unit free strains.

    Parameters
    ----------
    mesh : BodyMesh or VolumeBody
        The head.
    seats : tuple of FastenerSeat
        Fasteners.
    bores : tuple of BoreGas
        Cylinders.
    """
    for seat in seats:
        ring = _disc(seat.place, 0.5 * seat.bearing_hole, 0.5 * seat.bearing_outer)
        what = f"the bearing face of {seat.name!r}"
        yield f"fastener {seat.name}", _upright(mesh, ring, seat.bearing_height, -1.0, what)
    for bore in bores:
        area = 0.25 * math.pi * bore.seal_diameter**2
        disc = _disc(bore.place, 0.0, 0.5 * bore.seal_diameter)
        yield f"gas {bore.name}", _upright(mesh, disc, 0.0, area, f"the gas over {bore.name!r}")
    yield from _thermal(mesh)


def bow_patterns(seats: tuple[FastenerSeat, ...], looks: BowLooks) -> Iterator[Pattern]:
    """Yield the head's patterns that are only looked at: its bow between neighbouring fasteners.

    Parameters
    ----------
    seats : tuple of FastenerSeat
        Fasteners.
    looks : BowLooks
        What every node of the head adds to the bow of each pair.
    """
    for (a, b), weights in zip(looks.pairs, looks.weights, strict=True):
        upright = np.zeros((len(weights), 3))
        upright[:, 2] = weights
        yield bow_name(seats[a].name, seats[b].name), upright


def bow_name(first: str, second: str) -> str:
    """Return the name of the pattern that looks at the bow between two fasteners."""
    return f"bow {first} to {second}"


def block_patterns(
    mesh: BodyMesh | VolumeBody,
    seats: tuple[FastenerSeat, ...],
    bores: tuple[BoreGas, ...],
    depths: tuple[float, ...],
) -> Iterator[Pattern]:
    """Yield the block's patterns: fasteners, gas on deck and walls, free strains, bore shapes.

    Parameters
    ----------
    mesh : BodyMesh or VolumeBody
        The block.
    seats : tuple of FastenerSeat
        Fasteners.
    bores : tuple of BoreGas
        Cylinders.
    depths : tuple of float
        Depths at which the shape of the bores is observed [mm].
    """
    for seat in seats:
        yield f"fastener {seat.name}", _thread_load(mesh, seat)
    for bore in bores:
        yield f"gas {bore.name}", _deck_gas(mesh, bore)
    for bore in bores:
        yield f"wall {bore.name}", _wall_gas(mesh, bore)
    yield from _thermal(mesh)
    for bore in bores:
        for depth in depths:
            yield from _bore_shape(mesh, bore, depth)


def shape_name(bore: str, depth: float, order: int, part: str) -> str:
    """Return the name of the pattern that observes one Fourier part of a bore's shape."""
    return f"shape {bore} {depth:g} {order} {part}"


def _thermal(mesh: BodyMesh | VolumeBody) -> Iterator[Pattern]:
    for plane in range(len(mesh.heights)):
        yield f"{mesh.section.side} plane {plane}", mesh.thermal_load(plane)


def _upright(mesh: BodyMesh | VolumeBody, plan: Floats, height: float, force: float, what: str) -> Floats:
    """Share an upright force evenly among places in plan at one height."""
    points = np.column_stack([plan, np.full(len(plan), height)])
    forces = np.zeros((len(plan), 3))
    forces[:, 2] = force / len(plan)
    return mesh.spread(points, forces, what)


def _disc(place: tuple[float, float], inner: float, outer: float) -> Floats:
    """Points that each stand for the same area of a ring or disc."""
    rings = max(6, math.ceil((outer - inner) / 0.7))
    radii = np.sqrt(inner**2 + (np.arange(rings) + 0.5) / rings * (outer**2 - inner**2))
    angles = 2.0 * np.pi * np.arange(_RING_POINTS) / _RING_POINTS
    x = place[0] + np.multiply.outer(radii, np.cos(angles)).ravel()
    y = place[1] + np.multiply.outer(radii, np.sin(angles)).ravel()
    return np.column_stack([x, y])


def _cylinder(place: tuple[float, float], radius: float, depths: Floats) -> tuple[Floats, Floats]:
    """Points on a cylinder below the sealing plane, and their outward directions."""
    angles = 2.0 * np.pi * np.arange(_RING_POINTS) / _RING_POINTS
    out = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(_RING_POINTS)])
    points = [out * radius + np.array([*place, -depth]) for depth in depths]
    return np.concatenate(points), np.tile(out, (len(depths), 1))


def _thread_load(mesh: BodyMesh | VolumeBody, seat: FastenerSeat) -> Floats:
    """Lift of one newton, even over the thread's length: its real, upper-heavy spread is not modelled."""
    depths = seat.thread_start + seat.engagement * (np.arange(8) + 0.5) / 8
    points, _ = _cylinder(seat.place, 0.5 * seat.thread_diameter, depths)
    forces = np.zeros_like(points)
    forces[:, 2] = 1.0 / len(points)
    return mesh.spread(points, forces, f"the thread of {seat.name!r}")


def _deck_gas(mesh: BodyMesh | VolumeBody, bore: BoreGas) -> Floats:
    area = 0.25 * math.pi * (bore.seal_diameter**2 - bore.bore_diameter**2)
    ring = _disc(bore.place, 0.5 * bore.bore_diameter, 0.5 * bore.seal_diameter)
    return _upright(mesh, ring, 0.0, -area, f"the gas on the deck round {bore.name!r}")


def _wall_gas(mesh: BodyMesh | VolumeBody, bore: BoreGas) -> Floats:
    count = max(4, math.ceil(bore.wall_depth / 2.0))
    depths = bore.wall_depth * (np.arange(count) + 0.5) / count
    points, out = _cylinder(bore.place, 0.5 * bore.bore_diameter + 0.5, depths)
    area = math.pi * bore.bore_diameter * bore.wall_depth
    return mesh.spread(points, out * area / len(points), f"the gas on the wall of {bore.name!r}")


def _bore_shape(mesh: BodyMesh | VolumeBody, bore: BoreGas, depth: float) -> Iterator[Pattern]:
    """Yield patterns whose displacement is the Fourier part of the wall's radial displacement [mm]."""
    points, out = _cylinder(bore.place, 0.5 * bore.bore_diameter + 0.5, np.array([depth]))
    angles = 2.0 * np.pi * np.arange(_RING_POINTS) / _RING_POINTS
    what = f"the wall of {bore.name!r}, {depth:g} mm down,"
    for order in BORE_ORDERS:
        share = (1.0 if order == 0 else 2.0) / _RING_POINTS
        for part, turn in (("cos", np.cos), ("sin", np.sin))[: 2 if order else 1]:
            forces = share * turn(order * angles)[:, None] * out
            yield shape_name(bore.name, depth, order, part), mesh.spread(points, forces, what)

"""Shapes that deck plans are drawn from: rounded outlines, slots, kidneys, circles, seals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from firedeck.scenario.compiled import FloatArray

__all__ = ["PlanTable", "circle", "corner_arcs", "kidney", "outer_seal", "rounded", "seal", "slot"]

#: A table of a deck plan's file.
PlanTable = dict[str, Any]


def rounded(points: FloatArray | list[tuple[float, float]]) -> list[list[float]]:
    """Return points [mm] as a file holds them, to a micrometre."""
    return [[round(float(x), 3), round(float(y), 3)] for x, y in points]


def corner_arcs(corners: Sequence[tuple[float, float, float]], segments: int = 6) -> list[list[float]]:
    """Round a polygon's corners, each given as x, y and radius [mm]."""
    points: list[tuple[float, float]] = []
    for before, here, after in zip(
        [*corners[-1:], *corners[:-1]], corners, [*corners[1:], *corners[:1]], strict=True
    ):
        points.extend(
            _one_arc(np.array(before[:2]), np.array(here[:2]), np.array(after[:2]), here[2], segments)
        )
    return rounded(points)


def _one_arc(
    before: FloatArray, here: FloatArray, after: FloatArray, radius: float, segments: int
) -> list[tuple[float, float]]:
    back, on = (before - here) / np.linalg.norm(before - here), (after - here) / np.linalg.norm(after - here)
    half = np.arccos(np.clip(back @ on, -1, 1)) / 2
    centre = here + (back + on) / np.linalg.norm(back + on) * radius / np.sin(half)
    first = here + back * radius / np.tan(half) - centre
    last = here + on * radius / np.tan(half) - centre
    start, stop = np.arctan2(first[1], first[0]), np.arctan2(last[1], last[0])
    sweep = (stop - start + np.pi) % (2 * np.pi) - np.pi
    angles = start + sweep * np.linspace(0, 1, segments + 1)
    return [(centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)) for a in angles]


def slot(centre: tuple[float, float], length: float, width: float, angle: float) -> list[list[float]]:
    """Return a slot with round ends: overall length and width [mm], angle of its long axis [degree]."""
    reach = (length - width) / 2
    turn = np.linspace(-np.pi / 2, np.pi / 2, 13)
    end = np.column_stack([reach + width / 2 * np.cos(turn), width / 2 * np.sin(turn)])
    shape = np.vstack([end, -end])
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return rounded(shape @ np.array([[c, s], [-s, c]]) + centre)


def kidney(
    centre: tuple[float, float], radius: float, width: float, first: float, last: float
) -> list[list[float]]:
    """Return a curved slot about a bore's centre, on a mean radius [mm], between two angles [degree]."""
    sweep = np.radians(np.linspace(first, last, 15))
    cap = np.linspace(0, np.pi, 9)
    outer, inner = radius + width / 2, radius - width / 2
    points = [(outer * np.cos(a), outer * np.sin(a)) for a in sweep]
    points += _cap(radius, width / 2, sweep[-1], cap[1:-1])
    points += [(inner * np.cos(a), inner * np.sin(a)) for a in sweep[::-1]]
    points += _cap(radius, width / 2, sweep[0], cap[1:-1] + np.pi)
    return rounded(np.array(points) + centre)


def _cap(radius: float, half: float, at: float, turn: FloatArray) -> list[tuple[float, float]]:
    x, y = radius * np.cos(at), radius * np.sin(at)
    return [(x + half * np.cos(at + t), y + half * np.sin(at + t)) for t in turn]


def circle(name: str, centre: tuple[float, float], diameter: float, **more: str) -> PlanTable:
    """Return a round opening: centre and diameter [mm]."""
    return {"name": name, "centre": rounded([centre])[0], "diameter": f"{diameter:.6g} mm", **more}


def seal(name: str, kind: str, around: str, offset: float, band: float, **more: object) -> PlanTable:
    """Return a seal around an opening: offset and band [mm]."""
    table = {"name": name, "kind": kind, "around": around}
    return {**table, "offset": f"{offset:.6g} mm", "band": f"{band:.6g} mm", **more}


def outer_seal(offset: float, media: list[str]) -> PlanTable:
    """Return the outer seal, `offset` [mm] inside the outline, round all media."""
    return seal("outer bead", "half-bead", "outline", offset, 4.0, inside=media, outside=["outside"])

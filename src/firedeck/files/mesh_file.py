"""Volume meshes of head and block, read from any of the open formats that meshio knows."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import meshio
import numpy as np
import numpy.typing as npt

from firedeck.contact import SolidMesh
from firedeck.errors import FiredeckError

__all__ = ["read_solid"]

#: Inner units of each unit that a mesh may be written in [mm].
_UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}

#: Elements that are understood, and what has no volume and is passed over.
_SOLID = ("hexahedron", "tetra", "tetra10")
_FLAT = ("vertex", "line", "triangle", "quad", "polygon")


def read_solid(file: Path, unit: str, *, deck_at: float, tolerance: float, key: str) -> SolidMesh:
    """Read a volume mesh into deck coordinates with the sealing plane at height zero.

    Parameters
    ----------
    file : Path
        The mesh.
    unit : str
        Unit of its coordinates: ``mm``, ``cm``, ``m`` or ``in`` [text].
    deck_at : float
        Height of the sealing plane in it [mm].
    tolerance : float
        How far a node may lie from that plane and still be in it [mm].
    key : str
        Key of the definition that names it, for errors [text].

    Raises
    ------
    FiredeckError
        If it cannot be read, has no volume elements, or some of a kind that is not understood.
    """
    where = f"{file}: {key}"
    found = _read(file, where)
    kinds: dict[str, list[npt.NDArray[np.int64]]] = {}
    for block in found.cells:
        if not block.type.startswith(_FLAT) and len(block.data):
            kinds.setdefault(block.type, []).append(np.asarray(block.data, dtype=np.int64))
    cells = np.concatenate(kinds[_only_kind(kinds, where)])
    points = _UNITS[unit] * np.asarray(found.points, dtype=np.float64)
    if points.shape[1] != 3 or not np.isfinite(points).all():
        raise FiredeckError(
            "the mesh's nodes are not places in space", where=where, remedy="export it in three dimensions"
        )
    used, numbers = np.unique(cells, return_inverse=True)
    if used[0] < 0 or used[-1] >= len(points):
        raise FiredeckError(
            "some elements are made of nodes that the file does not have",
            where=where,
            remedy="export the mesh again, nodes and elements together",
        )
    cells = numbers.reshape(cells.shape).astype(np.int64)
    upright = points[used] - [0.0, 0.0, deck_at]
    return SolidMesh(file.name, upright, cells, tolerance, len(points) - len(used))


def _read(file: Path, where: str) -> meshio.Mesh:
    if not file.is_file():
        raise FiredeckError(
            "this mesh is not there",
            where=where,
            remedy="check the name; it is looked for beside the prediction",
        )
    try:
        # What the reader prints and how it ends a program is its own; a person is told below.
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            return meshio.read(file)
    except (Exception, SystemExit) as fault:
        raise FiredeckError(
            f"this file cannot be read as a mesh: {str(fault).strip() or type(fault).__name__}",
            where=where,
            remedy="export the volume mesh as .msh, .vtu, .vtk, .inp or .bdf; the ending tells the format",
        ) from fault


def _only_kind(kinds: dict[str, list[npt.NDArray[np.int64]]], where: str) -> str:
    """Return the one kind of elements that a mesh has."""
    if not kinds:
        raise FiredeckError(
            "the mesh has no volume elements, only a surface or lines",
            where=where,
            remedy="mesh the volume, with quadratic tetrahedra or with bricks, and export that",
        )
    if set(kinds) - set(_SOLID) or len(kinds) > 1:
        named = ", ".join(f"{sum(map(len, parts))} of {kind}" for kind, parts in sorted(kinds.items()))
        raise FiredeckError(
            f"the mesh's elements are {named}",
            where=where,
            remedy="use one kind throughout: tetrahedra of 10 nodes, bricks of 8, or tetrahedra of 4",
        )
    return next(iter(kinds))

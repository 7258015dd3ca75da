"""Single bodies for checks of the contact core: boxes on a grid, held, loaded and solved."""

from __future__ import annotations

import numpy as np
import shapely

from firedeck.contact import BodySection, SectionLayer
from firedeck.contact.mesh import BodyMesh, body_mesh, loads_by_node
from firedeck.definition.material import Material
from firedeck.kernel.condense import condense
from firedeck.pressure_map import Grid


def material(modulus: float, poisson: float) -> Material:
    """Return an elastic material without heat [MPa, 1]."""
    table = {"name": "made up", "modulus": f"{modulus} MPa", "poisson": poisson, "expansion": "12e-6 1/K"}
    return Material.model_validate(table)


def box(sides, cells, elastic: Material, side="head", plan=None) -> BodyMesh:
    """Return a box from the origin, so many cells along x, y and z; its sealing face at z = 0."""
    size = sides[0] / cells[0]
    full = shapely.box(0.0, 0.0, sides[0], sides[1]) if plan is None else plan
    section = BodySection(side, (SectionLayer("box", sides[2], full, cells[2]),), elastic)
    return body_mesh(section, Grid(0.0, 0.0, size, cells[1], cells[0]))


def even_shares(mesh: BodyMesh, level: int) -> np.ndarray:
    """Return what each node of a plane of nodes carries of an even pressure on whole cells [mm^2]."""
    at = mesh.body.places
    quarter = 0.25 * mesh.grid.pitch**2
    ends = [np.where((at[:, k] == 0) | (at[:, k] == at[:, k].max()), 1.0, 2.0) for k in (0, 1)]
    return np.where(at[:, 2] == level, quarter * ends[0] * ends[1], 0.0)


def moved(mesh: BodyMesh, held: np.ndarray, force: np.ndarray, seen: int) -> float:
    """Return how far one node moves upward under forces on the nodes, shape (nodes, 3) [mm]."""
    look = np.zeros_like(force)
    look[seen, 2] = 1.0
    loads = loads_by_node([force, look], len(force))
    kept = np.zeros((0, 2), dtype=np.int64)
    return float(condense(mesh.body, kept, held, loads).flexibility[0, 1])

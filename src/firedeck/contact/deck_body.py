"""Head and block as another program's deck holds them: nodes, elements, integration points and ties."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firedeck.contact.body import held_freedoms
from firedeck.contact.joint import Body
from firedeck.contact.lattice import lattice
from firedeck.contact.mesh import BodyMesh
from firedeck.contact.pieces import FULL_PART
from firedeck.contact.volume_body import VolumeBody, face_tie, held_of_volume

__all__ = ["DeckBody", "deck_body"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Corners of the grid's cells, x fastest, in the order of a brick in a deck; it is its own inverse, and
#: the deck's integration points, x fastest too, stand to the order of corners as these do.
_CORNERS = np.array([0, 1, 3, 2, 4, 5, 7, 6])

#: Heights of the integration points of a brick of the grid, in the order of C3D8I [1].
_POINT_HEIGHTS = np.repeat([-1.0, 1.0], 4) / np.sqrt(3.0)

#: Elements by the number of their nodes.
_KINDS = {8: "C3D8I", 4: "C3D4", 10: "C3D10"}


@dataclass(frozen=True)
class DeckBody:
    """One body of a deck.

    Attributes
    ----------
    body : BodyMesh or VolumeBody
        The body.
    nodes : ndarray, shape (nodes, 3)
        Places of the body's nodes, and after them of the joint's grid where the face is tied to it [mm].
    cells : ndarray of int, shape (m, 8, 4 or 10)
        Nodes of every element in the deck's order [1].
    heights : ndarray, shape (m, points)
        Heights of every element's integration points in the deck's order [mm].
    held : ndarray of bool, shape (nodes, 3)
        What does not move.
    face_numbers : ndarray of int, shape (nx + 1, ny + 1)
        Node at every place of the joint's grid whose upright displacement the gasket follows, -1 for none.
    """

    body: Body
    nodes: Floats
    cells: Ints
    heights: Floats
    held: npt.NDArray[np.bool_]
    face_numbers: Ints

    @property
    def kind(self) -> str:
        """Type of the elements in the deck [text]."""
        return _KINDS[self.cells.shape[1]]

    @cached_property
    def cut_cells(self) -> int:
        """Partly filled cells, which the deck holds as whole bricks [1]."""
        if isinstance(self.body, VolumeBody):
            return 0
        return int(np.any(self.body.bricks.filled < FULL_PART, axis=1).sum())

    def ties(self) -> Iterator[tuple[int, Ints, Floats]]:
        """Yield every node of a face that follows the joint's grid, the grid's nodes, and their weights."""
        if not isinstance(self.body, VolumeBody):
            return
        tie = face_tie(self.body)
        first = len(self.body.coordinates)
        for row, node in enumerate(self.body.section.mesh.deck_nodes.tolist()):
            own = slice(tie.indptr[row], tie.indptr[row + 1])
            yield node, first + tie.indices[own].astype(np.int64), tie.data[own]


def deck_body(body: Body) -> DeckBody:
    """Return a body as a deck holds it.

    Parameters
    ----------
    body : BodyMesh or VolumeBody
        The body.
    """
    return _of_volume(body) if isinstance(body, VolumeBody) else _of_grid(body)


def _of_grid(mesh: BodyMesh) -> DeckBody:
    corners = mesh.body.elements[:, _CORNERS].astype(np.int64)
    layer = mesh.bricks.cells[:, 2]
    low, high = mesh.heights[layer, None], mesh.heights[layer + 1, None]
    heights = low + 0.5 * (1.0 + _POINT_HEIGHTS) * (high - low)
    return DeckBody(
        mesh, mesh.coordinates, corners, heights, held_freedoms(mesh), mesh.face_numbers.astype(np.int64)
    )


def _of_volume(body: VolumeBody) -> DeckBody:
    numbers = body.face_numbers
    plan = lattice(body.grid).nodes(np.argwhere(numbers >= 0))
    nodes = np.concatenate([body.coordinates, np.column_stack([plan, np.zeros(len(plan))])])
    cells = body.section.mesh.cells
    heights = np.concatenate([sums.heights for _, sums in body.sums])
    own, plain = held_of_volume(body), np.tile([True, True, False], (len(plan), 1))
    # A face node's upright displacement is the tie's to say.
    own[body.section.mesh.deck_nodes, 2] = False
    return DeckBody(
        body,
        nodes,
        cells,
        heights[:, _CORNERS] if cells.shape[1] == 8 else heights,
        np.concatenate([own, plain]),
        np.where(numbers >= 0, numbers + len(body.coordinates), -1),
    )

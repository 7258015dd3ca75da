"""Adding up element matrices: which nodes an element joins, and the sums in blocks of three freedoms."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.sparse import bsr_array, csr_array

__all__ = ["BlockSums"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.int32]


class BlockSums:
    """The stiffness of a mesh, element by element.

    Parameters
    ----------
    cells : ndarray of int, shape (m, n)
        Nodes of all elements.
    nodes : int
        How many nodes there are [1].
    """

    def __init__(self, cells: Ints, nodes: int) -> None:
        each = np.arange(0, cells.size + 1, cells.shape[1])
        ones = np.ones(cells.size, dtype=np.int32)
        meeting = csr_array((ones, cells.ravel(), each), (len(cells), nodes))
        links = csr_array(meeting.T @ meeting)
        links.sort_indices()
        self._starts, self._links = links.indptr.astype(np.int64), links.indices.astype(np.int32)
        self._blocks = np.zeros((len(self._links), 3, 3))

    def add(self, cells: Ints, matrices: Floats) -> None:
        """Add elements.

        Parameters
        ----------
        cells : ndarray of int, shape (m, n)
            Their nodes.
        matrices : ndarray, shape (m, 3 n, 3 n)
            Their stiffness, x, y, z of node after node [N/mm].
        """
        _add(self._blocks, self._starts, self._links, cells, matrices)

    def matrix(self) -> csr_array:
        """Return the sum, shape (3 nodes, 3 nodes) [N/mm]."""
        size = 3 * (len(self._starts) - 1)
        blocks = (self._blocks, self._links, self._starts.astype(np.int32))
        return csr_array(bsr_array(blocks, shape=(size, size)))


@njit(cache=True, nogil=True)
def _add(blocks: Floats, starts: Ints, links: Small, cells: Ints, matrices: Floats) -> None:
    """Add element matrices to the blocks of the nodes' links, which rise from node to node.

    Parameters
    ----------
    blocks : ndarray, shape (links, 3, 3)
        The sums, changed in place.
    starts, links : ndarray of int
        Neighbours of every node, itself among them, rising.
    cells, matrices
        The elements.
    """
    for element in range(len(cells)):
        for a in range(cells.shape[1]):
            node = cells[element, a]
            own = links[starts[node] : starts[node + 1]]
            for b in range(cells.shape[1]):
                at = starts[node] + np.searchsorted(own, cells[element, b])
                for i in range(3):
                    for j in range(3):
                        blocks[at, i, j] += matrices[element, 3 * a + i, 3 * b + j]

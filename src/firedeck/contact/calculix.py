"""The same joint as an input deck for CalculiX, a general finite-element program, to check against.

The deck holds both meshes, the gasket as nonlinear springs with its history frozen, the fasteners
as springs without compression and gas as nodal loads. Heat stands in it as the stress that would
undo the free strain, at every integration point: given temperatures, the program would take each
element's mean, and a gradient through a thin deck would be lost. It prints the displacement of the
springs' ends, from which closures and tensions follow. The head starts lowered by a rigid shift near
the answer, because the program's iterations do not find it from afar. The face of a volume mesh is
tied to the joint's grid as it is here: the grid's nodes stand in the deck, and the face's follow them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firedeck.contact.deck_body import deck_body
from firedeck.contact.patterns import block_patterns, head_patterns
from firedeck.contact.state import JointState
from firedeck.errors import FiredeckError
from firedeck.kernel.closure import point_loads

__all__ = ["CalculixDeck", "calculix_deck"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Length of the springs [mm]: their ends stand apart so that no trial turns one over.
_SPRING_LENGTH = 100.0

#: How far the springs' tables reach beyond what was met [mm].
_BEYOND = 1.0


@dataclass(frozen=True)
class CalculixDeck:
    """A deck and where to find its answers.

    Attributes
    ----------
    text : str
        The deck [text].
    points : ndarray of int, shape (points, 2)
        Node numbers of each gasket point on the head and on the block [1].
    seats : ndarray of int, shape (fasteners, 2)
        Node numbers of each fastener's seat on the head and in the block [1].
    lowered : float
        How far the head is lowered from first touch at no displacement [mm].
    cut_cells : int
        Partly filled cells, which the deck holds as whole bricks: above 0 the deck is stiffer
        than the joint and no exact check [1].
    """

    text: str
    points: Ints
    seats: Ints
    lowered: float
    cut_cells: int


def calculix_deck(state: JointState, largest: Floats | None = None) -> CalculixDeck:
    """Return the deck whose answer is the state, its history and advances frozen.

    Parameters
    ----------
    state : JointState
        A state on the check level.
    largest : ndarray, shape (points,), optional
        Largest closure of every gasket point before this load step, where another program has followed
        the history [mm]; the state's own unless given.

    Returns
    -------
    CalculixDeck
        The deck.

    Raises
    ------
    FiredeckError
        If the state was solved on patches.
    """
    if state.level != "check":
        raise FiredeckError(
            "a deck needs every gasket point, and this state has patches", remedy="solve on the check level"
        )
    writer = _Writer(state, _before(state) if largest is None else largest)
    text = "\n".join(
        [
            "** joint of head, gasket, block and fasteners",
            *_iterating(),
            *writer.nodes_and_elements("HEAD"),
            *writer.nodes_and_elements("BLOCK"),
            *writer.ties(),
            *writer.gasket(),
            *writer.fasteners(),
            *writer.held(),
            *writer.heat(),
            *writer.step(),
            "",
        ]
    )
    cut = sum(body.cut_cells for body in writer.bodies.values())
    return CalculixDeck(text, writer.point_nodes, writer.seat_nodes, writer.lowered, cut)


class _Writer:
    """Parts of the deck; head's nodes come first, then the block's, then the springs' ends."""

    def __init__(self, state: JointState, largest: Floats) -> None:
        self.state, self.joint, self.largest = state, state.joint, largest
        joint = state.joint
        self.bodies = {"HEAD": deck_body(joint.head), "BLOCK": deck_body(joint.block)}
        self.first = {"HEAD": 1, "BLOCK": 1 + len(self.bodies["HEAD"].nodes)}
        ends = self.first["BLOCK"] + len(self.bodies["BLOCK"].nodes)
        points, seats = len(joint.laid.points.gap), len(joint.seats)
        self.point_nodes = ends + np.arange(2 * points).reshape(points, 2)
        self.seat_nodes = ends + 2 * points + np.arange(2 * seats).reshape(seats, 2)
        self.first_element = {"HEAD": 1, "BLOCK": 1 + len(self.bodies["HEAD"].cells)}
        self.elements = sum(len(body.cells) for body in self.bodies.values())
        self.lowered = float((state.balance.closure + joint.laid.points.gap).mean())
        self.held_lines: list[str] = []
        sides = zip(self.first, (joint.head, joint.block), joint.moduli, strict=True)
        self.moduli = {name: factor * mesh.section.modulus for name, mesh, factor in sides}
        self.head_loads = dict(head_patterns(joint.head, joint.seats, joint.bores))
        self.block_loads = dict(block_patterns(joint.block, joint.seats, joint.bores, ()))

    def nodes_and_elements(self, name: str) -> Iterator[str]:
        """Yield nodes, elements and material of one body, the head lifted by the gasket."""
        body, first = self.bodies[name], self.first[name]
        lift = self.joint.model.thickness if name == "HEAD" else 0.0
        yield f"*NODE, NSET=N{name}"
        for number, (x, y, z) in enumerate(body.nodes.tolist(), start=first):
            yield f"{number}, {x:.9g}, {y:.9g}, {z + lift:.9g}"
        yield f"*ELEMENT, TYPE={body.kind}, ELSET=E{name}"
        for number, cell in enumerate((body.cells + first).tolist(), start=self.first_element[name]):
            yield f"{number}, " + ", ".join(map(str, cell))
        yield f"*MATERIAL, NAME=M{name}"
        yield f"*ELASTIC\n{self.moduli[name]:.12g}, {body.body.section.material.poisson:.12g}"
        yield f"*SOLID SECTION, ELSET=E{name}, MATERIAL=M{name}"

    def ties(self) -> Iterator[str]:
        """Yield the equations by which faces of volume meshes follow the joint's grid."""
        for name, body in self.bodies.items():
            first = self.first[name]
            for node, others, weights in body.ties():
                pairs = zip((others + first).tolist(), weights.tolist(), strict=True)
                yield from _follows(node + first, [(other, 3, weight) for other, weight in pairs])

    def gasket(self) -> Iterator[str]:
        """Yield the gasket's springs between ends that follow the faces."""
        joint, points = self.joint, self.joint.laid.points
        lift = joint.model.thickness
        kept = np.argwhere(joint.kept >= 0)
        order = kept[np.argsort(joint.kept[joint.kept >= 0])][joint.laid.touched]
        sides = (("HEAD", lift), ("BLOCK", 0.0))
        yield "*NODE, NSET=NENDS"
        for k, (x, y) in enumerate(joint.laid.places):
            for side, (_, height) in enumerate(sides):
                at = height + (_SPRING_LENGTH if side == 0 else 0.0)
                yield f"{self.point_nodes[k, side]}, {x:.9g}, {y:.9g}, {at:.9g}"
        matrix = points.weights
        for side, (name, _) in enumerate(sides):
            numbers = self.bodies[name].face_numbers[order[:, 0], order[:, 1]] + self.first[name]
            for k in range(len(points.gap)):
                row = slice(matrix.indptr[k], matrix.indptr[k + 1])
                terms = [
                    (int(node), 3, float(weight))
                    for node, weight in zip(numbers[matrix.indices[row]], matrix.data[row], strict=True)
                ]
                yield from _follows(int(self.point_nodes[k, side]), terms)
        for k, table in enumerate(self._point_tables()):
            yield from self._spring(f"P{k + 1}", self.point_nodes[k], table)
        self._hold_in_plan(self.point_nodes)

    def fasteners(self) -> Iterator[str]:
        """Yield the fasteners as springs between their seats."""
        yield "*NODE, NSET=NENDS"
        for k, seat in enumerate(self.joint.seats):
            heights = (seat.bearing_height + _SPRING_LENGTH, -seat.thread_start)
            for side, height in enumerate(heights):
                yield f"{self.seat_nodes[k, side]}, {seat.place[0]:.9g}, {seat.place[1]:.9g}, {height:.9g}"
        for k, seat in enumerate(self.joint.seats):
            pattern = f"fastener {seat.name}"
            for side, (name, loads, sign) in enumerate(
                (("HEAD", self.head_loads[pattern], -1.0), ("BLOCK", self.block_loads[pattern], 1.0))
            ):
                terms = [
                    (int(node) + self.first[name], int(axis) + 1, sign * float(loads[node, axis]))
                    for node, axis in np.argwhere(loads != 0.0)
                ]
                yield from _follows(int(self.seat_nodes[k, side]), terms)
            advance = float(self.state.advance[k]) - self.lowered
            # Against the head's end less the block's, rising: slack, then pulling.
            reach = 10.0 * _BEYOND
            table = [(0.0, -advance - reach), (0.0, -advance), (seat.stiffness * reach, -advance + reach)]
            yield from self._spring(f"F{k + 1}", self.seat_nodes[k], table)
        self._hold_in_plan(self.seat_nodes)

    def held(self) -> Iterator[str]:
        """Yield what does not move."""
        yield "*BOUNDARY"
        for name, body in self.bodies.items():
            for node, axis in np.argwhere(body.held):
                yield f"{node + self.first[name]}, {axis + 1}, {axis + 1}"
        yield from self.held_lines

    def heat(self) -> Iterator[str]:
        """Yield the stress that would undo the free strain, where there is any."""
        rows = [row for name in self.bodies for row in self._undoing(name)]
        if rows:
            yield "*INITIAL CONDITIONS, TYPE=STRESS"
            yield from rows

    def _undoing(self, name: str) -> Iterator[str]:
        body = self.bodies[name]
        section, planes = body.body.section, body.body.heights
        strain = [self.state.amounts.get(f"{section.side} plane {k}", 0.0) for k in range(len(planes))]
        if not any(strain):
            return
        bulk = self.moduli[name] / (1.0 - 2.0 * section.material.poisson)
        stresses = -bulk * np.interp(body.heights, planes, strain)
        for element, own in enumerate(stresses.tolist(), start=self.first_element[name]):
            for point, stress in enumerate(own, start=1):
                yield f"{element}, {point}" + f", {stress:.12g}" * 3 + ", 0., 0., 0."

    def step(self) -> Iterator[str]:
        """Yield the load step with its tight limits and the printing of the springs' ends."""
        yield "*STEP, INC=1\n*STATIC\n1., 1."
        yield "*CONTROLS, PARAMETERS=FIELD\n1.e-7, 1.e-5, , , , , , "
        yield from self._loads()
        yield "*NODE PRINT, NSET=NENDS\nU\n*END STEP"

    def _loads(self) -> Iterator[str]:
        amounts = self.state.amounts
        total = {name: np.zeros((len(body.body.coordinates), 3)) for name, body in self.bodies.items()}
        for name, patterns in (("HEAD", self.head_loads), ("BLOCK", self.block_loads)):
            for pattern, loads in patterns.items():
                if pattern.startswith(("gas ", "wall ")):
                    total[name] += amounts.get(pattern, 0.0) * loads
        yield "*CLOAD"
        for name, loads in total.items():
            for node, axis in np.argwhere(loads != 0.0):
                yield f"{node + self.first[name]}, {axis + 1}, {loads[node, axis]:.12g}"

    def _point_tables(self) -> Iterator[list[tuple[float, float]]]:
        """Yield force over the head's end less the block's, for every point."""
        joint, state = self.joint, self.state
        points = joint.laid.points
        knots, _, recovery = points.tables
        for k in range(len(points.gap)):
            law, largest = int(points.law[k]), float(self.largest[k])
            row = int(np.clip(np.searchsorted(knots[law], largest, side="right") - 1, 0, len(knots[law]) - 2))
            part = (largest - knots[law][row]) / (knots[law][row + 1] - knots[law][row])
            back = (1.0 - part) * recovery[law][row] + part * recovery[law][row + 1]
            at = np.concatenate([[0.0], largest - back, knots[law]])
            at = np.unique(np.round(at[at >= 0.0], 12))
            yield _spring_table(state, k, at, (largest, self.lowered))

    def _spring(self, name: str, ends: Ints, table: list[tuple[float, float]]) -> Iterator[str]:
        self.elements += 1
        yield f"*ELEMENT, TYPE=SPRINGA, ELSET={name}\n{self.elements}, {ends[1]}, {ends[0]}"
        yield f"*SPRING, ELSET={name}, NONLINEAR\n"
        yield from (f"{force:.10e},{length:.10e}" for force, length in table)

    def _hold_in_plan(self, ends: Ints) -> None:
        self.held_lines += [f"{node}, 1, 2" for node in ends.ravel()]


def _iterating() -> list[str]:
    """Return a material that no element has: a yield limit anywhere makes the program iterate."""
    return ["*MATERIAL, NAME=UNUSED", "*ELASTIC\n1000., 0.3", "*PLASTIC\n1.e6, 0."]


def _before(state: JointState) -> Floats:
    """Largest closure before the state's own load step, as far as it shows."""
    return np.where(state.balance.closure >= state.largest, 0.0, state.largest)


def _spring_table(
    state: JointState, k: int, at: Floats, memory: tuple[float, float]
) -> list[tuple[float, float]]:
    """Force over length of one point with its largest closure, the head lowered at the start."""
    points = state.joint.laid.points
    largest, lowered = memory
    load, slope = np.zeros(len(at)), np.zeros(len(at))
    point_loads(
        at,
        np.full(len(at), largest),
        np.full(len(at), points.law[k]),
        np.full(len(at), points.size[k] * state.left[k]),
        points.tables,
        load,
        slope,
    )
    gap = float(points.gap[k]) - lowered
    pairs = [(-float(q), -(float(x) + gap)) for q, x in zip(load, at, strict=True)]
    return [*reversed(pairs), (0.0, _BEYOND - gap)]


def _follows(end: int, terms: Iterable[tuple[int, int, float]]) -> Iterator[str]:
    """Yield the equation by which an end's upright displacement is a weighted mean."""
    all_terms = [(end, 3, -1.0), *terms]
    yield f"*EQUATION\n{len(all_terms)}"
    for start in range(0, len(all_terms), 4):
        yield ", ".join(f"{n}, {axis}, {w:.12g}" for n, axis, w in all_terms[start : start + 4])

"""CalculiX (G. Dhondt and K. Wittig, a general finite-element program) run on decks, and its answers."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.sparse import csr_array

from firedeck.contact import (
    BoreGas,
    CalculixDeck,
    ClosureLaw,
    GasketModel,
    Joint,
    JointState,
    PressedLand,
    calculix_deck,
)
from firedeck.contact.mesh import BodyMesh
from firedeck.kernel.closure import point_loads
from tests.contact_joints import OWN_GRID, square_plan, square_seats, square_sections

MISSING = (
    "CalculiX is not there, and these tests solve the same joints with it: install it "
    "(Debian: sudo apt-get install calculix-ccx), or run make test, which does so where it may"
)


def run_ccx(deck: str) -> dict[int, np.ndarray]:
    """Run the program on a deck and return the displacements that it prints [mm] by node."""
    if shutil.which("ccx") is None:
        pytest.fail(MISSING, pytrace=False)
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "joint.inp").write_text(deck, encoding="ascii")
        environment = {**os.environ, "OMP_NUM_THREADS": "1"}
        ended = subprocess.run(
            ["ccx", "joint"], cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
        assert ended.returncode == 0, ended.stdout[-2000:]
        rows = [line.split() for line in Path(folder, "joint.dat").read_text(encoding="ascii").splitlines()]
    return {int(row[0]): np.array(row[1:], float) for row in rows if len(row) == 4 and row[0].isdigit()}


def closures_of(deck: CalculixDeck, state: JointState) -> tuple[np.ndarray, np.ndarray]:
    """Return the closure of the gasket's points and the approach of the seats that it finds [mm]."""
    lift = {node: moved[2] for node, moved in run_ccx(deck.text).items()}
    closure = np.array([deck.lowered + lift[block] - lift[head] for head, block in deck.points.tolist()])
    approach = np.array([deck.lowered + lift[block] - lift[head] for head, block in deck.seats.tolist()])
    return closure - state.joint.laid.points.gap, approach


def loads_at(state: JointState, closure: np.ndarray, largest: np.ndarray) -> np.ndarray:
    """Return the load of every point over its length or area that the laws give [N/mm or MPa]."""
    points = state.joint.laid.points
    load, slope = np.zeros(len(closure)), np.zeros(len(closure))
    point_loads(closure, largest, points.law, state.left, points.tables, load, slope)
    return load


def bed_joint(stiffness: float) -> Joint:
    """Return the square joint on an elastic bed under the whole deck [MPa/mm], pressed at Gauss points."""
    plan = square_plan()
    area = shapely.box(0, 0, 120, 96).difference(shapely.box(48, 36, 72, 60))
    model = GasketModel((), (PressedLand("bed", area, ClosureLaw.linear("bed", stiffness)),))
    bore = plan.bores[0]
    gas = BoreGas(bore.name, bore.centre, bore.diameter, bore.diameter, 15.0)
    joint = Joint.build(
        plan, square_sections(), model, square_seats(plan), bores=[gas], reach=40.0, grid=OWN_GRID
    )
    return _at_gauss_points(joint)


def _at_gauss_points(joint: Joint) -> Joint:
    """Return a joint pressed at two by two Gauss points to a cell, as the program presses faces."""
    cells, pitch = np.argwhere(_pressed_cells(joint)), joint.grid.pitch
    ends = np.array([(i, j) for i in (0, 1) for j in (0, 1)])
    at = 0.5 + (ends - 0.5) / np.sqrt(3.0)
    corners = joint.kept[cells[:, None, 0] + ends[:, 0], cells[:, None, 1] + ends[:, 1]]
    shares = np.prod(np.where(ends[None] == 1, at[:, None], 1.0 - at[:, None]), axis=2)
    touched, columns = np.unique(corners, return_inverse=True)
    count = 4 * len(cells)
    columns = np.repeat(columns.reshape(-1, 4), 4, axis=0)
    terms = (np.tile(shares, (len(cells), 1)).ravel(), (np.repeat(np.arange(count), 4), columns.ravel()))
    weights = csr_array(terms, (count, len(touched) + len(joint.seats)))
    size = np.full(count, 0.25 * pitch**2)
    points = replace(
        joint.laid.points,
        weights=weights,
        gap=np.zeros(count),
        law=np.zeros(count, dtype=np.int64),
        size=size,
    )
    places = (cells[:, None] + at).reshape(-1, 2) * pitch + [joint.grid.x0, joint.grid.y0]
    whole, own = np.array([0, count]), np.arange(count)
    laid = replace(
        joint.laid, starts=whole, places=places, points=points, touched=touched.astype(np.int64), patch=own
    )
    return replace(joint, laid=laid)


def _pressed_cells(joint: Joint) -> np.ndarray:
    pressed = np.zeros((2, joint.grid.cols, joint.grid.rows), dtype=bool)
    for side, (mesh, layer) in enumerate(_layers_at_the_face(joint)):
        cells = mesh.bricks.cells
        pressed[(side, *cells[cells[:, 2] == layer, :2].T)] = True
    return pressed.all(axis=0)


def _layers_at_the_face(joint: Joint) -> tuple[tuple[BodyMesh, int], ...]:
    return (joint.head, 0), (joint.block, len(joint.block.heights) - 2)


def face_contact_deck(state: JointState, stiffness: float) -> CalculixDeck:
    """Return the deck with the program's own face-to-face contact [MPa/mm] in place of the springs.

    The springs' ends stay and follow the faces, so that closures are read where they were.
    """
    joint, lowered = state.joint, calculix_deck(state).lowered
    # Contact goes by the places of the faces, so that the head must stand lowered.
    there = replace(joint, model=replace(joint.model, thickness=-lowered))
    deck = calculix_deck(replace(state, joint=there))
    blocks = re.split(r"\n(?=\*)", deck.text)
    kept = "\n".join(block for block in blocks if not re.search(r"ELSET=P\d", block))
    pressing = [
        *_face(joint, "HEAD", "S1"),
        *_face(joint, "BLOCK", "S2"),
        f"*SURFACE INTERACTION, NAME=BED\n*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR\n{stiffness}",
        "*CONTACT PAIR, INTERACTION=BED, TYPE=SURFACE TO SURFACE\nFHEAD, FBLOCK",
        "*STEP, INC=100",
    ]
    return replace(deck, text=kept.replace("*STEP, INC=1", "\n".join(pressing)))


def _face(joint: Joint, name: str, side: str) -> list[str]:
    """Return the surface of a body's elements that are pressed, in the order of the deck's numbers."""
    mesh, level = _layers_at_the_face(joint)[name != "HEAD"]
    first = 1 if name == "HEAD" else 1 + len(joint.head.body.elements)
    pressed = _pressed_cells(joint)
    cells = enumerate(mesh.bricks.cells, start=first)
    rows = [f"{k}, {side}" for k, (i, j, layer) in cells if layer == level and pressed[i, j]]
    return [f"*SURFACE, NAME=F{name}, TYPE=ELEMENT", *rows]

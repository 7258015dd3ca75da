"""Clamp of the invented engine's joint: condensing, what-ifs and scatter, beside what else there is.

Run as a script for a table; a collector calls `figures`. Beside our figures run, on the same meshes:
CalculiX 2.20 on one contact solve of a small joint, a general sparse solver's columns on a small
body, and scikit-fem's assembly where it is installed. The small cases are small because the
alternatives take minutes on the engine's; their ratios grow with size. Times are the least disturbed of
several rounds.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.sparse as sp
import shapely
from scipy.sparse.linalg import splu

from benchmarks import contact_condensing
from benchmarks.contact_engine import PRELOAD, build
from benchmarks.process_cost import Cost, peak_megabytes
from benchmarks.rows import at_least, at_most, left_out
from benchmarks.table import as_figures, show_figures
from firedeck.contact import (
    Assemblies,
    BodySection,
    Course,
    Draws,
    Fire,
    Joint,
    JointState,
    Level,
    SectionLayer,
    Turn,
    VolumeSection,
    assemble_many,
    calculix_deck,
    profiles,
    tighten,
)
from firedeck.contact.body import held_freedoms
from firedeck.contact.mesh import BodyMesh, body_mesh, loads_by_node
from firedeck.contact.tightening import outward
from firedeck.contact.volume_body import VolumeBody, condense_volume
from firedeck.definition.material import builtin_material
from firedeck.kernel.condense import condense
from firedeck.kernel.fronts import multiply
from firedeck.pressure_map import Grid

#: Assemblies that are drawn, and those of them that are also taken one by one.
_SCATTER, _ONE_BY_ONE = 10_000, 50

#: Cylinder pressure that they stand [MPa].
_GAS = 8.0


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure, with the keys of `benchmarks.table.Figure`."""
    return [
        *_engine_figures(),
        *contact_condensing.figures(),
        *_calculix_figures(),
        *_column_figures(),
        *_assembly_figures(),
        *_volume_figures(),
        *_meshed_figures(),
    ]


def _least(work: Callable[[], object], rounds: int, clock: Callable[[], float] = time.perf_counter) -> float:
    found = []
    for _ in range(rounds):
        start = clock()
        work()
        found.append(clock() - start)
    return min(found)


def _assembled(joint: Joint, level: Level) -> JointState:
    wanted = {seat.name: PRELOAD for seat in joint.seats}
    return tighten(joint, wanted, level=level, shares=(1.0,))[-1]


def _engine_figures() -> list[dict[str, Any]]:
    _assembled(build(pitch=14.0), "fast").fire({"bore 2": 1.0})  # compiles
    with Cost() as built:
        joint = build(pitch=6.0)
    size = f"{joint.head.freedoms} + {joint.block.freedoms} freedoms, {len(joint.kept_places)} kept"
    size += f"; {built.processor:.3g} s of processor time"
    first: dict[Level, float] = {}
    later: dict[Level, list[float]] = {}
    levels: tuple[Level, ...] = ("fast", "check")
    for level in levels:
        state = _assembled(joint, level)
        first[level], later[level] = _slider_milliseconds(state)
    drawn = _draws(joint)
    scatter = _least(lambda: _scatter(joint, drawn), 1)
    one_by_one = _least(lambda: _one_by_one(joint, drawn), 1) / _ONE_BY_ONE * _SCATTER
    drag = "median of a slider's settings, no two alike; the first of them {:.3g}, the slowest {:.3g} ms"
    return [
        at_most("contact: mesh, condense, merge both bodies", built.seconds, "s", 3.0, size),
        at_most("contact: peak memory", peak_megabytes(), "MB", 1000.0, "whole process, check level too"),
        *(
            at_most(
                f"contact: what-if, {level} level", float(np.median(later[level])), "ms", goal,
                drag.format(first[level], max(later[level])),
            )
            for level, goal in zip(levels, (5.0, 150.0), strict=True)
        ),
        at_most(
            "contact: 10 000 assemblies and firings", scatter, "s", 60.0,
            f"{os.cpu_count()} processors, lowest line loads of every seal kept",
        ),
        at_least(
            "contact: assemblies side by side: faster", one_by_one / scatter, 3.0,
            f"one by one on one processor, {one_by_one:.3g} s from {_ONE_BY_ONE}",
        ),
    ]  # fmt: skip


def _slider_milliseconds(state: JointState, bore: str = "bore 2") -> tuple[float, list[float]]:
    """Milliseconds of the first setting of a slider for the gas, and of each one after it."""
    spent = []
    for pressure in (8.0, 8.3, 7.8, 9.0, 10.0, 9.6, 7.0, 6.1, 6.2, 8.1, 11.0, 12.0, 11.5):
        start = time.perf_counter()
        state.fire({bore: pressure})
        spent.append(1e3 * (time.perf_counter() - start))
    return spent[0], spent[1:]


def _draws(joint: Joint) -> Draws:
    """Draw a preload of every fastener for each assembly."""
    random = np.random.default_rng(1)
    return Draws(np.exp(0.1 * random.standard_normal((_SCATTER, len(joint.seats)))), np.ones(_SCATTER))


def _course(joint: Joint) -> Course:
    """One stage from the middle outward, then one cylinder fires."""
    return Course((*(Turn(name, PRELOAD) for name in outward(joint)), Fire({"bore 2": _GAS}, "firing")))


def _scatter(joint: Joint, drawn: Draws) -> None:
    """Take every assembly through its tightening and firing, as the scatter of a prediction does."""

    def lowest(states: Mapping[str, Assemblies]) -> list[Any]:
        rows = states["firing"]
        return [profiles(rows, one.seal.name).line_load.min(axis=1) for one in joint.model.seals]

    assemble_many(joint, _course(joint), drawn, lowest)


def _one_by_one(joint: Joint, drawn: Draws) -> None:
    """Take some of the same assemblies one after the other."""
    for factors in drawn.preload[:_ONE_BY_ONE]:
        wanted = {seat.name: PRELOAD * factor for seat, factor in zip(joint.seats, factors, strict=True)}
        tighten(joint, wanted, shares=(1.0,))[-1].fire({"bore 2": _GAS})


def _calculix_figures() -> list[dict[str, Any]]:
    from tests.contact_joints import square_gasket, square_plan, square_seats, square_sections

    if shutil.which("ccx") is None:
        return [left_out("contact: against CalculiX", "ccx is not installed")]
    plan = square_plan()
    joint = Joint.build(
        plan, square_sections(), square_gasket(plan), square_seats(plan), pitch=4.0, reach=20.0
    )
    wanted = {seat.name: 12e3 for seat in joint.seats}
    states = {level: tighten(joint, wanted, level=level, shares=(1.0,))[-1] for level in ("fast", "check")}
    fired = states["check"].fire({"bore": 8.0})
    theirs = _ccx_seconds(fired)
    out = []
    for level, goal in (("fast", 4000.0), ("check", 150.0)):
        state = states[level]
        ours = 1e-3 * float(np.median(_slider_milliseconds(state, "bore")[1]))
        against = (
            f"one contact solve by CalculiX on the same {joint.head.freedoms + joint.block.freedoms} freedoms"
        )
        note = f"{1e3 * ours:.2g} ms against {theirs:.3g} s"
        out.append(at_least(f"contact: what-if, {level} level: faster", theirs / ours, goal, against, note))
    return out


def _ccx_seconds(state: JointState) -> float:
    deck = calculix_deck(state)
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "joint.inp").write_text(deck.text, encoding="ascii")
        environment = {**os.environ, "OMP_NUM_THREADS": "2"}
        start = time.perf_counter()
        subprocess.run(["ccx", "joint"], cwd=folder, env=environment, capture_output=True, check=True)
        return time.perf_counter() - start


def _box(cells: int, count: int = 8) -> BodyMesh:
    """Return a block with a round opening, so many cells long and layers of cells high."""
    side = 6.0 * cells
    plan = shapely.box(0.0, 0.0, side, side).difference(
        shapely.Point(0.5 * side, 0.5 * side).buffer(0.3 * side)
    )
    layers = tuple(SectionLayer(f"layer {k}", 10.0, plan) for k in range(count))
    section = BodySection("block", layers, builtin_material("grey iron GJL-250"))
    return body_mesh(section, Grid(0.0, 0.0, 6.0, cells, cells))


def _assembled_matrix(mesh: BodyMesh) -> sp.csc_array:
    """Return the body's stiffness as a general sparse matrix, for the alternatives."""
    body = mesh.body
    freedoms = (3 * body.elements[:, :, None].astype(np.int64) + np.arange(3)).reshape(-1, 24)
    rows, columns = np.repeat(freedoms, 24, axis=1), np.tile(freedoms, (1, 24))
    values = body.matrices[body.kinds]
    size = 3 * len(body.places)
    return sp.csc_array(sp.coo_array((values.ravel(), (rows.ravel(), columns.ravel())), (size, size)))


def _column_figures() -> list[dict[str, Any]]:
    """Compare condensing with a general solver's solves for as many columns."""
    mesh = _box(24)
    face = mesh.face_numbers[mesh.face_numbers >= 0].astype(np.int64)
    kept, held = np.column_stack([face, np.full(len(face), 2)]), held_freedoms(mesh)
    none = loads_by_node([], len(mesh.body.places))
    found = condense(mesh.body, kept, held, none)
    ours = _least(lambda: condense(mesh.body, kept, held, none), 3)
    free = np.flatnonzero(~held.ravel())
    columns = np.searchsorted(free, 3 * face + 2)
    start = time.perf_counter()
    factor = splu(
        _assembled_matrix(mesh)[free][:, free], permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}
    )
    factored = time.perf_counter() - start
    unit = np.zeros((len(free), len(columns)))
    unit[columns, range(len(columns))] = 1.0
    start = time.perf_counter()
    compliance = factor.solve(unit)[columns]
    solved = time.perf_counter() - start
    error = np.abs(compliance @ found.stiffness - np.eye(len(columns))).max()
    if error > 1e-6:
        raise RuntimeError(f"condensed stiffness and column solves disagree by {error:.2g}")
    against = f"SuperLU, {len(columns)} columns of {mesh.freedoms} freedoms, {solved:.3g} s"
    return [
        at_least(
            "contact: condensing a body: faster",
            solved / ours,
            4.0,
            against,
            f"{ours:.3g} s; the factor took {factored:.3g} s and is not counted",
        )
    ]


def _assembly_figures() -> list[dict[str, Any]]:
    """Compare one pass over all elements with scikit-fem's assembly of plain bricks."""
    if importlib.util.find_spec("skfem") is None:
        return [left_out("contact: assembly against scikit-fem", "scikit-fem is not installed")]
    import skfem
    from skfem.models.elasticity import lame_parameters, linear_elasticity

    cells = (24, 24, 8)
    side = shapely.box(0.0, 0.0, 6.0 * cells[0], 6.0 * cells[1])
    layers = tuple(SectionLayer(f"layer {k}", 10.0, side) for k in range(cells[2]))
    section = BodySection("block", layers, builtin_material("grey iron GJL-250"))
    grid = Grid(0.0, 0.0, 6.0, cells[1], cells[0])
    vectors = np.ones((np.prod(np.add(cells, 1)), 3, 1))

    def ours() -> object:
        body = body_mesh(section, grid).body
        return multiply(vectors, body.elements, body.kinds, body.matrices)

    ours()
    axes = [np.linspace(0.0, 1.0, n + 1) for n in cells]
    basis = skfem.Basis(
        skfem.MeshHex.init_tensor(*axes), skfem.ElementVector(skfem.ElementHex1()), intorder=2
    )
    form = linear_elasticity(*lame_parameters(110e3, 0.26))
    mine, theirs = _least(ours, 3), _least(lambda: form.assemble(basis), 2)
    note = f"{1e3 * mine:.3g} ms against {theirs:.3g} s; ours never forms the sparse matrix"
    return [
        at_least(
            "contact: meshing and one pass over elements: faster",
            theirs / mine,
            30.0,
            "scikit-fem, assembly of plain bricks",
            note,
        )
    ]


def _volume_figures() -> list[dict[str, Any]]:
    """Compare condensing irregular quadratic tetrahedra with bricks on a grid, of as many freedoms."""
    from tests.solid_meshes import irregular

    grid = _box(36)
    section = grid.section
    body = VolumeBody(
        VolumeSection("block", irregular(section, 12.5), section.material), Grid(0.0, 0.0, 24.0, 9, 9)
    )
    face = grid.face_numbers[grid.face_numbers >= 0].astype(np.int64)
    kept, held = np.column_stack([face, np.full(len(face), 2)]), held_freedoms(grid)
    tied = body.face_numbers[body.face_numbers >= 0]
    none, nothing = loads_by_node([], len(grid.body.places)), (np.zeros((len(body.coordinates), 3)),)

    def bricks() -> object:
        return condense(_box(36).body, kept, held, none)

    def tetrahedra() -> object:
        # A new body each time, so that the elements' stiffness is reckoned again.
        return condense_volume(replace(body), tied, nothing)

    tetrahedra()
    mine, meshed = (_least(work, 3, time.process_time) for work in (bricks, tetrahedra))
    note = f"{body.freedoms} freedoms in {meshed:.3g} s, {grid.freedoms} on the grid in {mine:.3g} s"
    name = "contact: condensing a volume mesh, over a grid, processor time"
    return [at_most(name, meshed / mine, "times", 3.0, note)]


def _meshed_figures() -> list[dict[str, Any]]:
    """Compare the first answer from a volume mesh with CalculiX on the same elements."""
    from tests.solid_meshes import irregular, joint_of, round_sections

    if shutil.which("ccx") is None:
        return [left_out("contact: a volume mesh against CalculiX", "ccx is not installed")]
    sections = tuple(
        VolumeSection(section.side, irregular(section, 9.0), section.material) for section in round_sections()
    )

    def fired() -> JointState:
        joint = joint_of((sections[0], sections[1]))
        wanted = {seat.name: 12e3 for seat in joint.seats}
        return tighten(joint, wanted, level="check", shares=(1.0,))[-1].fire({"bore": 8.0})

    state = fired()
    ours, theirs = _least(fired, 3), _ccx_seconds(state)
    freedoms = state.joint.head.freedoms + state.joint.block.freedoms
    against = f"one contact solve by CalculiX on the same {freedoms} freedoms of tetrahedra"
    note = f"{ours:.3g} s, condensing, tightening and firing, against {theirs:.3g} s"
    return [at_least("contact: first answer from a volume mesh: faster", theirs / ours, 5.0, against, note)]


if __name__ == "__main__":
    show_figures("Contact", as_figures(figures()))

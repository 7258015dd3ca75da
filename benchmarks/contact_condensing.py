"""Condensing of both bodies by itself, some 120 000 freedoms each, in a process of its own.

Run as ``python -m benchmarks.contact_condensing`` for what the process prints as JSON. The time is that
of condensing, orders of elimination and load patterns included, meshing and merging not; the memory is
the peak of the process that does all of it. How long condensing takes is set by how fast a machine
multiplies matrices: beside it runs a dense Cholesky factor of the library that both use.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.linalg.lapack import dpotrf

from benchmarks.contact_engine import build
from benchmarks.process_cost import Cost, peak_megabytes
from benchmarks.rows import at_most
from firedeck.contact import Joint
from firedeck.contact.body import CondensedBody, condense_body
from firedeck.contact.bowing import bow_looks, looked_at
from firedeck.contact.patterns import block_patterns, bow_patterns, head_patterns
from firedeck.kernel.threads import for_each

__all__ = ["figures"]

#: Pitch at which both bodies have 240 000 freedoms [mm].
_PITCH = 5.0

#: Rows of the dense matrix, and what its factor took where the goal of 3 s was set [s].
_ROWS, _THERE = 3000, 0.083
_GOAL = 3.0


def figures() -> list[dict[str, Any]]:
    """Measure in a fresh process; one entry per figure, with the keys of `benchmarks.table.Figure`."""
    ran = subprocess.run([sys.executable, "-m", __name__], capture_output=True, text=True, check=True)
    found = json.loads(ran.stdout)
    size = "{head} + {block} freedoms, {kept} kept; {processor:.3g} s of processor time".format(**found)
    factor = found["factor"]
    there = f"{_GOAL:g} s where the factor took {1e3 * _THERE:g} ms; here it takes {1e3 * factor:.3g} ms"
    return [
        at_most("contact: condense both bodies", found["seconds"], "s", _GOAL, note=size),
        at_most(
            f"contact: condense both bodies, in dense factors of {_ROWS}", found["seconds"] / factor, "times",
            round(_GOAL / _THERE), note=there,
        ),
        at_most("contact: mesh, condense, merge them: peak memory", found["peak"], "MB", 1000.0),
    ]  # fmt: skip


def _measured() -> dict[str, float]:
    joint = build(pitch=_PITCH)
    peak = peak_megabytes()
    factor = _factor_seconds()
    with Cost() as spent:
        bodies = for_each(lambda work: work(), _works(joint))
    for body, before in zip(bodies, joint.condensed, strict=True):
        found, known = body.condensed.stiffness, before.condensed.stiffness
        if np.abs(found - known).max() > 1e-9 * np.abs(known).max():
            raise RuntimeError("condensing a body once more gave another stiffness")
    return {
        "seconds": spent.seconds, "processor": spent.processor, "peak": peak,
        "factor": min(factor, _factor_seconds()), "head": joint.head.freedoms,
        "block": joint.block.freedoms, "kept": len(joint.kept_places),
    }  # fmt: skip


def _works(joint: Joint) -> list[Callable[[], CondensedBody]]:
    """Return what condenses head and block as `Joint.build` does."""
    head, block, seats = joint.head, joint.block, joint.seats
    free = joint.kept >= 0
    nodes = [np.asarray(mesh.face_numbers[free], dtype=np.int64) for mesh in (head, block)]

    def of_head() -> CondensedBody:
        areas = looked_at(joint.plan, joint.model.lines(joint.plan, 1.0)).head
        places = np.array([seat.place for seat in seats])
        looks = bow_looks(head.face_shares, len(head.coordinates), places, areas)
        patterns = [*head_patterns(head, seats, joint.bores), *bow_patterns(seats, looks)]
        return condense_body(head, nodes[0], patterns)

    def of_block() -> CondensedBody:
        return condense_body(block, nodes[1], block_patterns(block, seats, joint.bores, joint.depths))

    return [of_head, of_block]


def _factor_seconds() -> float:
    """Return what a dense Cholesky factor takes on all processors, the least disturbed of several [s]."""
    square = np.random.default_rng(1).random((_ROWS, _ROWS))
    matrix = np.asfortranarray(square @ square.T + _ROWS * np.eye(_ROWS))
    spent = []
    for _ in range(12):
        own = matrix.copy(order="F")
        start = time.perf_counter()
        dpotrf(own, lower=1, overwrite_a=1, clean=0)
        spent.append(time.perf_counter() - start)
    return min(spent)


if __name__ == "__main__":
    print(json.dumps(_measured()))

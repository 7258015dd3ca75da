"""Leak paths between 35 media on a map of 8 megacells: firedeck, higra and a plain union-find.

Run as a module for a table, ``python -m benchmarks.bench_breach``; a collector calls `figures`. Each
solver runs alone in a fresh process on the same stored map, compiled beforehand; its peak memory is
that of the whole process, interpreter, libraries and map included. Times are the least disturbed of
several rounds. The answers are compared before any figure is given.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.process_cost import peak_megabytes
from benchmarks.rows import at_least, at_most

ROOT = Path(__file__).resolve().parent.parent
ROWS, COLS = 2000, 4000
ROUNDS = {"firedeck": 7, "higra": 2, "plain": 2}
AGAINST = {"higra": "higra, canonical binary partition tree", "plain": "plain sorted union-find, compiled"}


def main() -> None:
    """Print the table, or, as one of the fresh processes, do one part of the work."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--make", choices=FIELDS, help=argparse.SUPPRESS)
    parser.add_argument("--solve", choices=SOLVERS, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.make:
        _store(FIELDS[options.make](), options.folder)
    elif options.solve:
        print(json.dumps(_measure(options.solve, options.folder)))
    else:
        _print_table(figures())


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure.

    Returns
    -------
    list of dict
        ``name``, ``value``, ``unit``, ``goal``, ``met``, ``against`` (what the figure is
        compared with) and ``ratio`` (how many times better than that, or None).
    """
    return [figure for field in FIELDS for figure in _figures_of(field)]


def _figures_of(field: str) -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as folder:
        _fresh("--make", field, folder)
        runs = {solver: json.loads(_fresh("--solve", solver, folder)) for solver in SOLVERS}
    ours = runs.pop("firedeck")
    for solver, theirs in runs.items():
        if theirs["heights"] != ours["heights"]:
            raise RuntimeError(f"{solver} and firedeck disagree on the {field} map")
    higra, plain = runs["higra"], runs["plain"]
    tree = f"{AGAINST['higra']}: {higra['seconds']:.3g} s, {higra['peak']:.0f} MB"
    sort = f"{AGAINST['plain']}: {plain['seconds']:.3g} s, {plain['peak']:.0f} MB"
    return [
        at_most(f"leak paths, {field} map: all pairs", ours["seconds"], "s", 1.5),
        at_most(f"leak paths, {field} map: peak memory", ours["peak"], "MB", 400.0),
        at_most(f"leak paths, {field} map: slowest of six traced", ours["trace"], "s", 1.5),
        at_least(f"leak paths, {field} map: faster", higra["seconds"] / ours["seconds"], 5.0, tree),
        at_least(f"leak paths, {field} map: leaner", higra["peak"] / ours["peak"], 10.0, tree),
        at_least(f"leak paths, {field} map: faster", plain["seconds"] / ours["seconds"], 2.0, sort),
    ]


def _print_table(rows: list[dict[str, Any]]) -> None:
    for row in rows:
        mark = "met" if row["met"] else "MISSED"
        value = f"{row['value']:.3g} {row['unit']}"
        print(f"{row['name']:44} {value:12} {row['goal']:12} {mark:7} {row['against']}")


def _fresh(task: str, name: str, folder: str) -> str:
    command = [sys.executable, "-m", "benchmarks.bench_breach", task, name, "--folder", folder]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, cwd=ROOT).stdout


def _store(made: tuple[np.ndarray, np.ndarray], folder: Path) -> None:
    np.save(folder / "pressure.npy", made[0])
    np.save(folder / "media.npy", made[1])


def _measure(solver: str, folder: Path) -> dict[str, Any]:
    pressure, media = np.load(folder / "pressure.npy"), np.load(folder / "media.npy")
    solve = SOLVERS[solver]
    solve(pressure[:200, :200].copy(), media[:200, :200].copy())  # compiles
    seconds = []
    for _ in range(ROUNDS[solver]):
        start = time.perf_counter()
        heights = solve(pressure, media)
        seconds.append(time.perf_counter() - start)
    found = {"seconds": min(seconds), "peak": peak_megabytes(), "heights": heights.tolist()}
    if solver == "firedeck":
        found["trace"] = _slowest_trace(pressure, media)
    return found


def _slowest_trace(pressure: np.ndarray, media: np.ndarray) -> float:
    from firedeck.kernel.breach import saddle_matrix, trace_path

    saddles = saddle_matrix(pressure, media)
    slowest = 0.0
    for a, b in ((1, 1), (1, 2), (2, 3), (2, 5), (1, 35), (6, 35), (9, 20)):
        if a == b:  # compiles
            trace_path(np.zeros((1, 3)), np.array([[1, 0, 2]]), 1, 2, (0, 1))
            continue
        start = time.perf_counter()
        trace_path(pressure, media, a, b, saddles.direct_cells[a - 1, b - 1])
        slowest = max(slowest, time.perf_counter() - start)
    return slowest


def _solve_firedeck(pressure: np.ndarray, media: np.ndarray) -> np.ndarray:
    from firedeck.kernel.breach import saddle_matrix

    return saddle_matrix(pressure, media).heights


def _solve_higra(pressure: np.ndarray, media: np.ndarray) -> np.ndarray:
    """Lowest common ancestors in the binary partition tree; each medium must hang together."""
    import higra

    free = np.where(media > 0, np.float32(0.0), pressure)
    graph = higra.get_8_adjacency_graph(free.shape)
    weights = higra.weight_graph(graph, free.ravel(), higra.WeightFunction.max)
    tree, altitudes = higra.bpt_canonical(graph, weights)
    leaves = np.unique(media, return_index=True)[1][-int(media.max()) :] if media.any() else np.zeros(1, int)
    a, b = np.meshgrid(leaves, leaves, indexing="ij")
    ancestors = tree.lowest_common_ancestor(a.ravel(), b.ravel())
    return np.asarray(altitudes[ancestors].reshape(a.shape), dtype=float)


def _solve_plain(pressure: np.ndarray, media: np.ndarray) -> np.ndarray:
    from benchmarks.plain_union_find import plain_saddles

    return plain_saddles(pressure, media)[0]


def deck_field() -> tuple[np.ndarray, np.ndarray]:
    """Draw a head joint in outline: waves of land, a ridge round each bore and port, grain over all."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:ROWS, 0:COLS].astype(np.float32)
    pressure = 2.0 + 0.8 * np.sin(x / 310) * np.cos(y / 270)
    media = np.zeros((ROWS, COLS), np.int32)
    media[:40] = media[-40:] = media[:, :40] = media[:, -40:] = 1
    bores = [(560 + 960 * i, 1000, 380, 120.0, 14.0) for i in range(4)]
    ports = [(150 + 265 * i, row, 40, 25.0, 8.0) for i in range(15) for row in (200, 1800)]
    for medium, (col, row, radius, crest, width) in enumerate(bores + ports, start=2):
        distance, angle = np.hypot(x - col, y - row), np.arctan2(y - row, x - col)
        ridge = np.exp(-(((distance - radius - 3 * width) / width) ** 2))
        pressure = np.maximum(pressure, crest * (1 + 0.15 * np.cos(3 * angle + medium)) * ridge)
        media[distance < radius] = medium
    grain = rng.lognormal(0.0, 0.12, pressure.shape)
    return (pressure * grain).astype(np.float32), media


def noise_field() -> tuple[np.ndarray, np.ndarray]:
    """Put the same media in white noise: as many basins as a map can hold."""
    media = deck_field()[1]
    return np.random.default_rng(2).random(media.shape, dtype=np.float32), media


FIELDS: dict[str, Callable[[], tuple[np.ndarray, np.ndarray]]] = {"deck": deck_field, "noise": noise_field}
SOLVERS: dict[str, Callable[[np.ndarray, np.ndarray], np.ndarray]] = {
    "firedeck": _solve_firedeck,
    "higra": _solve_higra,
    "plain": _solve_plain,
}

if __name__ == "__main__":
    main()

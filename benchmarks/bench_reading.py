"""A print from scan to verdict: firedeck beside a plain NumPy, SciPy and scikit-image version.

Run as a module for a table, ``python -m benchmarks.bench_reading``; a collector calls `figures`. The
print is the invented engine's, one sheet at 600 dpi, 16-bit colour, uncompressed, made once into
``build/bench/reading``; with its border it has a quarter more than the 45 megapixels of the goals.
Each run has a process of its own, warmed up on a smaller print so that no compiling is timed; peak
memory is that of the whole process, interpreter and libraries included. The files lie in the page
cache. Times are medians of three runs; beside each stands the processor time, which other work on
the machine disturbs less. The two versions' answers are compared before any figure is given; what
the plain version leaves out stands in `benchmarks.plain_reading`.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

import numpy as np

from benchmarks.process_cost import Cost, peak_megabytes
from benchmarks.reading_prints import ENLARGED, FOLDER, LARGE, PRINT, ROOT, SCAN, SMALL, make_prints

if TYPE_CHECKING:  # the reading itself is imported in a fresh process only
    from firedeck.study.reading import PrintReading

ROUNDS = 3
#: Goals: time [s] and memory [MB] of one reading, times faster than plain, growth of memory [1].
SECONDS, MEGABYTES, FASTER, GROWTH = 3.0, 1000.0, 5.0, 1.2
#: How far line loads and leak heights of the two versions may lie apart at the median [1].
AGREEMENT = 0.12
#: Functions that the reading calls, by stage.
STAGES = {
    "read the definitions": ("load_test",),
    "decode and pool": ("load_scan",),
    "find the sheet": ("find_sheet",),
    "register": ("register",),
    "map": ("deck_grid", "plan_zones", "read_sheet", "assemble_map", "mask_artefacts"),
    "hash the files": ("file_hash",),
    "seals": ("profile_seals", "summarise_seal"),
    "leak paths": ("leak_field", "find_leaks"),
    "balance and verdict": ("clamp_balance", "judge"),
}


def main() -> None:
    """Print the table, or, as one of the fresh processes, do one run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--run", choices=RUNS, help=argparse.SUPPRESS)
    parser.add_argument("--test", type=Path, default=PRINT, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.run:
        print(json.dumps(RUNS[options.run](options.test)))
        return
    for row in figures():
        mark = {True: "met", False: "MISSED", None: ""}[row["met"]]
        ratio = "" if row["ratio"] is None else f"{row['ratio']:.3g} times better"
        value = f"{row['value']:8.3g} {row['unit']:5}"
        print(f"{row['name']:52} {value} {row['goal']:11} {mark:6} {row['against']} {ratio}")


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure.

    Returns
    -------
    list of dict
        ``name``, ``value``, ``unit``, ``goal``, ``met``, ``against`` (what the figure is compared
        with) and ``ratio`` (how many times better than that, or None).
    """
    make_prints()
    first = _fresh("firedeck", PRINT)  # compiles for all later runs, and finds the registration
    (FOLDER / "registrations.json").write_text(json.dumps(first["registrations"]), encoding="utf-8")
    runs = {name: [_fresh(name, PRINT) for _ in range(ROUNDS)] for name in ("firedeck", "plain", "decode")}
    _compare(first["answers"], runs["plain"][0]["answers"])
    cost = {
        name: {key: statistics.median(run[key] for run in each) for key in ("seconds", "processor", "peak")}
        for name, each in runs.items()
    }
    large = _fresh("firedeck", LARGE)
    return [
        *_reading_figures(first["megapixels"], cost),
        _growth_figure(first["megapixels"], cost["firedeck"]["peak"], large["peak"]),
        *_stage_figures(_fresh("stages", PRINT)["stages"]),
    ]


def _reading_figures(megapixels: float, cost: dict[str, dict[str, float]]) -> list[dict[str, Any]]:
    ours, plain, decode = cost["firedeck"], cost["plain"], cost["decode"]
    what, against = f"scan to verdict, {megapixels:.0f} megapixels", "plain NumPy and scikit-image"
    rows = [
        _figure(f"{what}: time", ours["seconds"], "s", SECONDS),
        _figure(f"{what}: processor time", ours["processor"], "s"),
        _figure(f"{what}: peak memory", ours["peak"], "MB", MEGABYTES),
    ]
    for row, key in zip(rows, ("seconds", "processor", "peak"), strict=True):
        row |= {
            "against": f"{against}: {plain[key]:.3g} {row['unit']}",
            "ratio": plain[key] / ours[key],
        }
    faster = plain["seconds"] / ours["seconds"]
    rows.append(
        _figure(f"{what}: faster", faster, "times", None, against)
        | {"goal": f">= {FASTER:g} times", "met": faster >= FASTER}
    )
    for key, name in (("seconds", "time"), ("processor", "processor time")):
        whole = f"whole file read and added up once: {decode[key]:.3g} s"
        rows.append(
            _figure(f"{what}: {name} over that of one pass", ours[key] / decode[key], "times", None, whole)
        )
    return rows


def _growth_figure(megapixels: float, small: float, large: float) -> dict[str, Any]:
    name = f"scan to verdict, {megapixels * ENLARGED**2:.0f} megapixels: memory"
    against = f"its own at {megapixels:.0f} megapixels: {small:.3g} MB, here {large:.3g} MB"
    return _figure(name, large / small, "times", GROWTH, against)


def _stage_figures(stages: dict[str, list[float]]) -> list[dict[str, Any]]:
    whole = stages.pop("whole")
    stages["everything else"] = [
        total - sum(parts) for total, parts in zip(whole, zip(*stages.values(), strict=True), strict=True)
    ]
    return [
        _figure(
            f"scan to verdict, share of: {name}", 100 * spent[1] / whole[1], "%", None, _spent(spent, whole)
        )
        for name, spent in stages.items()
    ]


def _spent(part: list[float], whole: list[float]) -> str:
    return (
        f"{part[1]:.2f} of {whole[1]:.3g} s of processor time; by the clock {part[0]:.2f} of {whole[0]:.3g} s"
    )


def _figure(
    name: str, value: float, unit: str, limit: float | None = None, against: str = ""
) -> dict[str, Any]:
    return {
        "name": name, "value": value, "unit": unit, "goal": "" if limit is None else f"<= {limit:g} {unit}",
        "met": None if limit is None else value <= limit, "against": against, "ratio": None,
    }  # fmt: skip


def _compare(ours: dict[str, Any], plain: dict[str, Any]) -> None:
    """Refuse to compare the speed of two answers that differ."""
    for what in ("loads", "heights"):
        mine, theirs = np.array(ours[what], dtype=float), np.array(plain[what], dtype=float)
        known = np.isfinite(mine) & (mine > 0)
        apart = float(np.median(np.abs(theirs[known] / mine[known] - 1)))
        if not known.any() or apart > AGREEMENT:
            raise RuntimeError(f"firedeck and the plain version disagree on {what} by {apart:.0%}")


def _fresh(run: str, test: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.bench_reading", "--run", run, "--test", str(test)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _run_firedeck(test: Path) -> dict[str, Any]:
    from firedeck.study.reading import read_print

    matrices = [read_print(SMALL).sheets[0].registration.matrix.tolist()]
    with Cost() as cost:
        reading = read_print(test)
    peak = peak_megabytes()
    matrices.append(reading.sheets[0].registration.matrix.tolist())
    rows, cols = reading.sheets[0].loaded.size
    return {
        "seconds": cost.seconds, "processor": cost.processor, "peak": peak, "megapixels": rows * cols / 1e6,
        "registrations": matrices, "answers": _answers_of(reading),
    }  # fmt: skip


def _answers_of(reading: PrintReading) -> dict[str, Any]:
    from firedeck.kernel.breach import saddle_matrix

    field = reading.field
    saddles = saddle_matrix(field.pressure, field.media, count=len(reading.files.plan.media))
    loads = [float(np.nanmean(profile.sectors.line_load)) for profile in reading.profiles]
    return {"loads": loads, "heights": _above_diagonal(saddles.heights)}


def _above_diagonal(heights: np.ndarray) -> list[float]:
    found: list[float] = heights[np.triu_indices(len(heights), 1)].tolist()
    return found


def _run_plain(test: Path) -> dict[str, Any]:
    from benchmarks.plain_reading import prepare, read_plainly

    small, whole = json.loads((FOLDER / "registrations.json").read_text(encoding="utf-8"))
    read_plainly(prepare(SMALL, small))
    given = prepare(test, whole)
    with Cost() as cost:
        reading = read_plainly(given)
    loads = [float(np.mean(load)) for load in reading.loads.values()]
    return {
        "seconds": cost.seconds, "processor": cost.processor, "peak": peak_megabytes(),
        "answers": {"loads": loads, "heights": _above_diagonal(reading.heights)},
    }  # fmt: skip


def _run_decode(test: Path) -> dict[str, Any]:
    import tifffile

    tifffile.imread(SMALL.with_name(SCAN)).sum(dtype=np.uint64)
    with Cost() as cost:
        tifffile.imread(test.with_name(SCAN)).sum(dtype=np.uint64)
    return {"seconds": cost.seconds, "processor": cost.processor, "peak": peak_megabytes()}


def _run_stages(test: Path) -> dict[str, Any]:
    """Read a print with a clock on every function that `STAGES` names."""
    from firedeck.study import reading

    reading.read_print(SMALL)
    spent = {stage: [0.0, 0.0] for stage in STAGES}
    with ExitStack() as clocks:
        for stage, names in STAGES.items():
            for name in names:
                clocks.enter_context(_clock(reading, name, spent[stage]))
        with Cost() as cost:
            reading.read_print(test)
    return {"stages": {"whole": [cost.seconds, cost.processor], **spent}}


def _clock(module: object, name: str, spent: list[float]) -> AbstractContextManager[object]:
    work: Callable[..., object] = getattr(module, name)

    @wraps(work)
    def timed(*args: object, **kwargs: object) -> object:
        start = time.perf_counter(), time.process_time()
        try:
            return work(*args, **kwargs)
        finally:
            spent[0] += time.perf_counter() - start[0]
            spent[1] += time.process_time() - start[1]

    return mock.patch.object(module, name, timed)


RUNS: dict[str, Callable[[Path], dict[str, Any]]] = {
    "firedeck": _run_firedeck,
    "plain": _run_plain,
    "decode": _run_decode,
    "stages": _run_stages,
}


if __name__ == "__main__":
    main()

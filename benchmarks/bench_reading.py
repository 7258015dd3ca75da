"""A print from scan to verdict: firedeck beside a plain NumPy, SciPy and scikit-image version.

Run as a module for a table, ``python -m benchmarks.bench_reading``; a collector calls `figures`. The
print is the invented engine's, one sheet at 600 dpi, 16-bit colour, uncompressed, made once into
``build/bench/reading``; with its border it has a quarter more than the 45 megapixels of the goals.
Each run has a process of its own, warmed up on a smaller print so that no compiling is timed; peak
memory is that of the whole process, interpreter and libraries included. The files lie in the page
cache. Times are medians of five rounds, each a run of every version, so that a machine that slows down
slows them all; beside each stands the processor time, which other work on the machine disturbs less.
firedeck works on two threads or more where it can, the plain version on what its libraries take,
mostly one. How far the two versions' answers lie apart is measured first, and no speed is compared
where that is more than `AGREEMENT`; what the plain version is handed and what it leaves out stands in
`benchmarks.plain_reading`. The shares of the stages come from a run of their own that does one stage
after another; in a reading the hashes, what the plan alone decides, the balance and the leak paths run
beside the rest.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from contextlib import AbstractContextManager, ExitStack
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeAlias, TypeVar
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from benchmarks.process_cost import Cost, peak_megabytes
from benchmarks.reading_prints import ENLARGED, FOLDER, LARGE, PRINT, ROOT, SCAN, SMALL, make_prints

if TYPE_CHECKING:  # the reading itself is imported in a fresh process only
    from benchmarks.plain_reading import PlainReading
    from firedeck.study.prints.reading import PrintReading

P = ParamSpec("P")
T = TypeVar("T")
Answers: TypeAlias = dict[str, list[float]]

ROUNDS = 5
#: Goals: time [s] and memory [MB] of one reading, times faster than plain, growth of memory [1].
SECONDS, MEGABYTES, FASTER, GROWTH = 3.0, 1000.0, 5.0, 1.2
#: What share of the two versions' answers [1] may lie how far apart at most [1].
AGREEMENT = {
    "mean line loads of seals": (1.0, 0.03),
    "line loads of sectors": (0.95, 0.03),
    "noise of line loads": (0.5, 0.1),
    "calibration error of line loads": (0.9, 0.05),
    "leak heights": (1.0, 0.03),
    "leak heights freed of noise and blur": (1.0, 0.05),
    "forces on the print": (1.0, 0.05),
}
#: Least share of the values that firedeck shows which the plain version must show too [1].
LEAST_SHOWN = 0.9
#: Functions that the reading calls, by stage.
STAGES = {
    "read the definitions": ("load_test",),
    "decode and pool": ("load_scan",),
    "find the sheet": ("find_sheet",),
    "register": ("seal_marks", "register"),
    "map": ("deck_grid", "plan_zones", "read_sheet", "assemble_map", "ink_places", "mask_artefacts"),
    "hash the files": ("file_hash",),
    "seals": ("seal_bands", "unroll_seals", "profile_seals", "summarise_seal"),
    "leak paths": ("opening_labels", "leak_field", "find_leaks"),
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
    rounds = [{name: _fresh(name, PRINT) for name in ("firedeck", "plain", "decode")} for _ in range(ROUNDS)]
    runs = {name: [one[name] for one in rounds] for name in rounds[0]}
    agreement = agreement_figures(first["answers"], runs["plain"][0]["answers"])
    cost = {
        name: {key: statistics.median(run[key] for run in each) for key in ("seconds", "processor", "peak")}
        for name, each in runs.items()
    }
    large = _fresh("firedeck", LARGE)
    return [
        *_reading_figures(first["megapixels"], cost),
        _growth_figure(first["megapixels"], cost["firedeck"]["peak"], large["peak"]),
        *_stage_figures(_fresh("stages", PRINT)["stages"]),
        *agreement,
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
        all_of - sum(parts) for all_of, parts in zip(whole, zip(*stages.values(), strict=True), strict=True)
    ]
    return [
        _figure(
            f"one stage after another, share of: {name}", 100 * spent[1] / whole[1], "%", None,
            _spent(spent, whole),
        )
        for name, spent in stages.items()
    ]  # fmt: skip


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


def agreement_figures(ours: Answers, plain: Answers) -> list[dict[str, Any]]:
    """Measure how far two versions' answers lie apart; refuse to compare the speed of what differs."""
    rows = []
    for what, (share, limit) in AGREEMENT.items():
        mine, theirs = (np.array(answers[what], dtype=float) for answers in (ours, plain))
        shown = np.isfinite(mine) & np.isfinite(theirs) & (mine > 0)
        if shown.sum() < LEAST_SHOWN * np.isfinite(mine).sum():
            raise RuntimeError(f"the plain version does not show {what} that firedeck shows")
        apart = float(np.quantile(np.abs(theirs[shown] / mine[shown] - 1), share))
        if apart > limit:
            raise RuntimeError(f"firedeck and the plain version disagree on {what} by {apart:.0%}")
        name = f"plain version apart from firedeck, {share:.0%} of {what}: within"
        rows.append(_figure(name, 100 * apart, "%", 100 * limit, f"{shown.sum()} values"))
    return rows


def _fresh(run: str, test: Path) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.bench_reading", "--run", run, "--test", str(test)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _run_firedeck(test: Path) -> dict[str, Any]:
    from firedeck.study.prints.reading import read_print

    matrices = [read_print(SMALL).sheets[0].registration.matrix.tolist()]
    with Cost() as cost:
        reading = read_print(test)
    peak = peak_megabytes()
    matrices.append(reading.sheets[0].registration.matrix.tolist())
    rows, cols = reading.sheets[0].loaded.size
    return {
        "seconds": cost.seconds, "processor": cost.processor, "peak": peak, "megapixels": rows * cols / 1e6,
        "registrations": matrices, "answers": answers_of(reading),
    }  # fmt: skip


def answers_of(reading: PrintReading) -> Answers:
    """Return what firedeck's answers are compared by: loads [N/mm], heights [MPa], forces [N]."""
    assert reading.balance is not None  # the print's record states its preload
    tables = [profile.sectors for profile in reading.profiles]
    heights, felt = _heights_of(reading)
    return {
        "mean line loads of seals": [float(np.nanmean(table.line_load)) for table in tables],
        "line loads of sectors": _joined([table.line_load for table in tables]),
        "noise of line loads": _joined([table.noise for table in tables]),
        "calibration error of line loads": _joined([_size(table.by_mode) for table in tables]),
        "leak heights": heights,
        "leak heights freed of noise and blur": felt,
        "forces on the print": [reading.balance.printed.value, reading.balance.in_range.value],
    }


def _heights_of(reading: PrintReading) -> tuple[list[float], list[float]]:
    """Return heights of all pairs of media, as found and as corrected, the latter for direct paths [MPa]."""
    saddles, media = reading.field.saddles, reading.files.plan.media
    upper = np.triu_indices(len(media), 1)
    felt = {(leak.a, leak.b): leak.felt.value for leak in reading.leaks}
    corrected = np.array([felt[media[i], media[j]] for i, j in zip(*upper, strict=True)])
    corrected[saddles.heights[upper] != saddles.direct_heights[upper]] = np.nan
    return saddles.heights[upper].tolist(), corrected.tolist()


def _joined(parts: Sequence[NDArray[np.float64]]) -> list[float]:
    return [float(value) for part in parts for value in part]


def _size(modes: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.sqrt(np.sum(modes**2, axis=0)))


def _run_plain(test: Path) -> dict[str, Any]:
    from benchmarks.plain_given import prepare
    from benchmarks.plain_reading import read_plainly

    small, whole = json.loads((FOLDER / "registrations.json").read_text(encoding="utf-8"))
    read_plainly(prepare(SMALL, small))
    given = prepare(test, whole)
    with Cost() as cost:
        reading = read_plainly(given)
    return {
        "seconds": cost.seconds, "processor": cost.processor, "peak": peak_megabytes(),
        "answers": plain_answers(reading),
    }  # fmt: skip


def plain_answers(reading: PlainReading) -> Answers:
    """Return the same of the plain version."""
    tables = [loads.sectors for loads in reading.loads]
    upper = np.triu_indices(len(reading.leaks.heights), 1)
    return {
        "mean line loads of seals": [summary.mean for summary in reading.summaries],
        "line loads of sectors": _joined([table.load for table in tables]),
        "noise of line loads": _joined([table.noise for table in tables]),
        "calibration error of line loads": _joined([_size(table.by_mode) for table in tables]),
        "leak heights": reading.leaks.heights[upper].tolist(),
        "leak heights freed of noise and blur": reading.leaks.felt.tolist(),
        "forces on the print": [reading.balance.printed, reading.balance.in_range],
    }


def _run_decode(test: Path) -> dict[str, Any]:
    import tifffile

    tifffile.imread(SMALL.with_name(SCAN)).sum(dtype=np.uint64)
    with Cost() as cost:
        tifffile.imread(test.with_name(SCAN)).sum(dtype=np.uint64)
    return {"seconds": cost.seconds, "processor": cost.processor, "peak": peak_megabytes()}


def _run_stages(test: Path) -> dict[str, Any]:
    """Read a print with a clock on every function that `STAGES` names, and nothing running beside it."""
    from firedeck.study.prints import reading

    reading.read_print(SMALL)
    spent = {stage: [0.0, 0.0] for stage in STAGES}
    with ExitStack() as clocks:
        clocks.enter_context(mock.patch.object(reading, "side_by_side", _InTurn))
        for stage, names in STAGES.items():
            for name in names:
                clocks.enter_context(_clock(reading, name, spent[stage]))
        with Cost() as cost:
            reading.read_print(test)
    return {"stages": {"whole": [cost.seconds, cost.processor], **spent}}


class _InTurn(Executor):
    """Does at once what the reading would have done beside it, so that stages' times add up."""

    def __init__(self, _threads: int) -> None:
        pass

    def submit(self, work: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        done: Future[T] = Future()
        done.set_result(work(*args, **kwargs))
        return done


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

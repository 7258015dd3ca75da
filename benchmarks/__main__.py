"""Run every ``benchmarks/bench_*.py`` and show its figures; names on the command line choose some.

Each of these modules has ``figures()``, which measures and returns a list of dicts with the keys
of `benchmarks.table.Figure`. A figure that misses its goal is shown as missed; a module that
fails is shown as failed and makes the exit code non-zero.
"""

from __future__ import annotations

import importlib
import sys
import traceback
from pathlib import Path

from benchmarks.table import Figure, as_figures, failed_figure, show_figures, write_figures

RESULT = Path("build/bench.json")


def bench_names(wanted: list[str]) -> list[str]:
    """Return the module names of the benches, all of them or those whose name holds a wanted word."""
    names = sorted(path.stem for path in Path(__file__).parent.glob("bench_*.py"))
    return [name for name in names if not wanted or any(word in name for word in wanted)]


def run_bench(name: str) -> tuple[list[Figure], bool]:
    """Run one bench; return its figures, and whether it came to its end."""
    try:
        return as_figures(importlib.import_module(f"benchmarks.{name}").figures()), True
    except Exception as fault:  # whatever goes wrong in one bench, the others are still measured
        traceback.print_exc()
        return [failed_figure(name.removeprefix("bench_"), fault)], False


def main(arguments: list[str]) -> int:
    """Run the benches and return the exit code: 0, 1 when one failed, 2 when there was none to run."""
    figures: list[Figure] = []
    sound = True
    for name in bench_names(arguments):
        print(f"running {name}", flush=True)
        found, ended = run_bench(name)
        figures += found
        sound = sound and ended
    if not figures:
        print("no benches to run")
        return 2
    show_figures("Benchmarks", figures)
    write_figures(RESULT, "benchmarks", figures)
    print(f"written to {RESULT}")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

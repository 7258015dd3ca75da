"""Read 200 prints whose truth is known: ``python -m tests.truth [prints]``."""

from __future__ import annotations

import pickle
import sys
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from benchmarks.table import show_figures, write_figures
from firedeck.errors import FiredeckError
from tests.truth.case import CaseResult, CaseSpec, run_case
from tests.truth.tables import figures, split_lines

TITLE = "Prints of known truth"


def specs(count: int) -> list[CaseSpec]:
    """Return the specifications of `count` prints; the seeds are fixed."""
    rng = np.random.default_rng(2025)
    return [
        CaseSpec(
            seed=1000 + number,
            dpi=float(rng.choice([300, 400, 600], p=[0.6, 0.25, 0.15])),
            bits=int(rng.choice([8, 16], p=[0.25, 0.75])),
            sheets=int(rng.choice([1, 2], p=[0.8, 0.2])),
            harsh=bool(rng.random() < 0.75),
        )
        for number in range(count)
    ]


def attempt(spec: CaseSpec) -> CaseResult | str:
    """Run a case; a refusal or fault comes back as text and counts as a print not read."""
    try:
        return run_case(spec)
    except FiredeckError as refusal:
        return f"{spec}: refused: {refusal.message}"
    except Exception:
        return f"{spec}: {traceback.format_exc(limit=3)}"


def main() -> int:
    """Run all cases, print the tables and write build/truth.json."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    results: list[CaseResult] = []
    with ProcessPoolExecutor(2) as pool:
        for number, outcome in enumerate(pool.map(attempt, specs(count)), start=1):
            if isinstance(outcome, str):
                print(outcome, file=sys.stderr)
            else:
                results.append(outcome)
            print(f"\r{number} of {count}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    build = Path("build")
    build.mkdir(exist_ok=True)
    (build / "truth.pickle").write_bytes(pickle.dumps(results))
    found = figures(results, count)
    show_figures(TITLE, found)
    print("\n".join(split_lines(results)))
    write_figures(build / "truth.json", TITLE, found)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""The invented engine, laid out in a bench that has room for it."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from firedeck.errors import FiredeckError
from firedeck.scenario.demo_files import write_demo
from firedeck.study.bench import Bench
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.progress import Progress

__all__ = ["lay_out_example"]


def lay_out_example(bench: Bench, *, progress: Progress) -> None:
    """Write the example's files into a bench; nothing that is there is replaced.

    Parameters
    ----------
    bench : Bench
        Where to.
    progress : callable
        Told how far the work is.

    Raises
    ------
    FiredeckError
        If the bench holds definitions, or a file of the same name; nothing is written then.
    """
    if bench.files():
        raise FiredeckError(
            "the folder holds definitions already",
            where=bench.folder.name,
            remedy="serve an empty folder for the example",
        )
    with tempfile.TemporaryDirectory(dir=bench.folder, prefix=".example-") as draft:
        progress("drawing the scans of the invented engine", 0.1)
        write_demo(Path(draft))
        progress("calibrating the film", 0.8)
        calibrate_film(Path(draft) / "calibration.toml")
        made = [path for path in sorted(Path(draft).iterdir()) if path.is_file()]
        there = [path.name for path in made if bench.place(path.name).exists()]
        if there:
            raise FiredeckError(
                f"the folder holds {there[0]} already",
                where=bench.folder.name,
                remedy="serve an empty folder for the example",
            )
        for path in made:
            shutil.move(path, bench.place(path.name))
    progress("done", 1.0)

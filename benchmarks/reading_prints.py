"""The prints that reading is timed on: one of the invented engine, a small one, and a very fine scan.

All are made once and kept until the code that makes them changes.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np

__all__ = ["ENLARGED", "FOLDER", "LARGE", "PRINT", "ROOT", "SCAN", "SMALL", "make_prints"]

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "build" / "bench" / "reading"
PRINT, SMALL, LARGE = FOLDER / "print.toml", FOLDER / "small" / "print.toml", FOLDER / "large" / "print.toml"
SCAN = "print-1.tif"
#: The large scan has this many times the pixels each way.
ENLARGED = 2
_STRIP_ROWS = 96


def make_prints() -> None:
    """Make the prints, unless they stand there as the scenario makes them now."""
    stamp = FOLDER / "made-by"
    recipe = _recipe()
    if stamp.exists() and stamp.read_text(encoding="utf-8") == recipe:
        return
    shutil.rmtree(FOLDER, ignore_errors=True)
    _make_print()
    _make_small()
    _make_large()
    stamp.write_text(recipe, encoding="utf-8")


def _recipe() -> str:
    """Return a hash over everything that decides what the prints look like."""
    folders = [ROOT / "src" / "firedeck" / name for name in ("scenario", "definition")]
    sources = sorted(path for folder in folders for path in folder.glob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in [*sources, Path(__file__)])).hexdigest()


def _make_print() -> None:
    from firedeck.scenario.calibration import make_calibration
    from firedeck.scenario.demo_files import DEMO_SCANNER, factory_field
    from firedeck.scenario.disturbances import Disturbances
    from firedeck.scenario.engine import engine_plan, factory_gasket
    from firedeck.scenario.scanning import make_print
    from firedeck.study.prints.calibrating import calibrate_film

    calibration = make_calibration(FOLDER, scanner=DEMO_SCANNER, seed=31)
    calibrate_film(FOLDER / calibration.record)
    worry = Disturbances.typical(np.random.default_rng(0))
    field, gasket = factory_field(), factory_gasket()
    make_print(FOLDER, engine_plan(), field, gasket=gasket, scanner=DEMO_SCANNER, disturbances=worry, seed=32)


def _make_small() -> None:
    """Make a print of a deck with one bore, to warm up on."""
    from firedeck.scenario.demo_files import DEMO_SCANNER
    from firedeck.scenario.engine import small_plan
    from firedeck.scenario.pressure import build_field
    from firedeck.scenario.scanning import make_print

    plan = small_plan(bores=1)
    SMALL.parent.mkdir()
    shutil.copy(FOLDER / "film.toml", SMALL.parent)
    make_print(SMALL.parent, plan, build_field(plan, seed=33), scanner=DEMO_SCANNER, seed=33)


def _make_large() -> None:
    """Repeat every pixel of the scan both ways, as if the same sheet had been scanned finer."""
    import tifffile

    LARGE.parent.mkdir()
    for name in ("deck.toml", "factory.toml", "film.toml", "print.toml"):
        shutil.copy(FOLDER / name, LARGE.parent)
    codes = tifffile.memmap(FOLDER / SCAN, mode="r")
    rows, cols, channels = codes.shape
    tifffile.imwrite(
        LARGE.parent / SCAN, _enlarged(codes), shape=(rows * ENLARGED, cols * ENLARGED, channels),
        dtype=codes.dtype, photometric="rgb", planarconfig="contig", rowsperstrip=_STRIP_ROWS * ENLARGED,
        resolution=(600 * ENLARGED, 600 * ENLARGED), resolutionunit="INCH", metadata=None,
    )  # fmt: skip


def _enlarged(codes: np.ndarray) -> Iterator[np.ndarray]:
    for top in range(0, len(codes), _STRIP_ROWS):
        yield codes[top : top + _STRIP_ROWS].repeat(ENLARGED, axis=0).repeat(ENLARGED, axis=1)

"""A small print with its calibration, made once for all tests that read one."""

from __future__ import annotations

import functools
import shutil
import tempfile
from pathlib import Path

from firedeck.scenario.calibration import make_calibration
from firedeck.scenario.disturbances import Disturbances, Scanner
from firedeck.scenario.engine import small_plan
from firedeck.scenario.pressure import build_field
from firedeck.scenario.scanning import PrintOrder, make_print
from firedeck.study.prints.calibrating import CalibrationResult, calibrate_film
from firedeck.study.prints.output import write_reading
from firedeck.study.prints.reading import PrintReading, read_print
from tests.support.once import made_once

SCANNER = Scanner(dpi=300.0)
LEVELS = (0.0, 8.0, 14.0, 22.0, 35.0, 55.0, 80.0, 110.0, 150.0)
PITCH = 0.2


def _make(folder: Path) -> None:
    """Write two film tests on one small deck with their scans, and calibrate the film."""
    plan = small_plan(bores=1)
    make_calibration(folder, levels=LEVELS, repeats=2, scanner=SCANNER, seed=3)
    for number in (1, 2):
        make_print(
            folder,
            plan,
            build_field(plan, seed=number),
            order=PrintOrder(name=f"print-{number}"),
            scanner=SCANNER,
            disturbances=Disturbances(rotation=4.0 * number),
            seed=number,
        )
    # The last print wrote the film as bought; its calibration comes after it.
    calibrate_film(folder / "calibration.toml")


def _made() -> Path:
    return made_once("small-print", _make)


@functools.cache
def calibration() -> CalibrationResult:
    """The calibration behind the small prints."""
    # To calibrate writes the film's curve, and the files that all workers look at stay as they are.
    with tempfile.TemporaryDirectory() as folder:
        return calibrate_film(bench_files(Path(folder)) / "calibration.toml")


def bench_files(folder: Path) -> Path:
    """Copy the small prints' files into a folder of the test's own."""
    shutil.copytree(_made(), folder, dirs_exist_ok=True)
    return folder


@functools.cache
def reading(number: int) -> PrintReading:
    """Read print 1 or 2 on a coarse grid."""
    return read_print(_made() / f"print-{number}.toml", pitch=PITCH)


def _report(folder: Path) -> None:
    write_reading(reading(1), folder / "report")


def report() -> Path:
    """Folder with the report of print 1, to be looked at only."""
    return made_once("small-report", _report) / "report"

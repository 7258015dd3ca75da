"""The demonstration's work without its reports: whatever is compiled at first use is compiled by it."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from firedeck.contact import SolidMesh, VolumeSection
from firedeck.contact.volume_body import VolumeBody, condense_volume
from firedeck.definition.material import builtin_material
from firedeck.pressure_map import Grid
from firedeck.study.cache import KeptBodies
from firedeck.study.duty.cases import compare_duties
from firedeck.study.fastening.torque import plan_torque
from firedeck.study.prediction.film_print import predict_print
from firedeck.study.prediction.predicting import predict_joint
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.prints.reading import compare_readings, read_print
from firedeck.study.progress import Progress, silent

__all__ = ["rehearse"]


def rehearse(folder: Path, *, progress: Progress = silent) -> None:
    """Calibrate, read, compare and predict what the demonstration's files hold, and keep nothing of it.

    Parameters
    ----------
    folder : Path
        Folder with the demonstration's files; only the film's curve is written into it.
    progress : callable
        Told how far the work is.
    """
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        beside = pool.submit(_design, folder)
        _read(folder, progress)
        progress("fasteners, cylinder pressures and predictions", 0.7)
        beside.result()
    progress("done", 1.0)


def _read(folder: Path, progress: Progress) -> None:
    progress("calibrating the film", 0.1)
    calibrate_film(folder / "calibration.toml")
    reading = read_print(
        folder / "factory-print.toml", progress=lambda what, share: progress(what, 0.1 + 0.5 * share)
    )
    progress("leak paths and comparison", 0.6)
    reading.leak_trace(reading.leaks[0])
    compare_readings(reading, reading)


def _design(folder: Path) -> None:
    compare_duties([folder / f"duty-{kind}.toml" for kind in ("trace", "model", "rule")])
    plan_torque(folder / "fastening.toml")
    kept = KeptBodies()
    predict_joint(folder / "prediction.toml", check=False, store=kept)
    predict_print(folder / "prediction-candidate.toml", store=kept)
    _volume_mesh()


def _volume_mesh() -> None:
    """Condense a cube of somebody's own bricks, which the demonstration has none of."""
    at = np.stack(np.meshgrid(*[np.arange(6)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    corners = np.array(
        [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)]
    )
    cells = (at[(at < 5).all(axis=1)][:, None, :] + corners) @ [36, 6, 1]
    mesh = SolidMesh("cube", at.astype(np.float64), cells)
    body = VolumeBody(VolumeSection("head", mesh, builtin_material("A356-T6")), Grid(0.0, 0.0, 1.0, 5, 5))
    condense_volume(body, np.arange(36), (np.zeros(mesh.points.shape),))

"""What a prediction of the invented engine's joint needs: fastenings, predictions, closure laws."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path

import numpy as np

__all__ = ["LAWS", "law_text", "write_joint_files"]

_TEXTS = (
    "fastening.toml",
    "prediction.toml",
    "prediction-factory.toml",
    "prediction-candidate.toml",
)

#: File -> torques of the stages [N*m], those of the print's record.
_PRINT_STAGES = {"factory-fastening.toml": (23, 40, 57), "candidate-fastening.toml": (29, 50, 71)}

#: File -> closure [mm] and line load [N/mm] at the end of the table, share of load that rises straight
#: with closure [1], share of closure that comes back from the end [1]. Invented.
LAWS: dict[str, tuple[float, float, float, float]] = {
    "law-bore-bead.csv": (0.20, 1000.0, 0.35, 0.30),
    "law-half-bead.csv": (0.35, 130.0, 0.45, 0.40),
}

_ROWS = 15


def law_text(closure: float, load: float, straight: float, recovered: float) -> str:
    """Return a closure law as the table that a press would give, with ways back from two peaks.

    Parameters
    ----------
    closure, load : float
        End of the table [mm] and [N/mm].
    straight : float
        Share of the load that rises straight with closure; the rest rises with its cube [1].
    recovered : float
        Share of the closure that comes back when the load is taken away [1].
    """
    part = np.linspace(0.0, 1.0, _ROWS)
    loads = load * (straight * part + (1.0 - straight) * part**3)
    lines = ["closure_mm,load,branch", *_rows(closure * part, loads, 0)]
    for branch, peak in enumerate((0.5, 1.0), start=1):
        top = load * (straight * peak + (1.0 - straight) * peak**3)
        gone = np.array([0.0, 0.45, 1.0]) * recovered
        lines += _rows(closure * peak * (1.0 - gone), top * np.array([1.0, 0.35, 0.0]), branch)
    return "\n".join(lines) + "\n"


def _rows(
    closures: Sequence[float] | np.ndarray, loads: Sequence[float] | np.ndarray, branch: int
) -> list[str]:
    return [f"{a:.5f},{b:.3f},{branch}" for a, b in zip(closures, loads, strict=True)]


def write_joint_files(folder: Path) -> None:
    """Write fastenings, predictions and closure laws beside the deck plan and gaskets."""
    place = resources.files("firedeck.scenario")
    for name in _TEXTS:
        (folder / name).write_text(place.joinpath(name).read_text(encoding="utf-8"), encoding="utf-8")
    template = place.joinpath("print-fastening.toml").read_text(encoding="utf-8")
    for name, stages in _PRINT_STAGES.items():
        torques = ", ".join(f'{{ torque = "{torque} N*m" }}' for torque in stages)
        (folder / name).write_text(template.replace("STAGES", torques), encoding="utf-8")
    for name, sizes in LAWS.items():
        (folder / name).write_text(law_text(*sizes), encoding="utf-8")

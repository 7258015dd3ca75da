"""Closure laws as pictures and as tables that read back as measured laws."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from firedeck.contact.law import SHARES, ClosureLaw
from firedeck.study.closure import GasketLaws
from firedeck.study.folders import write_folder

__all__ = ["law_record", "law_stem", "write_laws"]

#: How many ways back a table holds at most [1].
_RETURNS = 8


def law_stem(name: str) -> str:
    """Return a law's name as the stem of its files."""
    return re.sub(r"[^\w.-]+", "-", name.strip()).strip("-.") or "law"


def law_record(laws: GasketLaws) -> list[dict[str, object]]:
    """Return what every law says in short, for printing and for programs."""
    return [
        {
            "law": name,
            "seals": [seal for seal, other in laws.of_seals.items() if other.name == name],
            "per": "length" if law.width > 0.0 else "area",
            "closure_mm": [float(share * law.closure[-1]) for share in (0.25, 0.5, 0.75)],
            "load": [
                float(np.interp(share * law.closure[-1], law.closure, law.load))
                for share in (0.25, 0.5, 0.75)
            ],
            "recovery_mm": float(np.interp(0.75 * law.closure[-1], law.closure, law.recovery[:, 0])),
            "spread": law.spread,
            "source": str(law.source),
        }
        for name, law in laws.laws.items()
    ]


def write_laws(laws: GasketLaws, folder: Path, *, overwrite: bool = False) -> Path:
    """Write every law as picture (SVG and PNG) and as CSV, a table that a law can be read from.

    Parameters
    ----------
    laws : GasketLaws
        The laws.
    folder : Path
        Folder to write; an earlier output of firedeck there is replaced.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written.
    """
    from firedeck.drawing.law_picture import law_figure
    from firedeck.drawing.picture_file import save

    def fill(draft: Path) -> None:
        for number, (name, law) in enumerate(laws.laws.items(), start=1):
            stem = draft / f"{number:02d}-{law_stem(name)}"
            figure = law_figure(law)
            for ending in (".svg", ".png"):
                save(figure, stem.with_name(stem.name + ending))
            stem.with_name(f"{stem.name}.csv").write_text(_table(law), encoding="utf-8")

    write_folder(folder, fill, overwrite=overwrite)
    return folder


def _table(law: ClosureLaw) -> str:
    lines = ["closure_mm,load,branch"]
    lines += [f"{c:.6g},{q:.6g},0" for c, q in zip(law.closure, law.load, strict=True)]
    rows = np.unique(np.linspace(1, len(law.closure) - 1, _RETURNS).round().astype(int))
    for branch, row in enumerate(rows, start=1):
        closure, load = law.closure[row] - law.recovery[row][::-1], law.load[row] * SHARES[::-1]
        lines += [f"{c:.6g},{q:.6g},{branch}" for c, q in zip(closure, load, strict=True)]
    return "\n".join(lines) + "\n"

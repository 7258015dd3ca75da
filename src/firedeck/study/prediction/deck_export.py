"""The joint as an input deck for CalculiX, with what this program found, so that both can be compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firedeck.contact import CalculixDeck, JointState, Store, calculix_deck
from firedeck.contact.volume_body import VolumeBody
from firedeck.errors import FiredeckError
from firedeck.files.table_file import write_table
from firedeck.study.columns import Columns
from firedeck.study.folders import write_folder
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.predicting import built, gas_of
from firedeck.study.prediction.states import carry_out, settling_shares, states_of, tightening_moves
from firedeck.study.progress import Progress, silent

__all__ = ["DeckExport", "export_deck", "write_deck"]


@dataclass(frozen=True)
class DeckExport:
    """One state as a deck.

    Attributes
    ----------
    files : PredictionFiles
        The inputs.
    name : str
        The state [text].
    state : JointState
        What this program found.
    deck : CalculixDeck
        The deck.
    """

    files: PredictionFiles
    name: str
    state: JointState
    deck: CalculixDeck

    @property
    def freedoms(self) -> int:
        """Freedoms of both bodies [1]."""
        return self.state.joint.head.freedoms + self.state.joint.block.freedoms


def export_deck(
    file: Path, state: str = "settled", *, store: Store | None = None, progress: Progress = silent
) -> DeckExport:
    """Solve a state on every gasket point and return it as a deck.

    Parameters
    ----------
    file : Path
        Prediction file.
    state : str
        Name of the state: ``cold``, ``settled``, ``hot``, ``firing, BORE``, ``hot firing, BORE``.
    store : Store, optional
        Where condensed bodies are kept; the user's cache unless given.
    progress : callable
        Told what is being done and how far it is.

    Raises
    ------
    FiredeckError
        If the joint has no such state, and as `firedeck.study.prediction.predicting.predict_joint`.
    """
    files, _, joint = built(file, store, progress=progress)
    pressures = gas_of(files).pressures
    known = _state_names(files, pressures)
    if state not in known:
        raise FiredeckError(
            f"the prediction has no state called {state!r}", where=str(file), remedy="use " + "; ".join(known)
        )
    progress("solving on every point", 0.4)
    moves = tightening_moves(files)
    relaxed = settling_shares(carry_out(joint, files, moves, "fast")[-1], files)
    steps = carry_out(joint, files, moves, "check")
    found = states_of(steps, files, pressures, relaxed).all[state]
    progress("writing the deck", 0.9)
    return DeckExport(files, state, found, calculix_deck(found))


def _state_names(files: PredictionFiles, pressures: Mapping[str, float]) -> list[str]:
    hot = files.prediction.hot is not None
    names = ["cold", "settled", *(["hot"] if hot else []), *(f"firing, {bore}" for bore in pressures)]
    return names + ([f"hot firing, {bore}" for bore in pressures] if hot else [])


def write_deck(export: DeckExport, folder: Path, *, overwrite: bool = False) -> Path:
    """Write deck, note and this program's answers.

    Parameters
    ----------
    export : DeckExport
        The deck.
    folder : Path
        Folder to write; an earlier output of firedeck there is replaced.
    overwrite : bool
        Whether the folder may be replaced whatever it holds.

    Raises
    ------
    FiredeckError
        If the folder may not or cannot be written.
    """

    def fill(draft: Path) -> None:
        (draft / "joint.inp").write_text(export.deck.text, encoding="ascii")
        (draft / "how-to-compare.txt").write_text(_note(export), encoding="utf-8")
        write_table(draft / "points", _points(export), units=_UNITS)
        write_table(draft / "fasteners", _fasteners(export), units=_UNITS)

    write_folder(folder, fill, overwrite=overwrite)
    return folder / "joint.inp"


_UNITS = {
    "x_mm": "mm",
    "y_mm": "mm",
    "closure_mm": "mm",
    "load_N": "N",
    "tension_N": "N",
    "approach_mm": "mm",
}


def _points(export: DeckExport) -> Columns:
    laid, state = export.state.joint.laid, export.state
    counts = np.diff(laid.starts)
    names = np.repeat(np.array(laid.names), counts).tolist()
    return {
        "seal": names,
        "x_mm": laid.places[:, 0].tolist(),
        "y_mm": laid.places[:, 1].tolist(),
        "head_node": export.deck.points[:, 0].tolist(),
        "block_node": export.deck.points[:, 1].tolist(),
        "closure_mm": state.balance.closure.tolist(),
        "load_N": state.balance.load.tolist(),
        "gap_mm": laid.points.gap.tolist(),
    }


def _fasteners(export: DeckExport) -> Columns:
    seats, state = export.state.joint.seats, export.state
    return {
        "fastener": [seat.name for seat in seats],
        "head_node": export.deck.seats[:, 0].tolist(),
        "block_node": export.deck.seats[:, 1].tolist(),
        "tension_N": state.tension.tolist(),
        "approach_mm": state.balance.unknowns[len(state.balance.unknowns) - len(seats) :].tolist(),
    }


def _meshed(state: JointState) -> list[VolumeBody]:
    return [body for body in (state.joint.head, state.joint.block) if isinstance(body, VolumeBody)]


def _of_mesh(body: VolumeBody) -> str:
    mesh = body.section.mesh
    told = (
        f"The {body.section.side} is the volume mesh {mesh.name}, element by element. Its nodes in "
        "the sealing plane follow\nthe joint's grid, as they do in firedeck: the grid's nodes "
        "stand in the deck, with an equation to each of the face's.\n"
    )
    if mesh.cells.shape[1] == 8:
        told += (
            "Bricks that are no boxes differ a little between the programs, as their incompatible modes do: "
            "by a few\ntenths of a per cent in pressure where corners are off by a tenth of a side.\n"
        )
    return told


def _note(export: DeckExport) -> str:
    cut = export.deck.cut_cells
    exact = (
        "No cell is cut, so both programs solve the same problem; expect closures to agree to a "
        "hundredth of a micrometre or so.\n"
        if cut == 0
        else f"{cut} cells are cut by a wall or a bore. firedeck integrates the part that is "
        "filled; the deck holds whole bricks and is stiffer. Expect line loads to differ by "
        "several per cent, and take the comparison as one of magnitude, not of digits.\n"
    )
    exact = "".join([*(_of_mesh(body) for body in _meshed(export.state)), exact])
    return (
        f"State: {export.name}, of {export.files.prediction.name}\n\njoint.inp holds head and block "
        "as meshed here, the gasket points as nonlinear springs with their history\nfrozen, the "
        "fasteners as springs, gas as nodal loads, and heat as the initial stress that would undo "
        "the free\nstrain: given temperatures the program would take each element's mean. Units: "
        "mm, N, MPa.\n\nTo run it with CalculiX CrunchiX, a general finite-element program that is "
        "not part of firedeck:\n\n    ccx -i joint\n\njoint.dat then lists the displacement of "
        "every spring's end. For a gasket point of points.csv\n\n    closure = "
        f"{export.deck.lowered:.6f} mm - gap_mm - (U3 of head_node - U3 of block_node)\n\nand for a "
        "fastener of fasteners.csv the seats have approached each other by\n\n    approach = "
        f"{export.deck.lowered:.6f} mm - (U3 of head_node - U3 of block_node)\n\nCompare with the "
        f"columns closure_mm and approach_mm.\n\n{exact}"
    )

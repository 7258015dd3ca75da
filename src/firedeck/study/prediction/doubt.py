"""How far a prediction may be off: the joint predicted again at the ends of what is not known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from firedeck.contact import Joint, JointState, profile
from firedeck.contact.gasket import GasketModel
from firedeck.contact.law import ClosureLaw
from firedeck.evidence import Basis, Source
from firedeck.loading.interaction import Move
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.states import (
    carry_out,
    tightening_moves,
    warmed,
)

__all__ = [
    "AS_PREDICTED",
    "IDEALISED",
    "Loads",
    "SealDoubt",
    "Variant",
    "changed_joints",
    "doubts_of",
    "resting_state",
    "variants_of",
    "weigh_doubts",
]

#: Words of the joint without any doubt, among its variants.
AS_PREDICTED = "as predicted"

#: How far mean and lowest line load of the idealised geometry itself may be off at 95 % [1].
IDEALISED = (
    0.05,
    0.10,
    Source(Basis.DERIVED, "one invented joint on cut-cell grids and on fitted meshes, both refined"),
)


@dataclass(frozen=True)
class Variant:
    """What one doubt does to one seal.

    Attributes
    ----------
    name : str
        What was changed, in words [text].
    mean, lowest : float
        Change of the mean line load settled, and of the lowest one under gas [N/mm].
    """

    name: str
    mean: float
    lowest: float


@dataclass(frozen=True)
class SealDoubt:
    """How far one seal's answer may be off.

    Attributes
    ----------
    variants : tuple of Variant
        What each change does.
    mean, lowest : tuple of float
        Ends of the 95 % interval about the mean line load settled, and about the lowest one under
        gas, as distances below and above [N/mm].
    share : float
        Plus or minus at 95 % of the line load anywhere along it, settled [1].
    """

    variants: tuple[Variant, ...]
    mean: tuple[float, float]
    lowest: tuple[float, float]
    share: float


def doubts_of(
    joint: Joint, files: PredictionFiles, pressures: Mapping[str, float], relaxed: Mapping[str, float]
) -> dict[str, SealDoubt]:
    """Predict the joint again with more and less preload, stiffer and softer bodies and gasket.

    Parameters
    ----------
    joint : Joint
        The joint.
    files : PredictionFiles
        The prediction.
    pressures : mapping of str to float
        Gas pressure of every cylinder [MPa].
    relaxed : mapping of str to float
        Share of its load that each seal loses while settling [1].

    Returns
    -------
    dict of str to SealDoubt
        By seal.
    """
    return weigh_doubts(
        {
            name: _two(other, files, moves, pressures, relaxed)
            for name, other, moves in variants_of(joint, files)
        }
    )


#: Mean and lowest line load by seal [N/mm].
Loads = Mapping[str, tuple[float, float]]


def weigh_doubts(loads: Mapping[str, Loads]) -> dict[str, SealDoubt]:
    """Join what each doubt does to every seal.

    Parameters
    ----------
    loads : mapping of str to Loads
        Loads of every variant by its words, `AS_PREDICTED` among them.
    """
    changed = {name: one for name, one in loads.items() if name != AS_PREDICTED}
    base = loads[AS_PREDICTED]
    return {seal: _doubt(seal, base, changed) for seal in base}


def variants_of(
    joint: Joint, files: PredictionFiles, others: Mapping[str, Joint] | None = None
) -> Iterator[tuple[str, Joint, tuple[Move, ...]]]:
    """Yield the joint as predicted and with each doubt at its ends: words, joint, moves of the wrench.

    Parameters
    ----------
    joint : Joint
        The joint.
    files : PredictionFiles
        The prediction.
    others : mapping of str to Joint, optional
        `changed_joints`, where they are there already.
    """
    moves = tightening_moves(files, last_round=True)
    yield AS_PREDICTED, joint, moves
    less, more = _preload_band(files)
    for words, factor in ((f"preload {1 - less:.0%} lower", less), (f"preload {more - 1:.0%} higher", more)):
        yield words, joint, tuple(_scaled(move, factor) for move in moves)
    for words, other in changed_joints(joint, files) if others is None else others.items():
        yield words, other, moves


def changed_joints(joint: Joint, files: PredictionFiles) -> Iterator[tuple[str, Joint]]:
    """Yield the joint with bodies and gasket at the ends of what is not known of them, with words."""
    head, block = files.prediction.head.stiffness_spread, files.prediction.block.stiffness_spread
    if head or block:
        yield "head and block softer", joint.stiffened(1.0 - head, 1.0 - block)
        yield "head and block stiffer", joint.stiffened(1.0 + head, 1.0 + block)
    if any(one.law.spread for one in joint.model.seals):
        yield "gasket softer", joint.with_gasket(_gasket(joint.model, -1.0))
        yield "gasket stiffer", joint.with_gasket(_gasket(joint.model, 1.0))


def _preload_band(files: PredictionFiles) -> tuple[float, float]:
    """Return the ends of the band of one fastener's preload, over the typical one [1]; the widest group's."""
    bands = [group.spread.one for group in files.clamp.groups]
    return min(band.low / band.value for band in bands), max(band.high / band.value for band in bands)


def _scaled(move: Move, factor: float) -> Move:
    if move.preload is not None:
        return replace(move, preload=factor * move.preload)
    return replace(move, advance=factor * (move.advance or 0.0))


def _gasket(model: GasketModel, side: float) -> GasketModel:
    seals = tuple(replace(one, law=_stiffer(one.law, side)) for one in model.seals)
    return replace(model, seals=seals)


def _stiffer(law: ClosureLaw, side: float) -> ClosureLaw:
    return replace(law, load=law.load * (1.0 + side * law.spread))


def _two(
    joint: Joint,
    files: PredictionFiles,
    moves: tuple[Move, ...],
    pressures: Mapping[str, float],
    relaxed: Mapping[str, float],
) -> Loads:
    """Return every seal's mean load settled and lowest load over all firing states."""
    settled, hot = resting_state(joint, files, moves, relaxed)
    under_gas = [hot.fire({bore: pressure}) for bore, pressure in pressures.items()] or [hot]
    return {
        one.seal.name: (profile(settled, one.seal.name).mean, _lowest(under_gas, one.seal.name))
        for one in joint.model.seals
    }


def resting_state(
    joint: Joint, files: PredictionFiles, moves: tuple[Move, ...], relaxed: Mapping[str, float]
) -> tuple[JointState, JointState]:
    """Return the joint settled, and hot where temperatures are stated, on the fast level."""
    cold = carry_out(joint, files, moves, "fast")[-1]
    settled = cold.settle(embedding=files.fastening.fastening.settling.flattening, relaxation=relaxed)
    hot = warmed(settled, files.prediction.hot, files) if files.prediction.hot else settled
    return settled, hot


def _lowest(states: list[JointState], seal: str) -> float:
    return min(profile(state, seal).lowest for state in states)


def _doubt(seal: str, base: Loads, changed: Mapping[str, Loads]) -> SealDoubt:
    mean, lowest = base[seal]
    variants = tuple(
        Variant(name, loads[seal][0] - mean, loads[seal][1] - lowest) for name, loads in changed.items()
    )
    by_mesh = (IDEALISED[0] * mean, IDEALISED[1] * lowest)
    ends_mean = _ends([one.mean for one in variants], by_mesh[0])
    ends_lowest = _ends([one.lowest for one in variants], by_mesh[1])
    return SealDoubt(variants, ends_mean, ends_lowest, max(ends_mean) / mean if mean > 0.0 else 0.0)


def _ends(changes: list[float], floor: float) -> tuple[float, float]:
    """Return how far down and up independent changes reach together."""
    down = math.hypot(floor, *(change for change in changes if change < 0.0))
    up = math.hypot(floor, *(change for change in changes if change > 0.0))
    return down, up

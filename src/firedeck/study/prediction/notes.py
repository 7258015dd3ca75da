"""The assumptions behind a prediction that change the result, in plain sentences with their backing."""

from __future__ import annotations

from collections.abc import Iterator

from firedeck.contact import Joint
from firedeck.report.words import share
from firedeck.study.fastening.assumptions import clamp_assumptions
from firedeck.study.prediction.doubt import IDEALISED
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.joint import BodySizes

__all__ = ["prediction_assumptions"]


def prediction_assumptions(
    files: PredictionFiles, sizes: BodySizes, gas: str, joint: Joint
) -> tuple[str, ...]:
    """Return what was taken to predict a joint and would change it.

    Parameters
    ----------
    files : PredictionFiles
        The prediction.
    sizes : BodySizes
        Bodies as meshed.
    gas : str
        Where the gas pressures are from.
    joint : Joint
        The joint.
    """
    return tuple(
        _sentence(text) for text in (*_bodies(files, sizes, joint), *_gasket(files), *_loads(files, gas))
    )


def _sentence(text: str) -> str:
    text = f"{text[:1].upper()}{text[1:]}"
    return text if text.endswith(".") else f"{text}."


def _bodies(files: PredictionFiles, sizes: BodySizes, joint: Joint) -> Iterator[str]:
    yield from sizes.notes
    prediction = files.prediction
    yield (
        f"stiffness of the bodies is known to ± {share(prediction.head.stiffness_spread)} (head) and "
        f"± {share(prediction.block.stiffness_spread)} (block): common practice, no source"
    )
    yield (
        f"elements of {joint.grid.pitch:.3g} mm in plan; mean line load of the idealised geometry to "
        f"± {share(IDEALISED[0])}, its lowest, bow and opening to ± {share(IDEALISED[1])}: {IDEALISED[2]}"
    )
    lost = max(joint.head.left_out, joint.block.left_out)
    if lost > 0.002:
        yield f"slivers smaller than an eighth of an element were left out, {share(lost)} of a body at most"
    if files.prediction.hot is not None:
        yield "the moduli of head and block are taken cold in the hot state too; hot metal is softer"


def _gasket(files: PredictionFiles) -> Iterator[str]:
    origins = dict.fromkeys(f"{one.law.name} ({one.origin}): {one.law.source}" for one in files.laws.values())
    yield from (f"closure law {origin}" for origin in origins)
    yield (
        "a seal's contact pressure is its line load spread evenly over the width that its law states; a "
        "crown is higher"
    )
    if not files.prediction.liners and not files.prediction.faces:
        yield "faces are taken as flat and liners as flush with the deck"


def _loads(files: PredictionFiles, gas: str) -> Iterator[str]:
    yield (
        "fasteners are turned at typical friction, move by move, on elastic bodies; head, block and gasket "
        "take from the neighbours what they do"
    )
    if any(move.loosen for move in files.clamp.history.moves):
        yield "what was tightened before the last loosening is left out of the gasket's memory"
    keep = ("Friction", "Rough faces", "of the preload", "sequence")
    for text in clamp_assumptions(files.fastening.fastening, files.clamp):
        if any(word in text for word in keep):
            yield text
    if gas:
        yield f"gas pressure: {gas}"
        yield "gas reaches to the innermost seal of its bore and acts on head, deck and upper cylinder wall"
    if files.prediction.hot is not None:
        yield f"temperatures: {files.prediction.hot.source}"
    limits = files.prediction.limits
    yield (
        f"a seal gives below {limits.gas_load_min:g} N/mm (gas) or {limits.fluid_load_min:g} N/mm (fluids), "
        f"with contact pressure below {limits.contact_factor:g} times the gas pressure, or when gas opens "
        f"it by more than {1e3 * limits.opening_max:g} µm: {limits.source}"
    )

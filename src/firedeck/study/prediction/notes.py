"""The assumptions behind a prediction that change the result, in plain sentences with their backing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from firedeck.contact import Joint
from firedeck.contact.warmth import mean_temperature, softening
from firedeck.definition.fastening import FastenerGroup
from firedeck.definition.material import Material
from firedeck.report.words import share
from firedeck.study.fastening.assumptions import clamp_assumptions
from firedeck.study.prediction.doubt import IDEALISED
from firedeck.study.prediction.files import PredictionFiles
from firedeck.study.prediction.joint import BodySizes
from firedeck.study.prediction.states import MOST_RELAXED, warmth_of

__all__ = ["prediction_assumptions"]

#: How far the bow of the idealised geometry itself may be off on the default grid [1].
_BOW = 0.1


def prediction_assumptions(
    files: PredictionFiles,
    sizes: BodySizes,
    gas: str,
    joint: Joint,
    relaxed: Mapping[str, float] | None = None,
    *,
    drawn: bool = False,
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
    relaxed : mapping of str to float, optional
        Share of its load that each seal loses while settling [1]; not given where nothing settles.
    drawn : bool
        Whether friction and wrench were drawn for many assemblies, not typical in one.
    """
    gasket = (*_gasket(files), *(_relaxation(files, relaxed) if relaxed is not None else ()))
    found = (*_bodies(files, sizes, joint), *_heat(files, joint), *gasket, *_loads(files, gas, drawn))
    return tuple(_sentence(text) for text in found)


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
        f"± {share(IDEALISED[0])}, its lowest and opening to ± {share(IDEALISED[1])}, "
        f"bow to ± {share(_BOW)}: {IDEALISED[2]}"
    )
    lost = max(joint.head.left_out, joint.block.left_out)
    if lost > 0.002:
        yield f"slivers under a two-hundredth of an element were left out, {share(lost)} of a body at most"


def _heat(files: PredictionFiles, joint: Joint) -> Iterator[str]:
    """Yield with which moduli the hot states are solved."""
    hot = files.prediction.hot
    if hot is None:
        return
    head, block, _ = softening(joint, warmth_of(hot, files))
    sides = ((joint.head, hot.head, head), (joint.block, hot.block, block))
    for mesh, profile, factor in sides:
        material = mesh.section.material
        at = f"{mean_temperature(mesh, profile):.0f} °C, the mean of the {mesh.section.side}"
        yield _hot_modulus(f"the {mesh.section.side}", material, at, factor)
    for material in {one.fastener.material.name: one.fastener.material for one in _groups(files)}.values():
        factor = material.modulus.at(hot.fasteners) / material.modulus.at(20.0)
        yield _hot_modulus(f"fasteners of {material.name}", material, f"{hot.fasteners:.0f} °C", factor)
    yield "the gasket's closure laws and their scatter are taken cold in the hot states too"


def _groups(files: PredictionFiles) -> tuple[FastenerGroup, ...]:
    return files.fastening.fastening.groups


def _hot_modulus(what: str, material: Material, at: str, factor: float) -> str:
    if len(material.modulus.points) == 1:
        return f"{what}: {material.name} states one modulus, which is used hot as well; hot metal is softer"
    source = material.source_of("modulus")
    return f"hot, {what} has {share(factor)} of its cold modulus: {material.name} at {at}; {source}"


def _gasket(files: PredictionFiles) -> Iterator[str]:
    origins = dict.fromkeys(f"{one.law.name} ({one.origin}): {one.law.source}" for one in files.laws.values())
    yield from (f"closure law {origin}" for origin in origins)
    yield (
        "a seal's contact pressure is its line load spread evenly over the width that its law states; a "
        "crown is higher"
    )
    if not files.prediction.liners and not files.prediction.faces:
        yield "faces are taken as flat and liners as flush with the deck"


def _relaxation(files: PredictionFiles, relaxed: Mapping[str, float]) -> Iterator[str]:
    """Yield which seals relax as their laws state, and what that leaves to the others."""
    stated = {name: one.relaxation for name, one in files.laws.items() if one.relaxation is not None}
    for one in dict.fromkeys(stated.values()):
        names = ", ".join(name for name, other in stated.items() if other == one)
        yield (
            f"{names}: {share(one.remaining)} of the load is left at the same closure once settled, as the "
            f"law states after {one.time / 3600.0:.3g} h at {one.temperature:.0f} °C; taken for the settled "
            f"joint whatever its own time and temperature: {one.source}"
        )
    others = [name for name in files.laws if name not in stated]
    wanted = share(files.fastening.fastening.settling.relaxation)
    if any(relaxed[name] >= MOST_RELAXED for name in others):
        yield (
            f"while settling no seal loses more than {share(MOST_RELAXED)} of its load at the same closure "
            f"unless its law says so; that takes less from the fasteners than the fastening's {wanted}"
        )
    if stated and not others:
        yield f"every seal's law states its relaxation; the fastening's {wanted} of the preload is not used"
    if stated and others:
        yield (
            f"the other seals lose {share(relaxed[others[0]])} of their load at the same closure, which "
            f"would take the fastening's {wanted} from the preload if every seal lost it; what the fasteners "
            "lose follows from the balance and is not that figure"
        )


def _loads(files: PredictionFiles, gas: str, drawn: bool) -> Iterator[str]:
    friction = "friction and wrench drawn for each, part of it common to all" if drawn else "typical friction"
    yield (
        f"fasteners are turned at {friction}, move by move, on elastic bodies; head, block and gasket "
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

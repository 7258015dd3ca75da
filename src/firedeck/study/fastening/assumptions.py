"""The assumptions behind a reckoned clamp that change the result, in plain sentences with their backing."""

from __future__ import annotations

from collections.abc import Iterator

from firedeck.definition.fastening import CylinderPressureWanted, Fastening
from firedeck.definition.tightening import Settling
from firedeck.evidence import Basis, Source
from firedeck.loading.gas_load import SHARING_SOURCE
from firedeck.loading.reckoning import ClampReckoning, GroupReckoning
from firedeck.loading.spread import usual_scatter
from firedeck.loading.yielding import RESIDUAL_TWIST
from firedeck.report.words import share

__all__ = ["clamp_assumptions"]

_CONE = Source(Basis.MEMORY, "Shigley's Mechanical Engineering Design, chapter 8")
_CENTRE_OUT = Source(Basis.COMMON_PRACTICE)


def clamp_assumptions(fastening: Fastening, clamp: ClampReckoning) -> tuple[str, ...]:
    """Return what was taken to reckon a clamp and would change it.

    Parameters
    ----------
    fastening : Fastening
        The fastening.
    clamp : ClampReckoning
        The clamp.
    """
    found: list[str] = []
    several = len(clamp.groups) > 1
    for group in clamp.groups:
        name = f"{group.place.group.name}: " if several else ""
        found += [f"{name}{text}" for text in _group(group)]
    found += [*_settling(fastening.settling), *_joint(clamp)]
    if fastening.cylinder_pressure is not None:
        found += _gas(fastening.cylinder_pressure, clamp)
    return tuple(found)


def _backed(text: str, source: Source) -> str:
    return f"{text}. Backing: {source}."


def _group(group: GroupReckoning) -> Iterator[str]:
    tightening = group.place.tightening
    lubricant, thread, bearing = (
        tightening.lubricant,
        tightening.lubricant.thread,
        tightening.lubricant.bearing,
    )
    if tightening.method in ("torque", "torque and angle", "yield-controlled"):
        text = (
            f"Friction with {lubricant.name}: thread {thread.low:g} to {thread.high:g}, under the turned "
            f"face {bearing.low:g} to {bearing.high:g}"
        )
        yield _backed(text, lubricant.source)
    yield from _scatter(group)
    yield from _stack(group)
    if tightening.method != "hydraulic":
        twist, source = RESIDUAL_TWIST
        yield _backed(f"{share(twist)} of the thread's twist stays when the wrench is off", source)
    if tightening.to_yield:
        yield (
            "Fasteners turned to yield are taken to stop at the preload at which they yield; how neighbours "
            "act on one another beyond that is not reckoned."
        )


def _scatter(group: GroupReckoning) -> Iterator[str]:
    tightening = group.place.tightening
    lubricant, usual, band = tightening.lubricant, usual_scatter(tightening), group.spread.one
    if tightening.scatter is not None:
        yield f"The scatter of ± {share(tightening.scatter)} is the stated one, not reckoned from friction."
        return
    text = (
        f"{share(lubricant.common)} of the friction's variance is common to all fasteners of an assembly, "
        "the rest differs from one to the next"
    )
    yield _backed(text, lubricant.sharing_source)
    if usual is not None:
        narrow, wide, source = usual
        reckoned = (band.high - band.low) / (band.high + band.low)
        text = (
            f"The scatter reckoned from friction and tool is ± {share(reckoned)}; a table gives the method "
            f"{tightening.method}, friction not measured on the joint, ± {share(narrow)} to {share(wide)}"
        )
        yield _backed(text, source)


def _stack(group: GroupReckoning) -> Iterator[str]:
    place = group.place
    text = f"Head and block give {1e-3 / place.stack.compliance():.0f} kN/mm under one fastener"
    if place.group.stack_stiffness is None:
        cone = place.stack.cone
        text += (
            f", reckoned from a cone of {cone.half_angle:.0f}° that spreads to {cone.limit_diameter:.0f} mm"
        )
        yield _backed(text, _CONE)
    else:
        yield _backed(text, place.group.stack_source)
    strength = place.fastener.material.yield_strength
    if group.heat is not None and strength is not None and len(strength.points) == 1:
        yield (
            f"The yield strength of {place.fastener.material.name} is known at one temperature only and is "
            "used hot as well; hot metal stands less."
        )


def _settling(settling: Settling) -> Iterator[str]:
    flat = f"Rough faces flatten by {settling.flattening * 1e3:.0f} µm in all"
    stated = settling.embedding is not None
    yield f"{flat}, as stated." if stated else _backed(flat, settling.embedding_source)
    least, most = settling.relaxation_range
    text = (
        f"{share(settling.relaxation)} of the preload, {share(least)} to {share(most)}, is lost over the "
        "first heat cycles"
    )
    yield _backed(text, settling.relaxation_source)


def _joint(clamp: ClampReckoning) -> Iterator[str]:
    joint = clamp.joint
    if joint.proposed:
        text = "The sequence was proposed here, from the centre outward and side to side"
        yield _backed(text, _CENTRE_OUT)
    text = (
        f"The head is taken as rigid on a gasket of {joint.bed.stiffness / 1e6:.2f} MN/mm along the bore "
        "seals: without bow between fasteners, so neighbours differ by less than they will"
    )
    yield _backed(text, joint.bed_source)
    if len(clamp.groups) > 1:
        yield "For total clamp and gas load the widest scatter of all groups is used for every fastener."


def _gas(wanted: CylinderPressureWanted, clamp: ClampReckoning) -> Iterator[str]:
    text = f"Cylinder pressure of {wanted.value * 10:.0f} bar ± {share(wanted.scatter)}"
    yield _backed(text, wanted.source)
    across = ", ".join(sorted({f"{one.seal_diameter:.1f}" for one in clamp.cylinders}))
    taken = "as stated" if wanted.seal_diameter is not None else "the widest seal round each bore"
    yield f"The gas acts on a diameter of {across} mm, {taken}."
    yield _backed("How fasteners are shared among cylinders", SHARING_SOURCE)

"""Whether the laws of a gasket file fit together and to its seals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from firedeck.definition.closure import (
    BeadLaw,
    CoatingLaw,
    LawEntry,
    LawOfTable,
    LawParts,
    RingLaw,
    StopperLaw,
)
from firedeck.definition.deck import Seal, SealKind
from firedeck.definition.plan_finding import PlanFinding

__all__ = ["check_laws", "law_height", "laws_of_seals"]


def check_laws(laws: Sequence[LawEntry], seals: Sequence[Seal] | None = None) -> tuple[PlanFinding, ...]:
    """Return everything in which the laws do not fit each other, or the seals.

    Parameters
    ----------
    laws : sequence of LawEntry
        Laws of one gasket file.
    seals : sequence of Seal, optional
        Seals of the gasket; without them the seals that laws name are not looked for.
    """
    found = [*_same_names(laws), *_wrong_parts(laws), *_claimed_twice(laws), *_idle(laws)]
    if seals is not None:
        found += _unknown_seals(laws, seals)
    return tuple(found)


def _same_names(laws: Sequence[LawEntry]) -> Iterator[PlanFinding]:
    names = [law.name for law in laws]
    for place, name in enumerate(names, start=1):
        if name in names[: place - 1]:
            yield _fault(place, "name", f"two laws are called {name!r}", "name each law differently")


def _wrong_parts(laws: Sequence[LawEntry]) -> Iterator[PlanFinding]:
    known = {law.name: law for law in laws}
    for place, law in enumerate(laws, start=1):
        if not isinstance(law, LawParts):
            continue
        for part in law.of:
            if part not in known:
                names = ", ".join(name for name in known if name != law.name)
                yield _fault(
                    place, "of", f"there is no law called {part!r}", f"name laws of this file: {names}"
                )
        if _reaches(law.name, law, known, ()):
            yield _fault(place, "of", f"{law.name!r} is a part of itself", "name other laws")


def _reaches(wanted: str, law: LawEntry, known: Mapping[str, LawEntry], seen: tuple[str, ...]) -> bool:
    parts = law.of if isinstance(law, LawParts) and law.name not in seen else ()
    return any(
        part == wanted or (part in known and _reaches(wanted, known[part], known, (*seen, law.name)))
        for part in parts
    )


def _claimed_twice(laws: Sequence[LawEntry]) -> Iterator[PlanFinding]:
    owner: dict[str, str] = {}
    for place, law in enumerate(laws, start=1):
        for seal in law.seals:
            if seal in owner:
                message = f"{seal!r} presses by {owner[seal]!r} already"
                yield _fault(place, "seals", message, "name each seal or kind in one law")
            owner.setdefault(seal, law.name)


def _idle(laws: Sequence[LawEntry]) -> Iterator[PlanFinding]:
    parts = {part for law in laws if isinstance(law, LawParts) for part in law.of}
    for place, law in enumerate(laws, start=1):
        if not law.seals and law.name not in parts:
            remedy = "add seals with the names or kinds of the seals that press by it"
            yield PlanFinding("doubt", f"law[{place}]", f"no seal presses by {law.name!r}", remedy)


def _unknown_seals(laws: Sequence[LawEntry], seals: Sequence[Seal]) -> Iterator[PlanFinding]:
    names, kinds = {seal.name for seal in seals}, {str(kind) for kind in SealKind}
    for place, law in enumerate(laws, start=1):
        for wanted in law.seals:
            if wanted not in names | kinds:
                remedy = f"use the names of seals, or a kind: {', '.join(sorted(kinds))}"
                yield _fault(place, "seals", f"there is no seal called {wanted!r}", remedy)


def _fault(place: int, key: str, message: str, remedy: str) -> PlanFinding:
    return PlanFinding("fault", f"law[{place}].{key}", message, remedy)


def laws_of_seals(laws: Sequence[LawEntry], seals: Sequence[Seal]) -> dict[str, LawEntry]:
    """Return the law of every seal that has one; a seal's own name goes before its kind.

    Parameters
    ----------
    laws : sequence of LawEntry
        Laws of one gasket file.
    seals : sequence of Seal
        Seals of the gasket.
    """
    named = {wanted: law for law in laws for wanted in law.seals}
    found = {seal.name: named.get(seal.name) or named.get(str(seal.kind)) for seal in seals}
    return {name: law for name, law in found.items() if law is not None}


def law_height(law: LawEntry, laws: Sequence[LawEntry]) -> float:
    """Return how far what presses by a law stands above the flat gasket, free [mm].

    Parameters
    ----------
    law : LawEntry
        The law.
    laws : sequence of LawEntry
        All laws of its file, among them the parts that it names.
    """
    if isinstance(law, BeadLaw):
        return law.layers * law.height
    if isinstance(law, RingLaw):
        return law.wire - law.groove
    if isinstance(law, StopperLaw):
        return law.excess
    if isinstance(law, LawOfTable):
        return law.height
    if isinstance(law, CoatingLaw):
        return 0.0  # it lies everywhere, so it lifts nothing above the rest
    heights = [law_height(one, laws) for one in laws if one.name in law.of]
    return sum(heights) if law.kind == "series" else max(heights)

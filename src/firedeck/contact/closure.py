"""Closure laws of a gasket as its file states them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from firedeck.contact.bead import Bead, bead_law
from firedeck.contact.law import ClosureLaw, law_from_rows
from firedeck.contact.layers import coating_law, series_law, side_by_side, stopper_law
from firedeck.contact.ring import ring_law
from firedeck.definition.closure import (
    BeadLaw,
    CoatingLaw,
    LawEntry,
    LawOfTable,
    LawParts,
    Relaxation,
    RingLaw,
    StopperLaw,
)
from firedeck.definition.closure_checks import check_laws, law_height, laws_of_seals
from firedeck.definition.deck import Seal
from firedeck.definition.gasket import Gasket
from firedeck.errors import FiredeckError

__all__ = ["bead_of", "closure_gaps", "closure_laws", "named_laws", "relaxations"]


@dataclass(frozen=True)
class _Workshop:
    """Laws of one file on their way from words to tables; each is made once."""

    entries: Mapping[str, LawEntry]
    tables: Mapping[str, str]
    made: dict[str, ClosureLaw]

    def law(self, name: str) -> ClosureLaw:
        if name not in self.made:
            entry = self.entries[name]
            try:
                self.made[name] = _with_doubt(_MAKERS[type(entry)](self, entry), entry)
            except FiredeckError as fault:
                place = list(self.entries).index(name) + 1
                key = f"law[{place}]" + (".table" if isinstance(entry, LawOfTable) else "")
                raise FiredeckError(fault.message, where=fault.where or key, remedy=fault.remedy) from fault
        return self.made[name]


def _with_doubt(law: ClosureLaw, entry: LawEntry) -> ClosureLaw:
    """Return a law with the spread that its entry states, or that of its parts where that is wider."""
    stated = "spread" in entry.model_fields_set or not isinstance(entry, LawParts)
    return replace(law, spread=entry.spread) if stated else law


def _of_table(shop: _Workshop, entry: LawOfTable) -> ClosureLaw:
    if entry.table not in shop.tables:
        raise FiredeckError(f"the table {entry.table!r} was not read", remedy="put it beside the gasket file")
    law = law_from_rows(shop.tables[entry.table], entry.name, width=entry.width, spread=entry.spread)
    return replace(law, source=entry.source) if "source" in entry.model_fields_set else law


def _of_bead(_: _Workshop, entry: BeadLaw) -> ClosureLaw:
    law = bead_law(entry.name, bead_of(entry))
    return series_law(entry.name, [law] * entry.layers) if entry.layers > 1 else law


def bead_of(entry: BeadLaw) -> Bead:
    """Return one of the beads that an entry describes."""
    material = entry.material
    return Bead(
        thickness=entry.thickness,
        height=entry.height,
        span=entry.span,
        radius=entry.radius or entry.largest_radius,
        flange=entry.flange,
        modulus=entry.modulus or material.modulus.at(20.0),
        poisson=material.poisson,
        yield_strength=entry.yield_strength or material.needed("yield_strength"),
        hardening=entry.hardening,
        arch=entry.kind == "full-bead",
        held=entry.feet == "held",
    )


def _of_ring(_: _Workshop, entry: RingLaw) -> ClosureLaw:
    return ring_law(entry.name, entry.wire, entry.modulus, entry.poisson, entry.yield_strength)


def _of_stopper(_: _Workshop, entry: StopperLaw) -> ClosureLaw:
    return stopper_law(entry.name, entry.width, entry.thickness, entry.modulus, entry.poisson)


def _of_coating(_: _Workshop, entry: CoatingLaw) -> ClosureLaw:
    return coating_law(entry.name, entry.thickness, entry.modulus, entry.limit, entry.width)


def _of_parts(shop: _Workshop, entry: LawParts) -> ClosureLaw:
    parts = [shop.law(name) for name in entry.of]
    if entry.kind == "series":
        return series_law(entry.name, parts)
    everything = tuple(shop.entries.values())
    heights = [law_height(shop.entries[name], everything) for name in entry.of]
    return side_by_side(entry.name, parts, [max(heights) - height for height in heights])


_MAKERS: dict[type, Callable[[_Workshop, Any], ClosureLaw]] = {
    LawOfTable: _of_table,
    BeadLaw: _of_bead,
    RingLaw: _of_ring,
    StopperLaw: _of_stopper,
    CoatingLaw: _of_coating,
    LawParts: _of_parts,
}


def named_laws(gasket: Gasket, tables: Mapping[str, str]) -> dict[str, ClosureLaw]:
    """Return every law of a gasket file by its own name.

    Parameters
    ----------
    gasket : Gasket
        The gasket.
    tables : mapping of str to str
        Text of every table that its laws name, by the name that stands in the file.

    Returns
    -------
    dict of str to ClosureLaw
        The laws, in the file's order.

    Raises
    ------
    FiredeckError
        If the laws do not fit together, or one cannot be made; `where` is its place in the file.
    """
    faults = [found for found in check_laws(gasket.laws) if found.severity == "fault"]
    if faults:
        raise FiredeckError(faults[0].message, where=faults[0].key, remedy=faults[0].remedy)
    shop = _Workshop({law.name: law for law in gasket.laws}, tables, {})
    return {law.name: shop.law(law.name) for law in gasket.laws}


def closure_laws(
    gasket: Gasket, tables: Mapping[str, str], seals: Sequence[Seal] | None = None
) -> dict[str, ClosureLaw]:
    """Return the closure law of every seal that has one.

    Parameters
    ----------
    gasket : Gasket
        The gasket.
    tables : mapping of str to str
        Text of every table that its laws name, by the name that stands in the file.
    seals : sequence of Seal, optional
        The seals that count, those of the deck plan with the gasket on it; the gasket's own
        unless given.

    Returns
    -------
    dict of str to ClosureLaw
        Name of the seal -> its law; seals without a law are left out.

    Raises
    ------
    FiredeckError
        As `named_laws`.
    """
    made = named_laws(gasket, tables)
    return {name: made[law.name] for name, law in _owners(gasket, seals).items()}


def closure_gaps(gasket: Gasket, seals: Sequence[Seal] | None = None) -> dict[str, float]:
    """Return the closure of the joint at which every seal with a law touches [mm].

    The highest touches first, at 0; a law that states its gap keeps it.

    Parameters
    ----------
    gasket : Gasket
        The gasket, its laws fitting together.
    seals : sequence of Seal, optional
        As for `closure_laws`.
    """
    owners = _owners(gasket, seals)
    heights = {name: law_height(law, gasket.laws) for name, law in owners.items() if law.gap is None}
    top = max(heights.values(), default=0.0)
    return {name: top - heights[name] if law.gap is None else law.gap for name, law in owners.items()}


def relaxations(gasket: Gasket, seals: Sequence[Seal] | None = None) -> dict[str, Relaxation]:
    """Return what every seal's law states about its load in time, where it does.

    Parameters
    ----------
    gasket : Gasket
        The gasket.
    seals : sequence of Seal, optional
        As for `closure_laws`.
    """
    owners = _owners(gasket, seals)
    return {name: law.relaxation for name, law in owners.items() if law.relaxation is not None}


def _owners(gasket: Gasket, seals: Sequence[Seal] | None) -> dict[str, LawEntry]:
    return laws_of_seals(gasket.laws, gasket.seals if seals is None else seals)

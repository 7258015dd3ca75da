"""When a seal holds: required pressures, limits of load and evenness, each with its source."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from firedeck.definition.deck import SealKind
from firedeck.definition.quantities import Definition, Fraction, Length, LineLoad, Pressure
from firedeck.evidence import Basis

__all__ = ["Criteria", "MediumRule", "SealRule", "default_criteria"]


class MediumRule(Definition):
    """Fluid pressure [MPa] that a medium's seals must hold."""

    medium: str = Field(description="bore, coolant, oil-feed, oil-return, other, or a medium's own name")
    pressure: Pressure = Field(ge=0)
    basis: Basis
    source: str = ""


class SealRule(Definition):
    """Limits for one kind of seal, judged on a cold print."""

    seal: SealKind
    line_load_min: LineLoad = Field(gt=0, description="least line load of any sector")
    evenness_min: Fraction = Field(ge=0, le=1, description="least sector over mean")
    gap_max: Length = Field(ge=0, description="longest stretch below the line load minimum")
    saturated_max: Fraction = Field(
        ge=0, le=1, description="share of saturated length beyond which no mean is given"
    )
    basis: Basis
    source: str = ""


class Criteria(Definition):
    """Everything a verdict is measured against.

    `contact_factor` is the contact pressure needed over a full crossing, as a multiple of the
    fluid pressure; `margin` the relative reserve below which a seal that holds is called marginal.
    """

    kind: Literal["criteria"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    contact_factor: float = Field(gt=0)
    contact_basis: Basis
    contact_source: str = ""
    margin: Fraction = Field(ge=0)
    media: tuple[MediumRule, ...] = Field(alias="medium", min_length=1)
    seals: tuple[SealRule, ...] = Field(alias="seal", min_length=1)

    def seal_rule(self, kind: SealKind) -> SealRule | None:
        """Return the limits for a kind of seal, or None."""
        return next((rule for rule in self.seals if rule.seal == kind), None)

    def medium_rule(self, name: str, kind: str) -> MediumRule | None:
        """Return the required pressure for a medium: by its own name first, then by its kind."""
        by_name = {rule.medium: rule for rule in self.media}
        return by_name.get(name) or by_name.get(kind)


def default_criteria() -> Criteria:
    """Return trade-practice limits; every one is marked as common practice without a source."""
    practice = {"basis": Basis.COMMON_PRACTICE}
    limits = {"evenness_min": 0.6, "gap_max": "2 mm", "saturated_max": 0.2, **practice}
    seals = [("ring", "60 N/mm"), ("full-bead", "60 N/mm"), ("half-bead", "10 N/mm"), ("land", "5 N/mm")]
    media = [
        ("bore", "12 MPa"), ("coolant", "0.15 MPa"), ("oil-feed", "0.7 MPa"),
        ("oil-return", "0.05 MPa"), ("other", "0 MPa"),
    ]  # fmt: skip
    return Criteria.model_validate(
        {
            "kind": "criteria",
            "name": "trade practice",
            "contact_factor": 1.5,
            "contact_basis": Basis.COMMON_PRACTICE,
            "margin": 0.2,
            "medium": [{"medium": name, "pressure": value, **practice} for name, value in media],
            "seal": [{"seal": name, "line_load_min": value, **limits} for name, value in seals],
        }
    )

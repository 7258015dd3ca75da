"""A gasket: one design of layers and seals that fits a joint."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from firedeck.definition.closure import LawEntry
from firedeck.definition.deck import DeckPlan, Seal
from firedeck.definition.quantities import Definition, Length

__all__ = ["Gasket", "Layer", "plan_with_gasket"]


class Layer(Definition):
    """One layer, head side first; thickness [mm]."""

    name: str
    material: str
    thickness: Length = Field(gt=0)


class Gasket(Definition):
    """Layers and seals of one gasket design.

    `seals` given here replace those of the deck plan: a candidate may carry other lines than
    the factory part. `laws` say how seals answer to closure; of the deck plan's seals too, where
    the gasket brings none.
    """

    kind: Literal["gasket"]
    format: Literal[1] = 1
    name: str = Field(min_length=1)
    role: Literal["factory", "candidate"]
    revision: str = ""
    note: str = ""
    layers: tuple[Layer, ...] = Field(default=(), alias="layer")
    seals: tuple[Seal, ...] = Field(default=(), alias="seal")
    laws: tuple[LawEntry, ...] = Field(default=(), alias="law")

    @property
    def thickness(self) -> float:
        """Free thickness of all layers together [mm], beads not counted."""
        return sum(layer.thickness for layer in self.layers)


def plan_with_gasket(plan: DeckPlan, gasket: Gasket | None) -> DeckPlan:
    """Return the plan carrying the gasket's own seals, where it has any."""
    if gasket is None or not gasket.seals:
        return plan
    return plan.model_copy(update={"seals": gasket.seals})

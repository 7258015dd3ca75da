"""Head and block of a prediction: sizes of generic castings, or a volume mesh."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firedeck.definition.material import MaterialText
from firedeck.definition.quantities import Definition, Fraction, Length

__all__ = ["BlockBody", "HeadBody"]

#: Sizes outside these are slips of a unit, not castings [mm].
Wall = Annotated[Length, Field(ge=1.5, le=60.0)]
Height = Annotated[Length, Field(ge=1.5, le=250.0)]


class BodyFromMesh(Definition):
    """A body taken from a volume mesh, in the deck plan's x and y with z upright, if one is named.

    Attributes
    ----------
    mesh : str
        File of a volume mesh of bricks or tetrahedra, instead of sizes; empty for a generic body.
    mesh_unit : str, optional
        Unit of the mesh's coordinates: mm, cm, m or in.
    deck_at : float
        Height of the sealing plane in the mesh [mm].
    deck_tolerance : float
        How far a node may lie from the sealing plane and still be in it [mm].
    """

    mesh: str = Field(default="", description="volume mesh file")
    mesh_unit: Literal["mm", "cm", "m", "in"] | None = None
    deck_at: Length = Field(default=0.0, ge=-5000.0, le=5000.0)
    deck_tolerance: Length = Field(default=0.05, gt=0.0, le=1.0)

    @model_validator(mode="after")
    def _mesh_or_sizes(self) -> Self:
        of_mesh = {"mesh_unit", "deck_at", "deck_tolerance"}
        given = {name for name in self.model_fields_set if getattr(self, name) is not None}
        if not self.mesh and given & of_mesh:
            raise ValueError(f"{min(given & of_mesh)} is said of a mesh, and none is named|name it as mesh")
        if not self.mesh:
            return self
        if self.mesh_unit is None:
            raise ValueError("the mesh's unit is not stated|add mesh_unit: mm, cm, m or in")
        sizes = given - {*of_mesh, "mesh", "material", "stiffness_spread", "thread_start"}
        if sizes:
            raise ValueError(
                f"sizes beside a mesh: {', '.join(sorted(sizes))}|leave them out, the mesh has its own"
            )
        return self


class HeadBody(BodyFromMesh):
    """Sizes of a generic head; what is not given is common practice, fitted to the fasteners' seats.

    Attributes
    ----------
    fire_deck, jacket, middle_deck, ports, upper_deck : float, optional
        Heights of the layers from the sealing plane up to the fasteners' seats [mm].
    rail : float, optional
        Height of the rails above; 0 leaves them out [mm].
    outer_wall, cross_wall, port_wall : float, optional
        Thickness of outer walls, of walls between cylinders and of the gas ports' walls [mm].
    boss : float, optional
        Material round each fastener hole [mm].
    material : Material, optional
        Material; that of the fastening's thickest part unless given.
    stiffness_spread : float
        Plus or minus at 95 % of the stiffness, for what generic sizes do not know [1].
    """

    fire_deck: Wall | None = None
    jacket: Height | None = None
    middle_deck: Wall | None = None
    ports: Height | None = None
    upper_deck: Wall | None = None
    rail: Annotated[Length, Field(ge=0.0, le=200.0)] | None = None
    outer_wall: Wall | None = None
    cross_wall: Wall | None = None
    port_wall: Wall | None = None
    boss: Wall | None = None
    material: MaterialText | None = None
    stiffness_spread: Fraction = Field(default=0.3, ge=0.0, lt=0.9)


class BlockBody(BodyFromMesh):
    """Sizes of a generic block; what is not given is common practice.

    Attributes
    ----------
    top_deck : float, optional
        Height of the closed deck; 0 makes an open deck [mm].
    jacket, lower_deck, skirt : float, optional
        Heights of the layers below [mm].
    liner, outer_wall, bulkhead : float, optional
        Thickness of cylinder walls, outer walls and main bearing walls [mm].
    boss : float, optional
        Material round each tapped hole [mm].
    thread_start : float
        Depth below the deck at which the fasteners' threads begin to hold [mm].
    material : Material, optional
        Material; that of the fastening's tapped hole unless given.
    stiffness_spread : float
        Plus or minus at 95 % of the stiffness, for what generic sizes do not know [1].
    """

    top_deck: Annotated[Length, Field(ge=0.0, le=60.0)] | None = None
    jacket: Height | None = None
    lower_deck: Wall | None = None
    skirt: Height | None = None
    liner: Wall | None = None
    outer_wall: Wall | None = None
    bulkhead: Wall | None = None
    boss: Wall | None = None
    thread_start: Length = Field(default=2.0, ge=0.0, le=150.0)
    material: MaterialText | None = None
    stiffness_spread: Fraction = Field(default=0.3, ge=0.0, lt=0.9)

"""A head or block as a layered section: a stack of extrusions away from the sealing plane."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import shapely
from shapely.geometry.base import BaseGeometry

from firedeck.definition.material import Material
from firedeck.errors import FiredeckError

__all__ = ["BodySection", "SectionLayer"]


@dataclass(frozen=True)
class SectionLayer:
    """One extrusion.

    Attributes
    ----------
    name : str
        Name of the layer.
    thickness : float
        Height of the extrusion [mm].
    plan : shapely geometry
        Where there is material, in deck coordinates [mm].
    elements : int
        Layers of elements over its height [1].
    """

    name: str
    thickness: float
    plan: BaseGeometry
    elements: int = 1

    def __post_init__(self) -> None:
        if self.thickness <= 0.0 or self.elements < 1:
            raise FiredeckError(
                f"layer {self.name!r} has a thickness of {self.thickness:.4g} mm in {self.elements} elements",
                remedy="give a thickness above zero and at least one element",
            )
        if self.plan.is_empty:
            raise FiredeckError(
                f"layer {self.name!r} has no material in plan", remedy="check the sizes of walls and openings"
            )


@dataclass(frozen=True)
class BodySection:
    """A body, layer by layer from the sealing plane outward.

    Attributes
    ----------
    side : str
        ``head`` goes up from the sealing plane, ``block`` down [text].
    layers : tuple of SectionLayer
        From the sealing plane outward [mm].
    material : Material
        One material for the whole body.
    temperature : float
        Temperature at which its modulus is taken [degC].
    stiffness_spread : float
        Plus or minus at 95 % of the body's stiffness, for what the section does not know [1].
    support : shapely geometry or None
        Where a block is held at its bottom; None means all of it [mm].
    assumptions : tuple of str
        What was taken for granted, in words [text].
    """

    side: Literal["head", "block"]
    layers: tuple[SectionLayer, ...]
    material: Material
    temperature: float = 20.0
    stiffness_spread: float = 0.3
    support: BaseGeometry | None = None
    assumptions: tuple[str, ...] = field(default=())

    @property
    def modulus(self) -> float:
        """Young's modulus [MPa]."""
        return self.material.modulus.at(self.temperature)

    @property
    def planes(self) -> tuple[float, ...]:
        """Heights of the planes between elements, rising [mm]."""
        at = [0.0]
        for layer in self.layers:
            step = layer.thickness / layer.elements
            at += [at[-1] + step * (k + 1) for k in range(layer.elements)]
        return tuple(at) if self.side == "head" else tuple(-z for z in reversed(at))

    def height_above(self, name: str) -> float:
        """Return how far the layer's outer face is from the sealing plane [mm].

        Raises
        ------
        FiredeckError
            If the section has no such layer.
        """
        total = 0.0
        for layer in self.layers:
            total += layer.thickness
            if layer.name == name:
                return total
        raise FiredeckError(
            f"the {self.side} has no layer called {name!r}",
            remedy="use one of " + ", ".join(layer.name for layer in self.layers),
        )


def union(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return all shapes together."""
    return shapely.union_all(list(shapes))

"""Preload of a joint whose fastener and parts grow differently when hot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firedeck.definition.fastener import ClampedPart, Fastener
from firedeck.errors import FiredeckError
from firedeck.kernel.bolt import thermal_preload
from firedeck.loading.compliance import ClampedStack, fastener_compliance

__all__ = ["HotPreload", "Warmth", "hot_preload", "thermal_misfit"]


@dataclass(frozen=True)
class Warmth:
    """Temperatures of a state [degC].

    Attributes
    ----------
    fastener : float
        Mean temperature of the fastener over its grip.
    parts : tuple of float
        Mean temperature of each clamped part under the fastener, in order.
    """

    fastener: float
    parts: tuple[float, ...]


@dataclass(frozen=True)
class HotPreload:
    """Preload in a hot state.

    Attributes
    ----------
    preload : float
        Preload [N].
    misfit : float
        Free growth of the parts less that of the fastener [mm].
    softening : float
        Hot over cold compliance of fastener and joint [1].
    """

    preload: float
    misfit: float
    softening: float


def thermal_misfit(fastener: Fastener, parts: Sequence[ClampedPart], warmth: Warmth) -> float:
    """Return the free growth of the parts less that of the fastener, from 20 degC [mm].

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    parts : sequence of ClampedPart
        What it clamps, washer and gasket included, from the bearing face down.
    warmth : Warmth
        Temperatures.

    Raises
    ------
    FiredeckError
        If temperatures or thicknesses do not fit the parts and the grip.
    """
    if len(warmth.parts) != len(parts):
        raise FiredeckError(
            f"{len(parts)} clamped parts have {len(warmth.parts)} temperatures",
            remedy="give one temperature for each clamped part, in order",
        )
    stack = sum(part.thickness for part in parts)
    if abs(stack - fastener.grip) > 0.01 * fastener.grip:
        raise FiredeckError(
            f"the clamped parts are {stack:.4g} mm thick, "
            f"but {fastener.name} has a grip of {fastener.grip:.4g} mm",
            remedy="make the segments of the fastener and the thicknesses of the parts add up to the same",
        )
    growth = sum(
        part.thickness * part.material.free_strain(warm)
        for part, warm in zip(parts, warmth.parts, strict=True)
    )
    return growth - fastener.grip * fastener.material.free_strain(warmth.fastener)


def hot_preload(
    fastener: Fastener,
    stack: ClampedStack,
    warmth: Warmth,
    preload: float,
    *,
    other_compliance: float = 0.0,
) -> HotPreload:
    """Return the preload in a hot state from the preload at 20 degC.

    Parameters
    ----------
    fastener : Fastener
        The fastener.
    stack : ClampedStack
        What it clamps.
    warmth : Warmth
        Temperatures of the state.
    preload : float
        Preload at 20 degC [N].
    other_compliance : float
        Give that heat does not change, such as the gasket's [mm/N].
    """
    cold = fastener_compliance(fastener) + stack.compliance() + other_compliance
    misfit = thermal_misfit(fastener, stack.parts, warmth)
    hot = fastener_compliance(fastener, warmth.fastener) + stack.compliance(warmth.parts) + other_compliance
    return HotPreload(float(thermal_preload(preload, cold, hot, misfit)), misfit, hot / cold)

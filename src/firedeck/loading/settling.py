"""What a tightened joint loses before it runs: embedding and relaxation."""

from __future__ import annotations

from dataclasses import dataclass

from firedeck.definition.tightening import Settling
from firedeck.evidence import Estimate

__all__ = ["SettledPreload", "settle"]

#: Embedding is known to about half of itself; the guide values are single figures (common practice).
_EMBEDDING_SPREAD = 0.5


@dataclass(frozen=True)
class SettledPreload:
    """Preload left after settling.

    Attributes
    ----------
    preload : Estimate
        Preload left [N].
    embedding_loss, relaxation_loss : float
        Typical losses [N].
    """

    preload: Estimate
    embedding_loss: float
    relaxation_loss: float


def settle(preload: Estimate, settling: Settling, compliance: float) -> SettledPreload:
    """Take embedding and relaxation off a preload; never below zero.

    The loss by embedding is the flattening over the sum of compliances: stiff, short joints
    lose more.

    Parameters
    ----------
    preload : Estimate
        Preload as tightened [N].
    settling : Settling
        Roughness, interfaces and relaxation.
    compliance : float
        Compliance of fastener and joint together [mm/N].
    """
    flattening = settling.flattening / compliance
    least, most = settling.relaxation_range
    left = (
        preload.value * (1.0 - settling.relaxation) - flattening,
        preload.low * (1.0 - most) - flattening * (1.0 + _EMBEDDING_SPREAD),
        preload.high * (1.0 - least) - flattening * (1.0 - _EMBEDDING_SPREAD),
    )
    value, low, high = (max(force, 0.0) for force in left)
    return SettledPreload(
        Estimate(value, low, high, preload.flags), flattening, settling.relaxation * preload.value
    )

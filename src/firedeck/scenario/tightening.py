"""Tightening in stages: what each fastener pulls after every step, and so what each place saw at most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firedeck.scenario.compiled import FloatArray

__all__ = ["Tightening"]


@dataclass(frozen=True)
class Tightening:
    """Stages of the tightening and how fasteners disturb each other.

    Attributes
    ----------
    stages : tuple of float
        Share of the target preload at each stage [1].
    overshoot : float
        Share by which a fastener just tightened exceeds its stage before its neighbours follow [1].
    loss : float
        Share that the nearest neighbours lose when a fastener is tightened by its full preload [1].
    settling : float
        Share that all lose while the joint settles [1].
    scatter : float
        Relative standard deviation of the preloads [1].
    reach : float
        Distance over which a fastener's pull is felt on the deck [mm].
    seed : int
        Same seed, same scatter.
    """

    stages: tuple[float, ...] = (0.4, 0.7, 1.0)
    overshoot: float = 0.03
    loss: float = 0.04
    settling: float = 0.02
    scatter: float = 0.02
    reach: float = 45.0
    seed: int = 0

    def history(self, centres: FloatArray) -> FloatArray:
        """Return the pull of every fastener after every step, as a share of the target, shape (steps, n).

        Fasteners are tightened from the middle outwards at each stage; the last row is the settled joint.
        """
        count = len(centres)
        order = np.argsort(np.hypot(*(centres - centres.mean(axis=0)).T), kind="stable")
        away = np.hypot(*(centres[:, None, :] - centres[None, :, :]).transpose(2, 0, 1))
        coupling = self.loss * np.exp(-0.5 * (away / (2 * self.reach)) ** 2)
        target = 1 + self.scatter * np.random.default_rng(self.seed).standard_normal(count)
        pull = np.zeros(count)
        rows = []
        for stage in self.stages:
            for number in order:
                gain = stage * target[number] - pull[number]
                pull = np.maximum(pull - coupling[number] * gain, 0.0)
                pull[number] = stage * target[number]
                rows.append(pull * np.where(np.arange(count) == number, 1 + self.overshoot, 1.0))
        return np.array([*rows, pull * (1 - self.settling)])

    def factors(self, centres: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return by how much the pressure at points [mm] exceeds its design: at most, and at the end.

        A place follows the fasteners round it, the nearer the more.
        """
        if len(centres) == 0:
            return np.ones(len(points)), np.full(len(points), 1 - self.settling)
        away = np.hypot(*(points[:, None, :] - centres[None, :, :]).transpose(2, 0, 1))
        weight = np.exp(-0.5 * (away / self.reach) ** 2) + 1e-9
        seen = self.history(centres) @ (weight / weight.sum(axis=1, keepdims=True)).T
        return seen.max(axis=0), seen[-1]

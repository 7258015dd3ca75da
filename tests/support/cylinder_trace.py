"""Invented cylinder pressures whose truth is known, from an integration that shares no code with firedeck."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

BORE, STROKE, ROD, RATIO = 86.0, 86.0, 143.0, 9.5
CLOSES, OPENS = -130.0, 130.0
FINE = 0.25


@dataclass(frozen=True)
class Truth:
    """Cycles before anything went wrong with them.

    `angle` [deg after firing top dead centre] runs over one cycle; `pressure` [MPa] has one row a cycle.
    """

    angle: np.ndarray
    pressure: np.ndarray
    speed: float
    manifold: float

    @property
    def peaks(self):
        return self.pressure.max(axis=1)

    @property
    def peak_angles(self):
        return self.angle[self.pressure.argmax(axis=1)]


def volume(angle):
    """Gas volume [mm^3]."""
    turn = np.radians(angle)
    radius = STROKE / 2
    pin = radius * np.cos(turn) + np.sqrt(ROD**2 - (radius * np.sin(turn)) ** 2)
    area = math.pi / 4 * BORE**2
    return area * (STROKE / (RATIO - 1) + radius + ROD - pin)


def cycles(count, *, speed=5000.0, manifold=0.22, heat=2.4e6, fired=True, gamma=1.33, cooling=1.0, seed=1):
    """Integrate `count` cycles with scatter in burning; `heat` [N*mm] is set free in each."""
    random = np.random.default_rng(seed)
    start = -22.0 + 2.0 * random.standard_normal(count)
    length = 55.0 * (1.0 + 0.05 * random.standard_normal(count))
    energy = heat * (1.0 + 0.01 * random.standard_normal(count)) * fired
    angle = np.arange(-360.0, 360.0 - FINE / 2, FINE)
    pressure = np.empty((count, angle.size))
    closed = np.flatnonzero((angle >= CLOSES) & (angle <= OPENS + FINE))
    p = np.full(count, manifold)
    reference = 350.0 / (manifold * volume(CLOSES))

    def slope(at, p):
        v = volume(at)
        grow = (volume(at + 0.01) - volume(at - 0.01)) / 0.02
        y = np.clip((at - start) / length, 0.0, None)
        burn = energy * 3 * 6.9 * y**2 * np.exp(-6.9 * y**3) / length
        hot = p * v * reference
        # Hohenberg's coefficient, SAE 790825, form and factor from memory
        film = (
            130 * (v * 1e-9) ** -0.06 * (10 * p) ** 0.8 * hot**-0.4 * (2 * STROKE * speed / 6e4 + 1.4) ** 0.8
        )
        wall = math.pi / 2 * BORE**2 + 4 * v / BORE
        lost = cooling * film * 1e-3 * wall * (hot - 420.0) / (6 * speed)
        return ((gamma - 1) * (burn - lost) - gamma * p * grow) / v

    for k in closed:
        pressure[:, k] = p
        at = angle[k]
        a = slope(at, p)
        b = slope(at + FINE / 2, p + FINE / 2 * a)
        c = slope(at + FINE / 2, p + FINE / 2 * b)
        d = slope(at + FINE, p + FINE * c)
        p = p + FINE * (a + 2 * b + 2 * c + d) / 6
    pressure[:, angle < CLOSES] = manifold
    after = angle > OPENS
    fall = np.exp(-(angle[after] - OPENS) / 20.0)
    pressure[:, after] = manifold + (pressure[:, closed[-1]][:, None] - manifold) * fall
    early = angle < -180.0
    pressure[:, early] = manifold
    return Truth(angle, pressure, speed, manifold)


def record(truth, *, step=0.5, lead=0.0, offset=0.0, drift=0.0, noise=0.0, knock=0.0, seed=2):
    """Sample the cycles as a logger does: running angle [deg] and pressure [MPa].

    `lead` is how far the logger's angle is ahead of the crank [deg], `offset` and `drift` (per cycle)
    the sensor's zero [MPa], `noise` its standard deviation [MPa], `knock` the amplitude that a third
    of the cycles ring with [MPa].
    """
    random = np.random.default_rng(seed)
    count = truth.pressure.shape[0]
    running = (truth.angle[None, :] + 720.0 * np.arange(count)[:, None]).ravel()
    whole = truth.pressure + offset + drift * np.arange(count)[:, None]
    rings = np.zeros(count, dtype=bool)
    if knock:
        rings[random.permutation(count)[: count // 3]] = True
        frequency = 1.8412 * 950e3 / (math.pi * BORE)
        since = np.clip(truth.angle - 18.0, 0.0, None) / (6 * truth.speed)
        wave = np.exp(-since / 4e-4) * np.sin(2 * math.pi * frequency * since)
        whole = whole + knock * rings[:, None] * wave[None, :]
    sampled = np.arange(running[0], running[-1], step)
    pressure = np.interp(sampled, running, whole.ravel()) + noise * random.standard_normal(sampled.size)
    return sampled + lead, pressure, rings

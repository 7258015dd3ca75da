"""Cylinder pressure of the invented engine as a logger wrote it: volts in unnamed columns.

The cycles come from an integration of its own, over gas of two constant specific heats; nothing of it
is shared with what reads traces or models cycles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from numpy.typing import NDArray

__all__ = ["TraceTruth", "duty_files", "make_traces", "write_trace"]

Floats = NDArray[np.float64]

_BORE, _STROKE, _ROD, _RATIO = 86.0, 86.0, 143.0, 9.0  # [mm], [1]
_CLOSES, _OPENS = -125.0, 128.0  # valve events [deg after firing top dead centre]
_SPEED = 6500.0  # [1/min]
_MANIFOLD = 0.262  # absolute [MPa]
_BACK = 0.29  # exhaust, absolute [MPa]
_STEP = 1.0  # of the logger [deg]
_MARK = 3.4  # angle that the logger gives firing top dead centre [deg]
_GAIN, _ZERO = 2.5, 0.43  # [MPa/V], [V]
_NOISE = 0.004  # [V]


@dataclass(frozen=True)
class TraceTruth:
    """What is true of a generated trace.

    Attributes
    ----------
    peaks : ndarray
        Peak pressure of each cycle without ringing [MPa], shape (c,).
    top_dead_centre : float
        Angle that the file gives firing top dead centre [deg].
    speed : float
        Engine speed [1/min].
    knocking : ndarray
        Which cycles ring, shape (c,).
    indicated : ndarray
        Work of compression and expansion over swept volume of each cycle [MPa], shape (c,).
    """

    peaks: Floats
    top_dead_centre: float
    speed: float
    knocking: NDArray[np.bool_]
    indicated: Floats


def _volume(angle: Floats | float) -> Floats:
    turn = np.radians(angle)
    crank = _STROKE / 2
    pin = crank * np.cos(turn) + np.sqrt(_ROD**2 - (crank * np.sin(turn)) ** 2)
    return np.asarray(math.pi / 4 * _BORE**2 * (_STROKE / (_RATIO - 1) + crank + _ROD - pin))


def _cycles(count: int, heat: float, rng: np.random.Generator, angle: Floats) -> Floats:
    """Absolute pressure [MPa] of each cycle at rising angles; shape (count, n)."""
    start = -13.0 + 1.5 * rng.standard_normal(count)
    length = 62.0 * (1.0 + 0.05 * rng.standard_normal(count))
    energy = heat * (1.0 + 0.012 * rng.standard_normal(count))
    pressure = np.full((count, angle.size), _MANIFOLD)
    p = np.full(count, _MANIFOLD)
    heat_scale = 345.0 / (_MANIFOLD * _volume(_CLOSES))
    cold = 1.35 if heat > 0.0 else 1.39  # fuel vapour in the charge, or air alone

    def slope(at: float, p: Floats) -> Floats:
        v, grow = _volume(at), (_volume(at + 0.01) - _volume(at - 0.01)) / 0.02
        y = np.clip((at - start) / length, 0.0, None)
        burn = energy * 2.8 * 6.0 * y**1.8 * np.exp(-6.0 * y**2.8) / length
        kelvin = p * v * heat_scale
        fresh = cold - 8e-5 * (np.minimum(kelvin, 1100.0) - 350.0)
        gamma = fresh + (1.25 - fresh) * (1.0 - np.exp(-6.0 * y**2.8)) * (heat > 0.0)
        wall = math.pi / 2 * _BORE**2 + 4 * v / _BORE
        lost = 1.3 * np.sqrt(p) * wall * (kelvin - 440.0) / (6 * _SPEED)
        return np.asarray(((gamma - 1) * (burn - lost) - gamma * p * grow) / v)

    for k in np.flatnonzero((angle >= _CLOSES) & (angle <= _OPENS)):
        pressure[:, k] = p
        h = angle[1] - angle[0]
        a = slope(angle[k], p)
        b = slope(angle[k] + h / 2, p + h / 2 * a)
        p = p + h * slope(angle[k] + h / 2, p + h / 2 * b)
    after = angle > _OPENS
    pressure[:, after] = _BACK + (p[:, None] - _BACK) * np.exp(-(angle[after] - _OPENS) / 16.0)
    pressure[:, angle < -180.0] = _MANIFOLD + (_BACK - _MANIFOLD) / (
        1.0 + np.exp((angle[angle < -180.0] + 350.0) / 5.0)
    )
    return pressure


def _ring(angle: Floats, loudness: Floats, rng: np.random.Generator) -> Floats:
    """Ringing after knock [MPa], its loudness by cycle; shape (c, n)."""
    onset = rng.uniform(17.0, 28.0, loudness.size)[:, None]
    since = np.clip(angle[None, :] - onset, 0.0, None) / (6 * _SPEED)
    wave = np.exp(-since / 5e-4) * np.sin(2 * math.pi * 6450.0 * since)
    return np.asarray(loudness[:, None] * wave * rng.choice([-1.0, 1.0], loudness.size)[:, None])


def write_trace(
    path: Path, *, cycles: int = 150, fired: bool = True, step: float = _STEP, seed: int = 5
) -> TraceTruth:
    """Write a trace of one cylinder and return what is true of it.

    Three columns without names, parted by tabs: crank angle in degrees starting over every
    cycle, the pressure sensor's volts, the manifold sensor's volts.

    Parameters
    ----------
    path : Path
        File to write.
    cycles : int
        Cycles.
    fired : bool
        Whether the charge burns.
    step : float
        Crank angle between samples [deg].
    seed : int
        Seed of all chance.
    """
    rng = np.random.default_rng(seed)
    fine = np.arange(-360.0, 360.0, 0.5)
    clean = _cycles(cycles, 3.0e6 if fired else 0.0, rng, fine)
    knocking = (rng.random(cycles) < 0.18) & fired
    loudness = np.where(knocking, rng.lognormal(math.log(0.55), 0.5, cycles), 0.0)
    whole = clean + _ring(fine, loudness, rng)
    running = (fine[None, :] + 720.0 * np.arange(cycles)[:, None]).ravel()
    at = np.arange(running[0], running[-1], step)
    drift = 0.02 * np.sin(at / 9000.0)
    volts = np.interp(at, running, whole.ravel()) / _GAIN + _ZERO + drift
    volts += _NOISE * rng.standard_normal(at.size)
    manifold = _MANIFOLD / 0.1 + 0.01 * rng.standard_normal(at.size)
    rows = np.column_stack([(at + _MARK) % 720.0, volts, manifold])
    np.savetxt(path, rows, fmt=["%.2f", "%.4f", "%.3f"], delimiter="\t")
    closed = np.abs(fine) <= 180.0
    work = np.asarray(np.trapezoid(clean[:, closed], _volume(fine[closed]), axis=1))
    return TraceTruth(clean.max(axis=1), _MARK, _SPEED, knocking, work / (math.pi / 4 * _BORE**2 * _STROKE))


_ENGINE: dict[str, Any] = {
    "bore": f"{_BORE:g} mm",
    "stroke": f"{_STROKE:g} mm",
    "rod": f"{_ROD:g} mm",
    "compression_ratio": _RATIO,
    "cylinders": 4,
    "firing_order": [1, 3, 4, 2],
    "valves": {"intake_closes": f"{180 + _CLOSES:g} deg", "exhaust_opens": f"{180 - _OPENS:g} deg"},
    "gasket_thickness": "1.0 mm",
    "gasket_bore": "87.5 mm",
    "deck_clearance": "0.05 mm",
}


_MAPPING: dict[str, Any] = {
    "kind": "trace-mapping",
    "delimiter": "tab",
    "decimal": ".",
    "base": "angle",
    "base_column": 1,
    "base_unit": "deg",
    "speed": f"{_SPEED:g} rpm",
    "reference_column": 3,
    "reference_unit": "bar",
    "pressure": [{"column": 2, "cylinder": 1, "unit": "V", "gain": f"{10 * _GAIN:g} bar"}],
}

_SOURCES: dict[str, dict[str, Any]] = {
    "trace": {
        "kind": "trace",
        "file": "cylinder-1.txt",
        "motored_file": "cylinder-1-motored.txt",
        "mapping_file": "trace-mapping.toml",
        "peg": "intake",
    },
    "model": {
        "kind": "model",
        "boost": "23.5 psi",
        "exhaust_pressure": f"{10 * _BACK:g} bar",
        "charge_temperature": "55 degC",
        "speed": f"{_SPEED:g} rpm",
        "air_ratio": 0.84,
        "burn_50": "17 deg",
        "burn_duration": "27 deg",
        "doubts": {
            "manifold_pressure": "0.05 bar",
            "charge_temperature": "10 K",
            "compression_ratio": 0.15,
            "air_ratio": 0.02,
            "burn_50": "2 deg",
            "burn_duration": "3 deg",
        },
    },
    "rule": {"kind": "rule", "power": "325 hp", "speed": f"{_SPEED:g} rpm"},
}

_WORDS = {"trace": "measured", "model": "cycle model", "rule": "rule of thumb"}


def duty_files() -> dict[str, dict[str, Any]]:
    """Return what the duty files of the invented engine hold, one from each source, by file name."""
    files = {"trace-mapping.toml": _MAPPING}
    for kind, source in _SOURCES.items():
        allowance = {} if kind == "trace" else {"knock_allowance": "15 bar"}
        name = f"Tarn T20 at full load, {_WORDS[kind]}"
        duty = {"kind": "duty", "name": name, "cycles": 100_000, **allowance}
        files[f"duty-{kind}.toml"] = {**duty, "engine": _ENGINE, "source": source}
    return files


def make_traces(folder: Path) -> TraceTruth:
    """Write the duty's files of the invented engine, fired and motored trace with them."""
    for name, tables in duty_files().items():
        (folder / name).write_text(tomlkit.dumps(tables), encoding="utf-8")
    write_trace(folder / "cylinder-1-motored.txt", cycles=30, fired=False, seed=6)
    return write_trace(folder / "cylinder-1.txt")

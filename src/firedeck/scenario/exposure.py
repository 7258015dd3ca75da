"""Inner loops of the scan: dye, grain, light, blur, noise and codes, on strips of rows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from firedeck.scenario.compiled import FloatArray, MapArray, MaskArray, compiled, uniform

__all__ = ["NODE_STEP", "add_dye", "add_rim", "burst_share", "codes_of_light", "cover_line", "light_of_sheet"]

#: Pixels from one node to the next of the fields that change slowly over a scan.
NODE_STEP = 32

_TO_UNIT = 1.0 / 2.0**53


@compiled
def burst_share(
    nodes: FloatArray, row0: int, felt: MapArray, frame: FloatArray, table: MapArray, top: float, parts: int,
    out: MapArray,
) -> None:  # fmt: skip
    """Fill a strip with the share of capsules burst by pressure.

    Parameters
    ----------
    nodes : ndarray, shape (2, node rows, node columns)
        Deck x and y [mm] at every `NODE_STEP`-th pixel.
    row0 : int
        Scan row that the strip begins with.
    felt : ndarray of float32
        Pressure on the film [MPa].
    frame : ndarray
        x0, y0 and pitch of that raster [mm].
    table : ndarray of float32
        Burst share at even steps of pressure from 0 to `top` [MPa].
    top : float
        See `table`.
    parts : int
        Samples to a pixel, each way.
    out : ndarray of float32, shape (rows, cols)
        Changed in place.
    """
    rows, cols = out.shape
    high, wide = felt.shape
    per_step = (len(table) - 1) / top
    for i in range(rows):
        for j in range(cols):
            total = 0.0
            for a in range(parts):
                for b in range(parts):
                    r = (row0 + i + (a + 0.5) / parts - 0.5) / NODE_STEP + 1.0
                    c = (j + (b + 0.5) / parts - 0.5) / NODE_STEP + 1.0
                    k, m = int(r), int(c)
                    u, v = r - k, c - m
                    w00, w01, w10, w11 = (1 - u) * (1 - v), (1 - u) * v, u * (1 - v), u * v
                    x = w00 * nodes[0, k, m] + w01 * nodes[0, k, m + 1]
                    x += w10 * nodes[0, k + 1, m] + w11 * nodes[0, k + 1, m + 1]
                    y = w00 * nodes[1, k, m] + w01 * nodes[1, k, m + 1]
                    y += w10 * nodes[1, k + 1, m] + w11 * nodes[1, k + 1, m + 1]
                    fx = (x - frame[0]) / frame[2] - 0.5
                    fy = (y - frame[1]) / frame[2] - 0.5
                    if fx < 0 or fy < 0 or fx >= wide - 1 or fy >= high - 1:
                        total += table[0]
                        continue
                    p, q = int(fy), int(fx)
                    fu, fv = fy - p, fx - q
                    low = felt[p, q] + fv * (felt[p, q + 1] - felt[p, q])
                    up = felt[p + 1, q] + fv * (felt[p + 1, q + 1] - felt[p + 1, q])
                    place = min((low + fu * (up - low)) * per_step, len(table) - 1.001)
                    t = int(place)
                    total += table[t] + (place - t) * (table[t + 1] - table[t])
            out[i, j] = total / (parts * parts)


@compiled
def add_dye(share: MapArray, across: MapArray, half: float, strength: float) -> None:
    """Burst more capsules near a line: `strength` of those left in its middle, none `half` cells away."""
    for i in range(share.shape[0]):
        for j in range(share.shape[1]):
            away = abs(across[i, j]) / half
            if away < 1.0:
                share[i, j] += (1.0 - share[i, j]) * strength * (1.0 - away * away)


@compiled
def add_rim(share: MapArray, across: MapArray, along: MapArray, width: MapArray, strength: float) -> None:
    """Burst capsules along cut edges; `width` is the rim's at every point of the edge [cells].

    `across` is positive outside of the sheet.
    """
    for i in range(share.shape[0]):
        for j in range(share.shape[1]):
            if -1e6 < across[i, j] < 0.5:
                rim = width[min(int(along[i, j]), len(width) - 1)]
                depth = 1.0 + min(across[i, j], 0.0) / rim if rim > 0 else 0.0
                if depth > 0:
                    share[i, j] += (1.0 - share[i, j]) * strength * depth


@compiled
def cover_line(light: MapArray, across: MapArray, half: float, opacity: float, colour: MapArray) -> None:
    """Lay something of a colour over the picture along a line, with an edge one cell soft."""
    for i in range(across.shape[0]):
        for j in range(across.shape[1]):
            cover = opacity * min(1.0, max(0.0, half + 0.5 - abs(across[i, j])))
            if cover > 0:
                for c in range(3):
                    light[c, i, j] += cover * (colour[c] - light[c, i, j])


@compiled
def light_of_sheet(
    share: MapArray, mask: MaskArray, across: MapArray, nodes: FloatArray, colours: MapArray, clumps: int,
    seed: np.uint64, row0: int, out: MapArray,
) -> None:  # fmt: skip
    """Turn a strip's burst share into light: grain of the clumps, edge of the sheet, backing, lamp and curl.

    Parameters
    ----------
    share : ndarray of float32, shape (rows, cols)
        Share of capsules burst.
    mask : ndarray of uint8
        Whether a pixel's centre lies on the sheet.
    across : ndarray of float32
        Distance from the nearest cut edge [pixels], positive outside; far from edges beyond 1e6.
    nodes : ndarray, shape (2, node rows, node columns)
        Light that arrives, and what the film's distance from the glass leaves of it [1].
    colours : ndarray of float32, shape (3, 3)
        Reflectance of undyed film, of dyed film and of the backing in red, green, blue.
    clumps : int
        Clumps of capsules to a pixel.
    seed : uint64
        Seed of the grain.
    row0 : int
        Scan row that the strip begins with.
    out : ndarray of float32, shape (3, rows, cols)
        Light [1]; changed in place.
    """
    rows, cols = share.shape
    for i in range(rows):
        r = (row0 + i) / NODE_STEP + 1.0
        k = int(r)
        u = r - k
        for j in range(cols):
            c = j / NODE_STEP + 1.0
            m = int(c)
            v = c - m
            lamp = (1 - u) * ((1 - v) * nodes[0, k, m] + v * nodes[0, k, m + 1])
            lamp += u * ((1 - v) * nodes[0, k + 1, m] + v * nodes[0, k + 1, m + 1])
            lift = (1 - u) * ((1 - v) * nodes[1, k, m] + v * nodes[1, k, m + 1])
            lift += u * ((1 - v) * nodes[1, k + 1, m] + v * nodes[1, k + 1, m + 1])
            cover = float(mask[i, j])
            if abs(across[i, j]) < 1.0:
                cover = min(1.0, max(0.0, 0.5 - across[i, j]))
            shadow = 1.0
            if cover < 1.0 and across[i, j] < 8.0:
                shadow = 1.0 - 0.12 * (1.0 - max(across[i, j], 0.0) / 8.0)
            dyed = 0.0
            if cover > 0.0:
                dyed = _burst(share[i, j], clumps, uniform(seed, row0 + i, j)) / clumps
            for c3 in range(3):
                film = (colours[0, c3] + dyed * (colours[1, c3] - colours[0, c3])) * lift
                out[c3, i, j] = lamp * (cover * film + (1.0 - cover) * colours[2, c3] * shadow)


@compiled
def _burst(share: float, clumps: int, bits: np.uint64) -> int:
    """Return how many of `clumps` burst, each with probability `share`: a binomial draw by inversion."""
    draw = float(bits >> np.uint64(11)) * _TO_UNIT
    least = min(share, 1.0 - share)
    if least <= 0.0:
        return clumps if share > 0.5 else 0
    odds = least / (1.0 - least)
    chance = (1.0 - least) ** clumps
    summed, count = chance, 0
    while draw > summed and count < clumps:
        chance *= odds * (clumps - count) / (count + 1)
        summed += chance
        count += 1
    return clumps - count if share > 0.5 else count


@compiled
def codes_of_light(
    light: MapArray, weights: MapArray, noise: float, gain: float, curve: MapArray, seed: np.uint64,
    row0: int, out: npt.NDArray[np.uint16],
) -> None:  # fmt: skip
    """Blur a strip, add the scanner's noise and write codes.

    Parameters
    ----------
    light : ndarray of float32, shape (3, rows + 2 radius, cols)
        Light [1] of the strip with the blur's radius above and below.
    weights : ndarray of float32
        Blur along rows and columns, summing to one.
    noise : float
        Standard deviation at full light [1].
    gain : float
        Factor on the light.
    curve : ndarray of float32
        Code at even steps of light from 0 to 1.
    seed : uint64
        Seed of the noise.
    row0 : int
        Scan row that `out` begins with.
    out : ndarray of uint16, shape (rows, cols, 3)
        Codes; changed in place.
    """
    rows, cols, channels = out.shape
    radius = len(weights) // 2
    steps = len(curve) - 1
    line = np.empty(cols + 2 * radius, np.float32)
    for i in range(rows):
        for c in range(channels):
            line[:] = 0.0
            for k in range(len(weights)):
                for j in range(cols):
                    line[radius + j] += weights[k] * light[c, i + k, j]
            for k in range(radius):
                line[k] = line[radius]
                line[cols + radius + k] = line[cols + radius - 1]
            for j in range(cols):
                value = 0.0
                for k in range(len(weights)):
                    value += weights[k] * line[j + k]
                value *= gain
                bits = uniform(seed + np.uint64(c), row0 + i, j)
                value += noise * np.sqrt(max(value, 0.0)) * _bell(bits)
                place = min(max(value, 0.0), 1.0) * steps
                t = min(int(place), steps - 1)
                out[i, j, c] = int(curve[t] + (place - t) * (curve[t + 1] - curve[t]) + 0.5)


@compiled
def _bell(bits: np.uint64) -> float:
    """Return a nearly normal number of mean 0 and deviation 1: the sum of four even ones of 16 bits."""
    total = 0.0
    for part in range(4):
        total += float((bits >> np.uint64(16 * part)) & np.uint64(0xFFFF))
    return (total / 65535.0 - 2.0) * 1.7320508

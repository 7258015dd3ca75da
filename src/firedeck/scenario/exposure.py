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
    out[:] = 0.0
    share = np.float32(1.0 / (parts * parts))
    for i in range(rows):
        for a in range(parts):
            r = (row0 + i + (a + 0.5) / parts - 0.5) / NODE_STEP + 1.0
            k = int(r)
            ends = _cells_at_row(nodes, k, r - k, frame)
            for block in range((cols + NODE_STEP - 1) // NODE_STEP):
                first = block * NODE_STEP
                line = out[i, first : min(first + NODE_STEP, cols)]
                for b in range(parts):
                    _add_block(
                        ends[:, block + 1 : block + 3], (b + 0.5) / parts - 0.5, share, felt, table, top, line
                    )


@compiled
def _cells_at_row(nodes: FloatArray, k: int, part: float, frame: FloatArray) -> FloatArray:
    """Return column and row of the pressure raster at every node column, between node rows k and k + 1."""
    ends = np.empty((2, nodes.shape[2]))
    for axis in range(2):
        for m in range(nodes.shape[2]):
            at = nodes[axis, k, m] + part * (nodes[axis, k + 1, m] - nodes[axis, k, m])
            ends[axis, m] = (at - frame[axis]) / frame[2] - 0.5
    return ends


@compiled
def _add_block(
    ends: FloatArray, off: float, weight: np.float32, felt: MapArray, table: MapArray, top: float,
    line: MapArray,
) -> None:  # fmt: skip
    """Add burst shares of up to `NODE_STEP` pixels between two nodes."""
    high, wide = felt.shape
    per_mpa = np.float32((len(table) - 1) / top)
    last = np.float32(len(table) - 1.01)
    across, down = (ends[0, 1] - ends[0, 0]) / NODE_STEP, (ends[1, 1] - ends[1, 0]) / NODE_STEP
    for j in range(len(line)):
        fx, fy = ends[0, 0] + (j + off) * across, ends[1, 0] + (j + off) * down
        if fx < 0 or fy < 0 or fx >= wide - 1 or fy >= high - 1:
            line[j] += weight * table[0]
            continue
        p, q = int(fy), int(fx)
        fu, fv = np.float32(fy - p), np.float32(fx - q)
        low = felt[p, q] + fv * (felt[p, q + 1] - felt[p, q])
        up = felt[p + 1, q] + fv * (felt[p + 1, q + 1] - felt[p + 1, q])
        place = min((low + fu * (up - low)) * per_mpa, last)
        t = int(place)
        line[j] += weight * (table[t] + (place - np.float32(t)) * (table[t + 1] - table[t]))


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
    lamp, lift = np.empty(cols, np.float32), np.empty(cols, np.float32)
    ratio = np.array([(clumps - n) / (n + 1.0) for n in range(clumps + 1)])
    for i in range(rows):
        _line_of_nodes(nodes[0], row0 + i, lamp)
        _line_of_nodes(nodes[1], row0 + i, lift)
        for j in range(cols):
            cover = np.float32(mask[i, j])
            if abs(across[i, j]) < 1.0:
                cover = np.float32(min(1.0, max(0.0, 0.5 - across[i, j])))
            shadow = np.float32(1.0)
            if cover < 1.0 and across[i, j] < 8.0:
                shadow = np.float32(1.0 - 0.12 * (1.0 - max(across[i, j], 0.0) / 8.0))
            dyed = np.float32(0.0)
            if cover > 0.0:
                dyed = np.float32(_burst(share[i, j], ratio, uniform(seed, row0 + NODE_STEP + i, j)) / clumps)
            for c in range(3):
                film = (colours[0, c] + dyed * (colours[1, c] - colours[0, c])) * lift[j]
                lid = colours[2, c] * shadow
                out[c, i, j] = lamp[j] * (lid + cover * (film - lid))


@compiled
def _line_of_nodes(nodes: FloatArray, row: int, line: MapArray) -> None:
    """Fill a row of pixels from a field known at its nodes."""
    r = row / NODE_STEP + 1.0
    k = int(r)
    part = r - k
    for m in range(1, (len(line) - 1) // NODE_STEP + 2):
        left = nodes[k, m] + part * (nodes[k + 1, m] - nodes[k, m])
        right = nodes[k, m + 1] + part * (nodes[k + 1, m + 1] - nodes[k, m + 1])
        first = (m - 1) * NODE_STEP
        for j in range(first, min(first + NODE_STEP, len(line))):
            line[j] = left + (j - first) * (right - left) / NODE_STEP


@compiled
def _burst(share: float, ratio: FloatArray, bits: np.uint64) -> int:
    """Return how many of a pixel's clumps burst, each with probability `share`.

    A binomial draw by inversion; `ratio` holds (clumps - n) / (n + 1) for every n.
    """
    clumps = len(ratio) - 1
    draw = float(bits >> np.uint64(11)) * _TO_UNIT
    least = min(share, 1.0 - share)
    if least <= 0.0:
        return clumps if share > 0.5 else 0
    chance = 1.0
    for _ in range(clumps):
        chance *= 1.0 - least
    odds = least / (1.0 - least)
    summed, count = chance, 0
    while draw > summed and count < clumps:
        chance *= odds * ratio[count]
        summed += chance
        count += 1
    return clumps - count if share > 0.5 else count


@compiled
def codes_of_light(
    light: MapArray, weights: MapArray, noise: MapArray, gain: float, curve: MapArray, seed: np.uint64,
    row0: int, out: npt.NDArray[np.uint16],
) -> None:  # fmt: skip
    """Blur a strip, add the scanner's noise and write codes.

    Parameters
    ----------
    light : ndarray of float32, shape (3, rows + 2 radius, cols)
        Light [1] of the strip with the blur's radius above and below.
    weights : ndarray of float32
        Blur along rows and columns, summing to one.
    noise : ndarray of float32, shape (65536,)
        Draws of the noise at full light [1], equally likely.
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
    padded = np.empty(cols + 2 * radius, np.float32)
    line = np.empty((channels, cols), np.float32)
    for i in range(rows):
        for c in range(channels):
            _blur_row(light[c, i : i + 2 * radius + 1], weights, padded, line[c])
        for j in range(cols):
            bits = uniform(seed, row0 + i, j)
            for c in range(channels):
                value = line[c, j] * gain
                draw = noise[int((bits >> np.uint64(16 * c)) & np.uint64(0xFFFF))]
                out[i, j, c] = _code(value + draw * np.sqrt(max(value, 0.0)), curve)


@compiled
def _code(light: float, curve: MapArray) -> int:
    place = min(max(light, 0.0), 1.0) * (len(curve) - 1)
    t = min(int(place), len(curve) - 2)
    return int(curve[t] + (place - t) * (curve[t + 1] - curve[t]) + 0.5)


@compiled
def _blur_row(light: MapArray, weights: MapArray, padded: MapArray, line: MapArray) -> None:
    """Blur the middle row of `light` both ways; beyond its ends it goes on as it ends."""
    radius, cols = len(weights) // 2, len(line)
    middle = padded[radius : radius + cols]
    middle[:] = 0.0
    for k in range(len(weights)):
        for j in range(cols):
            middle[j] += weights[k] * light[k, j]
    padded[:radius] = middle[0]
    padded[radius + cols :] = middle[cols - 1]
    line[:] = 0.0
    for k in range(len(weights)):
        shifted = padded[k : k + cols]
        for j in range(cols):
            line[j] += weights[k] * shifted[j]

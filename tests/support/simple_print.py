"""A plain drawing of a print on a scanner, made without any of the code under test."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.film.picture import ScanPicture


def inline_four(
    *, symmetric: bool = False, ports: int = 12, pitch: float = 98.0, name: str = "four", count: int = 4
) -> DeckPlan:
    """An invented deck of four bores (or `count`), fasteners, two dowels and some ports."""
    bores = [
        {"name": f"bore {k + 1}", "centre": (60.0 + pitch * k, 95.0), "diameter": "88 mm"}
        for k in range(count)
    ]
    stations = [60.0 + pitch * (k - 0.5) for k in range(count + 1)]
    fasteners = [
        {"name": f"fastener {2 * k + side + 1}", "centre": (x, (32.0, 158.0)[side]), "diameter": "12 mm"}
        for k, x in enumerate(stations)
        for side in (0, 1)
    ]
    right = 120.0 + (count - 1) * pitch
    dowels = [
        {"name": "dowel front", "centre": (24.0, 20.0), "diameter": "14 mm"},
        {
            "name": "dowel rear",
            "centre": (right - 24.0, 20.0 if not symmetric else 170.0),
            "diameter": "14 mm",
        },
    ]
    if symmetric:
        dowels = []
        port_list = []
    else:
        port_list = _ports(ports, pitch)
    seals = []
    for bore in bores:
        seals.append(
            {
                "name": f"ring {bore['name']}",
                "kind": "ring",
                "around": bore["name"],
                "offset": "1.6 mm",
                "band": "2.4 mm",
            }
        )
        seals.append(
            {
                "name": f"bead {bore['name']}",
                "kind": "full-bead",
                "around": bore["name"],
                "offset": "4.2 mm",
                "band": "2.6 mm",
            }
        )
    seals += [
        {
            "name": f"bead {port['name']}",
            "kind": "half-bead",
            "around": port["name"],
            "offset": "3 mm",
            "band": "2.6 mm",
        }
        for port in port_list
    ]
    data = {
        "kind": "deck-plan",
        "name": name,
        "outline": [(0.0, 0.0), (right, 0.0), (right, 190.0), (0.0, 190.0)],
        "bore": bores,
        "fastener-hole": fasteners,
        "dowel": dowels,
        "port": port_list,
        "seal": seals,
    }
    return DeckPlan.model_validate(data)


def _ports(count, pitch):
    rng = np.random.default_rng(5)
    ports = []
    for k in range(count):
        x = 60.0 + pitch * (k // 3 + (0.0, 0.24, -0.27)[k % 3]) + rng.uniform(-4, 4)
        y = (14.0, 176.0, 175.0)[k % 3] + rng.uniform(-2, 2)
        ports.append(
            {
                "name": f"port {k + 1}",
                "kind": "coolant" if k % 2 else "oil-return",
                "centre": (float(x), float(y)),
                "diameter": f"{rng.uniform(6, 11):.2f} mm",
            }
        )
    return ports


@dataclass
class Scene:
    """How the print is made and laid on the scanner; lengths in mm."""

    rotation: float = 3.0  # degree
    mirrored: bool = False
    scale: tuple[float, float] = (1.0, 1.0)  # of the picture's axes
    backing: str = "white"
    grey: bool = False
    border: float = 8.0
    cover: tuple[float, float] | None = None  # range of deck x on this sheet
    missing: tuple[str, ...] = ()
    false_holes: tuple[tuple[float, float, float], ...] = ()  # deck x, y, radius
    centre_sd: float = 0.25
    oversize: tuple[float, float] = (0.5, 1.0)  # of radius
    offset: dict[str, float] = field(default_factory=dict)  # of crowns, by seal name
    saturated: bool = False
    feet: bool = False  # full beads print two lines
    marks: bool = True
    noise: float = 0.02
    falloff: float = 0.03
    pixel: float = 0.17
    seed: int = 1


def draw_print(plan: DeckPlan, scene: Scene) -> tuple[ScanPicture, np.ndarray]:
    """Draw the picture, and return it with the true matrix from picture mm to deck mm."""
    rng = np.random.default_rng(scene.seed)
    outline = np.asarray(plan.outline)
    low, high = outline.min(axis=0) - scene.border, outline.max(axis=0) + scene.border
    if scene.cover is not None:
        low[0], high[0] = scene.cover
    to_picture = _pose(scene, low, high)
    linear = to_picture[:, :2]
    corners = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    size = np.ptp(corners @ linear.T, axis=0) + 24.0
    to_picture[:, 2] = 12.0 - (corners @ linear.T).min(axis=0)
    cols, rows = (int(n / scene.pixel) // 4 * 4 for n in size)
    canvas = _Canvas(rows, cols, scene.pixel, to_picture)
    density = np.full((rows, cols), 0.09, np.float32)
    film = _sheet_mask(canvas, low, high)
    if scene.marks:
        _draw_seals(canvas, density, plan, scene, rng)
    _cut_holes(canvas, density, film, plan, scene, rng)
    inverse = np.linalg.inv(linear)
    truth = np.column_stack([inverse, -inverse @ to_picture[:, 2]])
    return _develop(density, film, scene, rng), truth


def _pose(scene, low, high):
    angle = np.radians(scene.rotation)
    flip = np.diag([1.0, 1.0 if scene.mirrored else -1.0])
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.column_stack([np.diag(scene.scale) @ turn @ flip, np.zeros(2)])


class _Canvas:
    def __init__(self, rows, cols, pixel, to_picture):
        self.shape, self.pixel, self.to_picture = (rows, cols), pixel, to_picture
        self.inverse = np.linalg.inv(to_picture[:, :2])

    def window(self, centre, reach):
        """Slices of a window about a deck point, and the deck coordinates of its pixels."""
        x, y = (self.to_picture[:, :2] @ centre + self.to_picture[:, 2]) / self.pixel
        n = int(reach * 1.03 / self.pixel) + 3
        rows = slice(max(0, int(y) - n), max(0, min(self.shape[0], int(y) + n)))
        cols = slice(max(0, int(x) - n), max(0, min(self.shape[1], int(x) + n)))
        return rows, cols, *self.deck(np.arange(rows.start, rows.stop), np.arange(cols.start, cols.stop))

    def deck(self, i, j):
        inverse = self.inverse.astype(np.float32)
        u = ((j[None, :] + 0.5) * self.pixel - self.to_picture[0, 2]).astype(np.float32)
        v = ((i[:, None] + 0.5) * self.pixel - self.to_picture[1, 2]).astype(np.float32)
        return inverse[0, 0] * u + inverse[0, 1] * v, inverse[1, 0] * u + inverse[1, 1] * v


def _sheet_mask(canvas, low, high):
    x, y = canvas.deck(np.arange(canvas.shape[0]), np.arange(canvas.shape[1]))
    return (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])


def _draw_seals(canvas, density, plan, scene, rng):
    circles = {o.name: (np.asarray(o.centre), o.diameter / 2) for o in plan.openings if o.centre is not None}
    for seal in plan.seals:
        centre, radius = circles[seal.around]
        radius = radius + seal.offset + scene.offset.get(seal.name, 0.0)
        rows, cols, x, y = canvas.window(centre, radius + 4.0)
        distance = np.hypot(x - centre[0], y - centre[1]) - radius
        angle = np.arctan2(y - centre[1], x - centre[0])
        phase = rng.uniform(0, 2 * np.pi)
        strength = 0.9 + 0.4 * np.cos(2 * angle + phase)
        width = {"ring": 0.45, "full-bead": 0.4}.get(seal.kind, 0.35)
        if scene.feet and seal.kind == "full-bead":
            mark = np.exp(-(((np.abs(distance) - 0.75) / 0.25) ** 2) / 2)
        else:
            mark = np.exp(-((distance / width) ** 2) / 2)
        top = 1.2 if not scene.saturated else 0.7
        density[rows, cols] += np.minimum(1.6 * strength * mark, top).astype(np.float32)


def _cut_holes(canvas, density, film, plan, scene, rng):
    rounds = [(o.name, np.asarray(o.centre), o.diameter / 2) for o in plan.openings]
    rounds += [("false", np.array([x, y]), r) for x, y, r in scene.false_holes]
    for name, centre, radius in rounds:
        shift, grow = rng.normal(0, scene.centre_sd, 2), rng.uniform(*scene.oversize)
        lobes, phase = rng.uniform(0, 0.12), rng.uniform(0, 6.28)
        if name in scene.missing:
            continue
        rows, cols, x, y = canvas.window(centre + shift, radius + grow + 2.0)
        dx, dy = x - centre[0] - shift[0], y - centre[1] - shift[1]
        edge = np.hypot(dx, dy) - (radius + grow + lobes * np.cos(2 * np.arctan2(dy, dx) + phase))
        density[rows, cols] += np.where((edge > 0) & (edge < 0.35), 0.5, 0).astype(np.float32)
        film[rows, cols] &= edge > 0


def _develop(density, film, scene, rng):
    rows, cols = density.shape
    lamp = 1 - scene.falloff * np.linspace(-1, 1, cols, dtype=np.float32) ** 2
    grain = rng.standard_normal((rows, cols), np.float32) * np.float32(scene.noise)
    back = np.float32({"white": 0.93, "black": 0.035}[scene.backing])

    def channel(share, coarse):
        film_density = np.float32(share) * density + grain
        light = np.where(film, np.float32(0.86) * np.float32(10) ** -film_density, back) * lamp
        pooled = light.reshape(rows // 4, 4, cols // 4, 4).mean(axis=(1, 3))
        return pooled if coarse else (light, pooled)

    fine, green = channel(1.0, False)
    planes = [green] if scene.grey else [channel(0.16, True), green, channel(0.45, True)]
    return ScanPicture("drawn", fine, (scene.pixel, scene.pixel), np.stack(planes, axis=2), 4)

"""The invented engine: its deck plan, gaskets and film, and small decks drawn at random for tests."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import tomlkit

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film import FilmBatch
from firedeck.definition.gasket import Gasket
from firedeck.definition.quantities import Definition
from firedeck.scenario.plan_parts import (
    PlanTable,
    circle,
    corner_arcs,
    kidney,
    outer_seal,
    seal,
    slot,
)

__all__ = [
    "candidate_gasket",
    "engine_plan",
    "factory_gasket",
    "film_batch_stub",
    "small_plan",
    "write_text",
]


def write_text(model: Definition) -> str:
    """Return a definition as TOML text, quantities with their units, defaults left out."""
    return tomlkit.dumps(_plain(model.model_dump(by_alias=True, exclude_defaults=True)))


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever a definition may hold
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items() if item is not None}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return str(value) if isinstance(value, str) else value


def film_batch_stub() -> FilmBatch:
    """Return the film of the scenario as its box states it, not yet calibrated."""
    return FilmBatch.model_validate(
        {
            "kind": "film-batch",
            "name": "one-sheet film, 20 to 100 MPa",
            "lot": "K7-2291",
            "expiry": "2027-05-31",
            "sheets": "one",
            "thickness": "0.11 mm",
            "range_low": "20 MPa",
            "range_high": "100 MPa",
        }
    )


_BORE = 86.0
_PITCH = 96.0
_BORE_X = tuple(74.0 + _PITCH * number for number in range(4))
_BORE_Y = 97.0


def _engine_fasteners() -> list[PlanTable]:
    columns = [_BORE_X[0] - _PITCH / 2 + _PITCH * number for number in range(5)]
    places = [(x, y) for y in (41.0, 155.0) for x in columns]
    return [circle(f"fastener {n}", place, 12.5) for n, place in enumerate(places, start=1)]


def _engine_coolant() -> list[PlanTable]:
    ports: list[PlanTable] = []
    for number, x in enumerate(_BORE_X, start=1):
        path = kidney((x, _BORE_Y), 58.5, 6.5, -112.0, -74.0 if number < 4 else -80.0)
        ports.append({"name": f"coolant exhaust {number}", "kind": "coolant", "path": path})
        for side, angle in (("a", 106.0), ("b", 80.0)):
            at = x + 60 * np.cos(np.radians(angle)), _BORE_Y + 60 * np.sin(np.radians(angle))
            size = 8.0 if number > 1 else 9.5
            ports.append(circle(f"coolant intake {number}{side}", at, size, kind="coolant"))
    ports += [
        {"name": "coolant front 1", "kind": "coolant", "path": slot((15.5, 118.0), 20.0, 6.5, 90.0)},
        circle("coolant front 2", (16.2, 88.0), 8.0, kind="coolant"),
        {"name": "coolant rear 1", "kind": "coolant", "path": slot((420.4, 106.0), 26.0, 7.0, 86.0)},
        circle("coolant rear 2", (419.0, 72.0), 8.5, kind="coolant"),
    ]
    return ports


def _engine_oil() -> list[PlanTable]:
    returns = [((95.0, 17.0), 30.0), ((239.0, 17.0), 34.0), ((335.0, 17.0), 26.0), ((201.0, 173.0), 28.0)]
    ports: list[PlanTable] = [
        {"name": f"oil return {n}", "kind": "oil-return", "path": slot(at, length, 10.0, 0.0)}
        for n, (at, length) in enumerate(returns, start=1)
    ]
    feeds = [("oil feed 1", (146.0, 171.0)), ("oil feed 2", (386.0, 22.0))]
    return ports + [circle(name, at, 7.0, kind="oil-feed") for name, at in feeds]


def _engine_outline() -> list[list[float]]:
    corners = [
        (0, 8, 10), (18, 0, 10), (150, 0, 14), (164, 5, 14), (190, 5, 14), (204, 0, 14), (418, 0, 12),
        (436, 14, 12),
        (436, 182, 10), (426, 190, 8), (322, 190, 16), (308, 184, 16), (296, 184, 16), (284, 190, 16),
        (16, 190, 14), (0, 176, 14), (0, 66, 10), (5, 58, 10), (5, 46, 10), (0, 38, 10),
    ]  # fmt: skip
    return corner_arcs([(float(x), float(y), float(r)) for x, y, r in corners])


def _grouped_seal(name: str, points: list[list[float]], inside: list[str], band: float) -> PlanTable:
    return {"name": name, "kind": "half-bead", "path": points, "band": f"{band} mm", "inside": inside}


def _intake_pair_line(number: int, offset: float) -> list[list[float]]:
    """Return the line round both intake-side coolant ports of a cylinder."""
    size = 8.0 if number > 1 else 9.5
    centre = (_BORE_X[number - 1], _BORE_Y)
    return kidney(centre, 60.0, size + 2 * offset, 80.0, 106.0)


def _engine_seals(
    *, bore_offset: float, outer_offset: float, outer_path: list[list[float]] | None
) -> list[PlanTable]:
    ports = [*_engine_coolant(), *_engine_oil()]
    paired = "coolant intake"
    seals = [seal(f"bore {n} bead", "full-bead", f"bore {n}", bore_offset, 6.0) for n in range(1, 5)]
    seals += [
        seal(f"{port['name']} bead", "half-bead", port["name"], 3.0, 4.0)
        for port in ports
        if not port["name"].startswith(paired)
    ]
    for number in range(1, 5):
        inside = [f"{paired} {number}a", f"{paired} {number}b"]
        seals.append(_grouped_seal(f"{paired} {number} bead", _intake_pair_line(number, 3.0), inside, 4.0))
    media = [f"bore {n}" for n in range(1, 5)] + [port["name"] for port in ports]
    if outer_path is None:
        return [*seals, outer_seal(outer_offset, media)]
    outer = _grouped_seal("outer bead", outer_path, media, 4.0)
    return [*seals, {**outer, "outside": ["outside"]}]


def engine_plan() -> DeckPlan:
    """Return the deck plan of the invented engine, the factory gasket's seals on it."""
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": "Tarn T20 inline four",
            "note": "An engine invented for this example: 2.0 litres, boosted, closed deck.",
            "origin": "lower left corner of the drawing: front of the engine, exhaust side",
            "outline": _engine_outline(),
            "bore": [circle(f"bore {n}", (x, _BORE_Y), _BORE) for n, x in enumerate(_BORE_X, start=1)],
            "fastener-hole": _engine_fasteners(),
            "dowel": [circle("dowel 1", (25.0, 135.5), 9.0), circle("dowel 2", (411.0, 17.0), 9.0)],
            "port": [*_engine_coolant(), *_engine_oil()],
            "seal": _engine_seals(bore_offset=3.0, outer_offset=4.0, outer_path=None),
        }
    )


def factory_gasket() -> Gasket:
    """Return the gasket the engine left the factory with; its seals are the deck plan's."""
    return Gasket.model_validate(
        {
            "kind": "gasket",
            "name": "factory gasket",
            "role": "factory",
            "revision": "as delivered",
            "layer": [
                {"name": "upper bead layer", "material": "spring steel, coated", "thickness": "0.25 mm"},
                {"name": "distance layer", "material": "sheet steel", "thickness": "0.5 mm"},
                {"name": "lower bead layer", "material": "spring steel, coated", "thickness": "0.25 mm"},
            ],
            "law": _gasket_laws(
                strip="0.25 mm", bead="0.2 mm", width="2.6 mm", half="0.18 mm", half_width="1.6 mm"
            ),
        }
    )


def candidate_gasket() -> Gasket:
    """Return the candidate: bore beads farther out, the outer bead moved inwards."""
    outer = [
        (4.6, 10.2, 8), (19.0, 4.4, 8), (148.5, 4.4, 14), (162.5, 9.4, 14), (191.5, 9.4, 14),
        (205.5, 4.4, 14),
        (416.5, 4.4, 10), (431.6, 16.1, 10), (431.6, 178.0, 9), (422.0, 185.0, 9), (323.5, 185.0, 14),
        (309.5, 178.8, 14), (294.5, 178.8, 14), (282.5, 185.0, 14), (17.5, 185.0, 12), (4.6, 174.0, 12),
        (4.6, 67.5, 10), (9.6, 59.5, 10), (9.6, 44.5, 10), (4.6, 36.5, 10),
    ]  # fmt: skip
    seals = _engine_seals(bore_offset=3.1, outer_offset=0.0, outer_path=corner_arcs(outer))
    return Gasket.model_validate(
        {
            "kind": "gasket",
            "name": "candidate gasket B2",
            "role": "candidate",
            "revision": "B2",
            "note": "Wider bore bead, stiffer between fasteners; outer bead moved inwards.",
            "layer": [
                {"name": "upper bead layer", "material": "spring steel, coated", "thickness": "0.3 mm"},
                {"name": "distance layer", "material": "sheet steel", "thickness": "0.4 mm"},
                {"name": "lower bead layer", "material": "spring steel, coated", "thickness": "0.3 mm"},
            ],
            "seal": seals,
            "law": _gasket_laws(
                strip="0.3 mm", bead="0.2 mm", width="3.2 mm", half="0.2 mm", half_width="2 mm"
            ),
        }
    )


def _gasket_laws(*, strip: str, bead: str, width: str, half: str, half_width: str) -> list[dict[str, object]]:
    """Return closure laws of two bead layers back to back; every size is invented."""
    invented = {"source": {"basis": "invented for the example"}}
    steel = {"thickness": strip, "material": "301 full hard, stress relieved", "layers": 2}
    tested = {"remaining": 0.92, "temperature": "150 degC", "time": "100 h", **invented}
    return [
        {"name": "full beads", "kind": "full-bead", "height": bead, "width": width, **steel, **invented},
        {"name": "coating", "kind": "coating", "thickness": "0.05 mm", "modulus": "300 MPa",
         "limit": "60 MPa", "width": "1 mm", **invented},
        {"name": "bore line", "kind": "series", "of": ["full beads", "coating"],
         "seals": ["full-bead"], "relaxation": tested, **invented},
        {"name": "half beads", "kind": "half-bead", "height": half, "width": half_width,
         "seals": ["half-bead"], **steel, **invented},
    ]  # fmt: skip


def small_plan(*, bores: int = 2, rng: np.random.Generator | None = None) -> DeckPlan:
    """Return a deck of one or two bores, about 200 x 160 mm, quick to print.

    Parameters
    ----------
    bores : int
        1 or 2.
    rng : numpy.random.Generator, optional
        Varies bore size, places of ports and offsets of seals; without it the plan is always the same.
    """

    def shift(spread: float) -> float:
        return 0.0 if rng is None else float(rng.uniform(-spread, spread))

    diameter = 62.0 + shift(5.0)
    pitch = diameter + 10.0 + shift(1.0)
    width = 200.0 if bores == 2 else 130.0
    middle = (width / 2 + 1.5, 72.0 + shift(1.5))
    xs = [middle[0] + pitch * (n - (bores - 1) / 2) for n in range(bores)]
    media = [f"bore {n + 1}" for n in range(bores)]
    ports = _small_ports(middle, diameter, xs, shift)
    beads = [seal(f"{name} bead", "full-bead", name, 3.0 + shift(0.2), 6.0) for name in media]
    beads += [seal(f"{p['name']} bead", "half-bead", p["name"], 3.0 + shift(0.3), 4.0) for p in ports]
    media += [port["name"] for port in ports]
    outline = [(0, 0, 10), (width, 0, 6), (width, 146, 12), (width - 14, 158, 12), (9, 158, 12), (0, 151, 12)]
    return DeckPlan.model_validate(
        {
            "kind": "deck-plan",
            "name": f"test deck, {bores} bores" if bores > 1 else "test deck, one bore",
            "origin": "lower left corner",
            "outline": corner_arcs([(float(x), float(y), float(r)) for x, y, r in outline]),
            "bore": [circle(f"bore {n}", (x, middle[1]), diameter) for n, x in enumerate(xs, start=1)],
            "fastener-hole": _small_fasteners(middle, diameter, xs, pitch),
            "dowel": [circle("dowel 1", (13.0, 40.0), 8.0), circle("dowel 2", (width - 13.0, 108.0), 8.0)],
            "port": ports,
            "seal": [*beads, outer_seal(4.0, media)],
        }
    )


def _small_fasteners(
    middle: tuple[float, float], diameter: float, xs: list[float], pitch: float
) -> list[PlanTable]:
    columns = [xs[0] - pitch / 2, *(x + pitch / 2 for x in xs)]
    reach = diameter / 2 + 20.0
    places = itertools.product((middle[1] - reach, middle[1] + reach + 1.0), columns)
    return [circle(f"fastener {n}", (x, y), 11.0) for n, (y, x) in enumerate(places, start=1)]


def _small_ports(
    middle: tuple[float, float],
    diameter: float,
    xs: list[float],
    shift: Callable[[float], float],
) -> list[PlanTable]:
    radius, y = diameter / 2 + 14.2, middle[1]
    ports: list[PlanTable] = []
    for number, x in enumerate(xs, start=1):
        path = kidney((x, y), radius, 6.0, 72.0 + shift(4.0), 104.0 + shift(4.0))
        ports.append({"name": f"coolant {number}", "kind": "coolant", "path": path})
        at = x + 6.0 + shift(5.0), y - radius - 0.8 + shift(0.8)
        ports.append(circle(f"coolant {number} lower", at, 8.0 + shift(1.0), kind="coolant"))
    ports.append(circle("oil feed", (xs[0] - 21.0 + shift(2.0), 141.0), 7.0, kind="oil-feed"))
    opening = slot((xs[-1] + 10.0 + shift(3.0), 142.0), 24.0, 9.0, 0.0)
    return [*ports, {"name": "oil return", "kind": "oil-return", "path": opening}]

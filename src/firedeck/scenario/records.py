"""The records that lie beside the scans: film test and calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from firedeck.definition.deck import DeckPlan
from firedeck.definition.film_test import FilmTest
from firedeck.definition.gasket import Gasket
from firedeck.scenario.disturbances import Scanner
from firedeck.scenario.truth import PrintTruth

if TYPE_CHECKING:
    from firedeck.scenario.scanning import PrintOrder

__all__ = ["CLIMATE", "LOAD_PROFILE", "film_test_record", "scanner_table"]

CLIMATE = {"temperature": "22.5 degC", "humidity": "48 %"}
LOAD_PROFILE = {"rise": "3 min", "hold": "10 min", "scan_delay": "30 min"}

#: Torque of the last step [N*m] to 1 kN of preload: an M11 fastener, lubricated, invented.
_TORQUE_PER_KN = 1.9


def scanner_table(scanner: Scanner) -> dict[str, Any]:
    """Return the scanner as a record states it."""
    transfer: dict[str, Any] = {"encoding": scanner.encoding}
    if scanner.encoding == "gamma":
        transfer["gamma"] = scanner.gamma
    settings = (
        f"{scanner.dpi:g} dpi, {scanner.bits} bit, {scanner.settings}, {scanner.backing} behind the film"
    )
    return {"name": scanner.name, "settings": settings, "transfer": transfer}


def film_test_record(
    plan: DeckPlan,
    truth: PrintTruth,
    gasket: Gasket,
    order: PrintOrder,
    scanner: Scanner,
    rng: np.random.Generator,
) -> FilmTest:
    """Return the film test's record; its clamp is the true final force, known as well as `order` says."""
    known = truth.final_force * (1 + order.clamp_uncertainty * rng.normal())
    fasteners = max(len(plan.fastener_holes), 1)
    torque = known / fasteners / 1000 * _TORQUE_PER_KN
    scans: list[dict[str, Any]] = [{"file": scan.file} for scan in truth.scans]
    if not scanner.resolution_tags:
        scans = [{**scan, "resolution": f"{scanner.dpi:g} dpi"} for scan in scans]
    stages = truth.field.tightening.stages
    return FilmTest.model_validate(
        {
            "kind": "film-test",
            "name": f"{gasket.name}, {order.name}",
            "date": order.date,
            "operator": "M. Aldous",
            "deck": "deck.toml",
            "gasket": f"{gasket.role}.toml",
            "film": "film.toml",
            "film_face": order.film_face,
            "gasket_use": order.gasket_use,
            "climate": CLIMATE,
            "load-profile": LOAD_PROFILE,
            "scanner": scanner_table(scanner),
            "step": [
                {"note": f"stage {n}, from the middle outwards", "torque": f"{share * torque:.0f} N*m"}
                for n, share in enumerate(stages, start=1)
            ],
            "clamp": {
                "total": f"{known / 1000:.0f} kN",
                "uncertainty": f"{100 * order.clamp_uncertainty:g} %",
                "basis": "torque, lubricant as in the torque test of the same fasteners",
            },
            "scan": scans,
        }
    )

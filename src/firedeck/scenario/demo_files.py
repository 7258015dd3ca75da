"""The demonstration: an engine, two gaskets, a calibrated film and a print of each gasket."""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path

from firedeck.definition.criteria import default_criteria
from firedeck.definition.gasket import plan_with_gasket
from firedeck.scenario.calibration import CALIBRATION_LEVELS, CalibrationTruth, make_calibration
from firedeck.scenario.cylinder_trace import make_traces
from firedeck.scenario.disturbances import Disturbances, Scanner
from firedeck.scenario.engine import (
    candidate_gasket,
    engine_plan,
    factory_gasket,
    film_batch_stub,
    write_text,
)
from firedeck.scenario.joint_files import write_joint_files
from firedeck.scenario.line_profile import LineDesign, WeakPlace
from firedeck.scenario.pressure import LandDesign, PressureField, build_field, default_designs
from firedeck.scenario.scanning import PrintOrder, make_print
from firedeck.scenario.tightening import Tightening
from firedeck.scenario.truth import PrintTruth

__all__ = [
    "DEMO_SCANNER",
    "DemoTruth",
    "candidate_field",
    "factory_field",
    "fastening_text",
    "make_demo",
    "write_demo",
]

#: The scanner of the demonstration; its lamp is a little weaker at both ends.
DEMO_SCANNER = Scanner(lamp_error=0.02)

_LAND = LandDesign(mean=0.5, pad_pressure=14.0, pad_reach=16.0)

#: The day's work as a careful bench leaves it.
_BENCH = Disturbances(
    rotation=0.9,
    scale_error=(0.0021, -0.0016),
    wobble=0.03,
    border=(6.5, 8.5),
    edge_roughness=0.35,
    hole_roughness=0.06,
    hole_oversize=(0.2, 0.6),
    hole_shift=0.12,
    missing_holes=0.06,
    torn_holes=0.05,
    rim_width=(0.2, 0.35),
    fog=0.012,
    curl=0.8,
    dust=30,
    creases=1,
    pen_marks=1,
)


@dataclass(frozen=True)
class DemoTruth:
    """What is true of the demonstration's calibration and its two prints."""

    calibration: CalibrationTruth
    factory: PrintTruth
    candidate: PrintTruth


def factory_field() -> PressureField:
    """Return the pressure under the factory gasket: bore beads that sag between fasteners."""
    plan = plan_with_gasket(engine_plan(), factory_gasket())
    designs = default_designs(
        plan,
        full_bead=LineDesign(mean=190.0, width=3.5, family="elliptic", swing=0.26),
        half_bead=LineDesign(mean=24.0, width=1.4, family="parabolic", swing=0.28),
    )
    return build_field(plan, designs=designs, land=_LAND, tightening=Tightening(seed=4), seed=20)


def candidate_field() -> PressureField:
    """Return the pressure under the candidate: stiffer between fasteners, one bore bead weak at one place."""
    plan = plan_with_gasket(engine_plan(), candidate_gasket())
    bore = LineDesign(mean=205.0, width=3.2, family="super-gaussian", swing=0.13)
    half = LineDesign(mean=27.0, width=1.6, family="raised-cosine", swing=0.18)
    weak = replace(bore, weak=(WeakPlace(near=(248.0, 53.5), depth=0.58, length=9.0),))
    designs = {**default_designs(plan, full_bead=bore, half_bead=half), "bore 3 bead": weak}
    return build_field(plan, designs=designs, land=_LAND, tightening=Tightening(seed=9), seed=21)


def fastening_text() -> str:
    """Return the fastening proposed for the engine, as its file, with comments."""
    return resources.files("firedeck.scenario").joinpath("fastening.toml").read_text(encoding="utf-8")


def make_demo(folder: Path | str, *, scanner: Scanner = DEMO_SCANNER) -> DemoTruth:
    """Write the demonstration's files and return what is true of them.

    Parameters
    ----------
    folder : Path
        Where to write; made if it is not there.
    scanner : Scanner
        Scanner of all scans; a lower resolution makes a quick demonstration.
    """
    folder = Path(folder)
    film = film_batch_stub()
    calibration = make_calibration(
        folder, film, CALIBRATION_LEVELS, 3, scanner=scanner,
        disturbances=Disturbances(scale_error=_BENCH.scale_error, rim_width=(0.2, 0.35), dust=20), seed=11,
    )  # fmt: skip
    plan = engine_plan()
    factory = make_print(
        folder, plan, factory_field(), gasket=factory_gasket(), film=film, scanner=scanner,
        disturbances=_BENCH, order=PrintOrder(name="factory-print", date="2025-03-18", gasket_use=1), seed=12,
    )  # fmt: skip
    halves = (
        replace(_BENCH, rotation=90.7, fog=-0.008),
        replace(_BENCH, rotation=-91.2, fog=-0.006, creases=2),
    )
    candidate = make_print(
        folder, plan, candidate_field(), gasket=candidate_gasket(), film=film, scanner=scanner,
        disturbances=halves, seed=13,
        order=PrintOrder(name="candidate-print", sheets=2, date="2025-03-19", gasket_use=2),
    )  # fmt: skip
    (folder / "criteria.toml").write_text(write_text(default_criteria()), encoding="utf-8")
    write_joint_files(folder)
    return DemoTruth(calibration, factory, candidate)


def write_demo(folder: Path | str, *, dpi: float = DEMO_SCANNER.dpi) -> None:
    """Write the demonstration: deck, gaskets, film, scans, fastening, duties and all that they name.

    The scans have the resolution given [pixels/inch].
    """
    make_demo(folder, scanner=replace(DEMO_SCANNER, dpi=dpi))
    make_traces(Path(folder))

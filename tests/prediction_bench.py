"""A small joint on disk for tests of predictions: one bore, four studs, coarse elements."""

from __future__ import annotations

from pathlib import Path

from firedeck.definition.film import FilmBatch
from firedeck.definition.gasket import Gasket
from firedeck.files.definition_file import write_definition
from firedeck.scenario.engine import film_batch_stub, small_plan
from firedeck.scenario.joint_files import law_text

FASTENING = """
kind = "fastening"
name = "four studs"
deck = "deck.toml"

[tightening]
stage = [{ torque = "30 N*m" }, { torque = "60 N*m" }]

[tightening.lubricant]
name = "oil"
thread = { low = 0.11, high = 0.14 }
bearing = { low = 0.11, high = 0.14 }

[cylinder-pressure]
value = "100 bar"
scatter = "10 %"

[[group]]
name = "studs"

[group.fastener]
kind = "stud"
material = "10.9"
nut_thread = "M10x1.25"
segment = [{ length = "81 mm", diameter = "8.5 mm" }]
bearing = { outer_diameter = "16 mm", hole_diameter = "10.5 mm" }

[group.fastener.hole]
thread = "M10x1.5"
engagement = "25 mm"
material = "A356-T6"

[[group.part]]
name = "head"
material = "A356-T6"
thickness = "80 mm"

[[group.part]]
name = "gasket"
material = "301 full hard"
thickness = "1 mm"
"""

PREDICTION = """
kind = "prediction"
name = "small joint"
deck = "deck.toml"
gasket = "gasket.toml"
fastening = "fastening.toml"
element = "20 mm"

[hot]
head = [["0 mm", "130 degC"], ["80 mm", "95 degC"]]
block = [["0 mm", "105 degC"], ["100 mm", "90 degC"]]
fasteners = "95 degC"

[[law]]
seals = ["full-bead"]
table = "bore.csv"
width = "2.5 mm"

[[law]]
seals = ["half-bead"]
table = "half.csv"
width = "1.2 mm"

[print]
film = "film.toml"
"""

#: A film that answers from 5 to 250 MPa, as calibrated; invented.
RESPONSE = {
    "net_density": [0.05, 0.2, 0.5, 0.9, 1.2],
    "pressure": ["5 MPa", "20 MPa", "60 MPa", "140 MPa", "250 MPa"],
    "log_covariance": [[0.0004 if i == j else 0.0001 for j in range(5)] for i in range(5)],
    "grain_mm": [0.002] * 5,
    "channel": "green",
    "levels": 5,
    "pieces": 10,
    "hold_out_error": 0.02,
    "shape_check": 0.02,
}


def write_bench(folder: Path) -> Path:
    """Write the joint's files and return the folder."""
    write_definition(folder / "deck.toml", small_plan(bores=1))
    gasket = {"kind": "gasket", "name": "test gasket", "role": "candidate"}
    write_definition(folder / "gasket.toml", Gasket.model_validate(gasket))
    stub = film_batch_stub().model_dump(by_alias=True, exclude_defaults=True)
    film = {**stub, "kind": "film-batch", "range_low": "5 MPa", "range_high": "250 MPa", "response": RESPONSE}
    write_definition(folder / "film.toml", FilmBatch.model_validate(film))
    return write_joint(folder)


def write_joint(folder: Path, gasket: str = "gasket.toml") -> Path:
    """Write prediction, fastening and laws beside a deck plan, gasket and film that are there already."""
    (folder / "fastening.toml").write_text(FASTENING, encoding="utf-8")
    (folder / "prediction.toml").write_text(PREDICTION.replace("gasket.toml", gasket), encoding="utf-8")
    (folder / "bore.csv").write_text(law_text(0.25, 900.0, 0.35, 0.30), encoding="utf-8")
    (folder / "half.csv").write_text(law_text(0.40, 120.0, 0.45, 0.40), encoding="utf-8")
    return folder

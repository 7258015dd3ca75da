"""The generator's own physics and files: what it calls true must be true of what it draws."""

from __future__ import annotations

import hashlib
import itertools
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import shapely
import tifffile
from scipy import ndimage

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.criteria import Criteria
from firedeck.definition.deck import DeckPlan
from firedeck.definition.fastening import Fastening
from firedeck.definition.film import FilmBatch
from firedeck.definition.film_test import FilmTest
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.shape import opening_polygon, outline_polygon, seal_line
from firedeck.scenario.calibration import make_calibration
from firedeck.scenario.chance import random_case
from firedeck.scenario.demo_files import DEMO_SCANNER, candidate_field, factory_field, make_demo
from firedeck.scenario.disturbances import Disturbances, Scanner
from firedeck.scenario.engine import candidate_gasket, engine_plan, factory_gasket, small_plan, write_text
from firedeck.scenario.line_profile import Family, LineDesign, WeakPlace, profile_table
from firedeck.scenario.pressure import LandDesign, build_field, default_designs
from firedeck.scenario.printing import FilmChemistry
from firedeck.scenario.scanning import PrintOrder, make_print
from firedeck.scenario.tightening import Tightening

_NO_LAND = LandDesign(mean=0.0, pad_pressure=0.0)


def _light(codes, scanner):
    """Decode codes as the encoding's definition says (sRGB: IEC 61966-2-1:1999)."""
    share = codes / (2.0**scanner.bits - 1)
    if scanner.encoding == "linear":
        return share
    if scanner.encoding == "gamma":
        return share**scanner.gamma
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


@pytest.fixture(scope="module")
def one_bore():
    return small_plan(bores=1)


@pytest.fixture(scope="module")
def field(one_bore):
    return build_field(one_bore, land=_NO_LAND, seed=3)


@pytest.fixture(scope="module")
def landed_field(one_bore):
    return build_field(one_bore)


@pytest.fixture(scope="module")
def calibration(tmp_path_factory):
    folder = tmp_path_factory.mktemp("calibration")
    levels = (0.0, 10.0, 33.0, 45.0, 180.0)
    scanner = Scanner(noise=0.001)
    return folder, scanner, make_calibration(folder, None, levels, 2, scanner=scanner, per_row=5, seed=4)


# -- pressure


@pytest.mark.parametrize("family", get_args(Family))
def test_profile_integrates_to_one(family):
    design = LineDesign(mean=1.0, width=1.7, family=family)
    table = profile_table(design)
    step = 2 * design.reach / (len(table) - 1)
    assert np.sum((table[1:] + table[:-1]) / 2) * step == pytest.approx(1.0, rel=1e-5)
    assert table.min() >= 0


def test_hertz_peak_of_elliptic_profile():
    # An elliptic strip of width w under q N/mm peaks at 4 q / (pi w): area of an ellipse.
    assert LineDesign(mean=1.0, width=2.0).unit_peak == pytest.approx(4 / (np.pi * 2.0), rel=1e-3)


def test_film_spreads_and_keeps_the_force(field):
    joint, felt = field.raster("joint"), field.raster("felt")
    assert felt.total == pytest.approx(joint.total, rel=1e-5)
    assert felt.values.max() < joint.values.max()
    assert (felt.values > 0).sum() > (joint.values > 0).sum()


def test_film_lowers_a_narrow_crown_most(one_bore):
    def loss(width):
        designs = default_designs(one_bore, full_bead=LineDesign(mean=50.0, width=width))
        drawn = build_field(one_bore, designs=designs, land=_NO_LAND)
        return 1 - drawn.raster("felt").values.max() / drawn.raster("joint").values.max()

    assert loss(0.4) > 3 * loss(2.0) > 0


def test_round_seal_load_equals_the_force_on_its_cells(field, one_bore):
    raster, load = field.raster("joint"), field.seal("bore 1 bead")
    centre, radius = np.array(one_bore.bores[0].centre), load.line.length / (2 * np.pi)
    rows, cols = np.indices(raster.values.shape)
    x = raster.x0 + (cols + 0.5) * raster.pitch - centre[0]
    y = raster.y0 + (rows + 0.5) * raster.pitch - centre[1]
    in_band = np.abs(np.hypot(x, y) - radius) < 2.0
    angle = np.degrees(np.arctan2(y, x)) % 360
    force = raster.values[in_band].sum(dtype=float) * raster.pitch**2
    assert field.seal("bore 1 bead").mean_load(0, load.line.length) == pytest.approx(
        force / load.line.length, rel=0.002
    )
    for first in (0.0, 75.0, 200.0):
        part = in_band & (angle >= first) & (angle < first + 30)
        force = raster.values[part].sum(dtype=float) * raster.pitch**2
        arc = load.line.length / 12
        s0 = first / 360 * load.line.length
        assert load.mean_load(s0, s0 + arc) == pytest.approx(force / arc, rel=0.005)


@pytest.mark.parametrize("name", ["coolant 1 bead", "oil feed bead", "outer bead"])
def test_any_seal_load_equals_the_force_on_its_cells(field, one_bore, name):
    raster, load = field.raster("joint"), field.seal(name)
    band = shapely.LinearRing(load.line.points).buffer(1.2)
    left, low, right, high = band.bounds
    col, row = np.floor(raster.cells([(left, low)])[0]).astype(int)
    end_col, end_row = np.ceil(raster.cells([(right, high)])[0]).astype(int) + 1
    x = raster.x0 + (np.arange(col, end_col) + 0.5) * raster.pitch
    y = raster.y0 + (np.arange(row, end_row) + 0.5) * raster.pitch
    shapely.prepare(band)
    inside = shapely.contains_xy(band, x[None, :], y[:, None])
    force = raster.values[row:end_row, col:end_col][inside].sum(dtype=float) * raster.pitch**2
    assert load.mean_load(0, load.line.length) == pytest.approx(force / load.line.length, rel=0.005)


def test_sector_means_add_up_and_run_past_the_start(field):
    load = field.seal("bore 1 bead")
    length = load.line.length
    halves = load.mean_load(0, length / 2), load.mean_load(length / 2, length)
    assert sum(halves) / 2 == pytest.approx(load.mean_load(0, length), rel=1e-9)
    assert load.mean_load(length - 3, length + 3) == pytest.approx(
        (load.mean_load(length - 3, length) + load.mean_load(0, 3)) / 2, rel=1e-9
    )


def test_weak_place_is_as_deep_and_long_as_said(one_bore):
    near = tuple(seal_line(one_bore, one_bore.seals[0]).points[500])
    strong = LineDesign(mean=150.0, width=2.0, swing=0.0, ripple=0.0)
    weak = replace(strong, weak=(WeakPlace(near, depth=0.6, length=8.0),))
    built = [
        build_field(one_bore, designs={"bore 1 bead": design}, land=_NO_LAND, seed=1).seal("bore 1 bead")
        for design in (strong, weak)
    ]
    share = built[1].joint / built[0].joint
    assert share.min() == pytest.approx(0.4, abs=0.001)
    assert np.argmin(share) == 500
    assert (share < 0.7).sum() * built[1].line.step == pytest.approx(8.0, abs=0.25)


def test_load_sags_between_fasteners():
    plan = small_plan()
    load = build_field(plan, seed=2).seal("bore 1 bead")
    fasteners = np.array([hole.centre for hole in plan.fastener_holes])
    away = np.hypot(*(load.line.points[:, None] - fasteners[None]).transpose(2, 0, 1)).min(axis=1)
    order = np.argsort(away)
    fifth = len(order) // 5
    assert load.joint[order[:fifth]].mean() > 1.03 * load.joint[order[-fifth:]].mean()


def test_print_holds_the_peak_of_the_tightening(field):
    joint, final = field.raster("joint", 0.2).values, field.raster("final", 0.2).values
    assert np.all(joint >= final - 1e-4)
    assert 1.01 < field.force("joint") / field.force("final") < 1.10


def test_fasteners_lose_to_their_neighbours_and_end_settled():
    centres = np.array([(x, y) for x in (0.0, 90.0, 180.0) for y in (0.0, 100.0)])
    calm = Tightening(scatter=0.0, overshoot=0.0, settling=0.0)
    pull = calm.history(centres)
    assert len(pull) == 3 * len(centres) + 1
    assert pull.max() == pytest.approx(1.0)
    assert pull[-1].min() < 1.0
    settled = replace(calm, settling=0.05).history(centres)
    assert settled[-1] == pytest.approx(0.95 * pull[-1])
    undisturbed = replace(calm, loss=0.0).history(centres)
    assert undisturbed[-1] == pytest.approx(np.ones(len(centres)))


def test_nothing_presses_over_openings_and_beyond_the_outline():
    plan = small_plan()
    raster = build_field(plan, land=LandDesign(bare=0.0), seed=5).raster("joint", 0.2)
    for opening in plan.openings:
        inner = opening_polygon(plan, opening.name).buffer(-0.5)
        points = np.array([point.coords[0] for point in shapely.points(inner.exterior.coords)])
        assert raster.sample(points).max() == 0.0
    assert raster.sample([(-1.0, 50.0), (50.0, -1.0)]) == pytest.approx([0.0, 0.0])
    assert raster.sample([(20.0, 70.0)])[0] > 0


# -- film


def test_film_answers_from_its_toe_to_saturation():
    film = FilmChemistry()
    share = film.burst_share([2.0, 5.0, 20.0, 100.0, 300.0])
    assert share[0] < 0.001
    assert 0.002 < share[1] < 0.02
    assert 0.2 < share[2] < 0.3
    assert 0.9 < share[3] < 0.97
    assert share[4] > 0.995
    assert film.pressure_of_share(share) == pytest.approx([2.0, 5.0, 20.0, 100.0, 300.0], rel=1e-9)


def test_density_rises_with_pressure_in_every_channel_most_in_green():
    film = FilmChemistry()
    density = -np.log10(film.reflectance(film.burst_share(np.linspace(1, 300, 60))) / film.blank)
    assert np.all(np.diff(density, axis=0) > 0)
    assert density[-1, 1] == pytest.approx(1.3, abs=0.06)
    assert density[-1, 1] > density[-1, 2] > density[-1, 0]


def test_fog_is_density_of_the_blank_sheet():
    film = FilmChemistry()
    blank = film.reflectance([film.fog_share(0.02)])[0, 1]
    assert -np.log10(blank / film.blank[1]) == pytest.approx(film.fog + 0.02, abs=1e-9)
    assert film.fog_share(-1.0) == 0.0


def test_more_sensitive_sheet_reads_as_more_pressure():
    film = FilmChemistry()
    assert film.burst_share(40.0, 0.01) == pytest.approx(film.burst_share(40.4))


# -- calibration


def _stain(calibration, piece, half_mm=4.0):
    folder, scanner, truth = calibration
    light = _light(tifffile.imread(folder / truth.scan)[..., 1].astype(float), scanner)
    half = int(half_mm * scanner.per_mm)
    col, row = (round(value) for value in piece.centre)
    return light[row - half : row + half, col - half : col + half]


def test_stains_show_the_light_that_the_film_sends_back(calibration):
    truth = calibration[2]
    fog = truth.chemistry.fog_share()
    for piece in truth.pieces:
        share = 1 - (1 - truth.chemistry.burst_share(piece.pressure)) * (1 - fog)
        expected = truth.chemistry.reflectance([share])[0, 1]
        assert _stain(calibration, piece).mean() == pytest.approx(expected, rel=0.008)


def test_grain_is_that_of_bursting_clumps(calibration):
    _, scanner, truth = calibration
    fog = truth.chemistry.fog_share()
    side = 12
    found, expected = [], []
    for piece in (piece for piece in truth.pieces if piece.nominal in (33.0, 45.0)):
        stain = _stain(calibration, piece)
        count = len(stain) // side
        blocks = stain[: count * side, : count * side].reshape(count, side, count, side).mean(axis=(1, 3))
        # Blocks are wide against the blur, so that their scatter is that of uncorrelated grain.
        found.append(blocks.var() * (side / scanner.per_mm) ** 2)
        share = 1 - (1 - truth.chemistry.burst_share(piece.pressure)) * (1 - fog)
        blank, dyed = truth.chemistry.colours("white")
        expected.append((truth.chemistry.grain(share, 1 / scanner.per_mm**2) * (blank - dyed)[1]) ** 2)
    assert np.mean(found) == pytest.approx(np.mean(expected), rel=0.15)


def test_pieces_stand_in_reading_order_with_scattered_pressure(calibration):
    folder, _, truth = calibration
    record = FilmCalibration.model_validate(tomllib.loads((folder / truth.record).read_text("utf-8")))
    assert [piece.pressure for piece in record.pieces] == pytest.approx([p.nominal for p in truth.pieces])
    rows = [[piece.centre for piece in truth.pieces[first : first + 5]] for first in (0, 5)]
    assert all(a[0] < b[0] for row in rows for a, b in itertools.pairwise(row))
    assert max(at[1] for at in rows[0]) < min(at[1] for at in rows[1])
    off = [piece.pressure / piece.nominal - 1 for piece in truth.pieces if piece.nominal > 0]
    assert 0.002 < np.std(off) < 0.025


# -- prints


def test_pose_finds_cut_holes_where_they_are_on_the_scan(tmp_path, one_bore, landed_field):
    worry = Disturbances(
        rotation=7.0,
        mirrored=True,
        scale_error=(0.008, -0.006),
        wobble=0.05,
        hole_shift=0.3,
        hole_roughness=0.08,
    )
    scanner = Scanner(dpi=300.0, backing="black")
    scan = make_print(tmp_path, one_bore, landed_field, scanner=scanner, disturbances=worry, seed=6).scans[0]
    light = tifffile.imread(tmp_path / scan.file)[..., 1] / 65535
    assert light.shape == scan.size
    dark, count = ndimage.label(light < 0.5)
    middles = np.array(ndimage.center_of_mass(np.ones_like(dark), dark, range(1, count + 1)))[:, ::-1]
    assert len(scan.cuts) == len(one_bore.openings)
    for cut in scan.cuts:
        on_scan = shapely.Polygon(scan.pose.to_scan(cut.edge)).centroid
        away = np.hypot(*(middles - (on_scan.x, on_scan.y)).T)
        assert away.min() < 0.4


@pytest.mark.parametrize("mirrored", [False, True])
def test_pose_there_and_back(tmp_path, one_bore, landed_field, mirrored):
    worry = Disturbances(rotation=33.0, mirrored=mirrored, wobble=0.05, scale_error=(0.01, 0.0))
    truth = make_print(tmp_path, one_bore, landed_field, scanner=Scanner(dpi=60.0), disturbances=worry)
    pose = truth.scans[0].pose
    points = np.random.default_rng(0).uniform(0, 130, (50, 2))
    assert pose.to_deck(pose.to_scan(points)) == pytest.approx(points, abs=1e-9)
    assert pose.mirrored is mirrored
    corner = pose.to_scan(points)
    assert corner.min() > 0
    assert np.all(corner.max(axis=0) < truth.scans[0].size[::-1])


def test_dark_line_lies_where_the_bead_is(tmp_path, one_bore, landed_field):
    worry = Disturbances(rotation=200.0, scale_error=(0.005, 0.005))
    scanner = Scanner(dpi=300.0)
    truth = make_print(tmp_path, one_bore, landed_field, scanner=scanner, disturbances=worry)
    light = tifffile.imread(tmp_path / "print-1.tif")[..., 1].astype(float)
    load = truth.seal("bore 1 bead")
    off = np.arange(-2.0, 2.01, 0.05)
    points = load.line.points[::40, None] + off[None, :, None] * load.line.normals[::40, None]
    at = truth.scans[0].pose.to_scan(points.reshape(-1, 2))
    across = ndimage.map_coordinates(light, at.T[::-1], order=1).reshape(-1, len(off))
    darkness = across.max(axis=1, keepdims=True) - across
    crown = (darkness * off).sum(axis=1) / darkness.sum(axis=1)
    assert crown == pytest.approx(load.crown[::40], abs=0.06)


def test_files_are_valid_and_name_each_other(tmp_path):
    plan = small_plan()
    gasket = candidate_gasket().model_copy(update={"seals": ()})
    truth = make_print(
        tmp_path, plan, build_field(plan), gasket=gasket, scanner=Scanner(dpi=75.0, resolution_tags=False)
    )

    def read(name):
        return tomllib.loads((tmp_path / name).read_text(encoding="utf-8"))

    test = FilmTest.model_validate(read(truth.record))
    assert DeckPlan.model_validate(read(test.deck)) == plan
    assert Gasket.model_validate(read(test.gasket)) == gasket
    assert FilmBatch.model_validate(read(test.film)).response is None
    assert test.clamp is not None
    assert abs(test.clamp.total / truth.final_force - 1) < 4 * test.clamp.uncertainty
    assert test.scans[0].resolution == pytest.approx(75.0 / 25.4)
    assert (tmp_path / test.scans[0].file).exists()


def test_written_definitions_read_back_the_same():
    for model in (engine_plan(), factory_gasket(), candidate_gasket()):
        assert type(model).model_validate(tomllib.loads(write_text(model))) == model


def _digest(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def test_same_seed_same_field(one_bore):
    first, again, other = (build_field(one_bore, seed=seed) for seed in (7, 7, 8))
    name = "outer bead"
    assert np.array_equal(first.seal(name).joint, again.seal(name).joint)
    assert np.array_equal(first.land_joint.values, again.land_joint.values)
    assert not np.array_equal(first.seal(name).joint, other.seal(name).joint)


def test_same_seed_same_bytes(tmp_path, one_bore, landed_field):
    worry = Disturbances.harsh(np.random.default_rng(8))

    def make(name, seed):
        make_print(
            tmp_path / name, one_bore, landed_field, scanner=Scanner(dpi=120.0),
            disturbances=worry, seed=seed,
        )  # fmt: skip
        return _digest(tmp_path / name)

    first = make("first", 5)
    assert make("again", 5) == first
    assert make("other", 6)["print-1.tif"] != first["print-1.tif"]


@pytest.mark.parametrize(
    "changes",
    [
        {"bits": 8, "encoding": "linear", "compression": "deflate"},
        {"bits": 8, "encoding": "srgb", "compression": "lzw"},
        {"bits": 16, "encoding": "gamma", "compression": "deflate"},
        {"bits": 16, "encoding": "linear", "compression": "none", "backing": "black"},
    ],
)
def test_every_kind_of_file_holds_the_same_light(tmp_path, one_bore, landed_field, changes):
    scanner = Scanner(dpi=100.0, **changes)
    make_print(tmp_path, one_bore, landed_field, scanner=scanner)
    with tifffile.TiffFile(tmp_path / "print-1.tif") as file:
        page = file.pages[0]
        assert page.dtype == (np.uint8 if scanner.bits == 8 else np.uint16)
        assert page.tags["XResolution"].value[0] / page.tags["XResolution"].value[1] == 100
        light = _light(page.asarray().astype(float), scanner)
    lid = 0.93 if scanner.backing == "white" else 0.035
    middle = light[light.shape[0] // 2, light.shape[1] // 2 - 20 : light.shape[1] // 2 + 20]
    assert middle[:, 0].mean() == pytest.approx(lid, abs=0.005)


def test_lamp_exposure_and_curl_change_the_light_as_said(tmp_path, one_bore, landed_field):

    def light(name, *, curl=0.0, **scanner):
        used = Scanner(dpi=60.0, encoding="linear", noise=0.0, **scanner)
        make_print(
            tmp_path / name, one_bore, landed_field, scanner=used, disturbances=Disturbances(curl=curl)
        )
        return tifffile.imread(tmp_path / name / "print-1.tif")[..., 0] / 65535

    plain = light("plain")
    lamp = light("lamp", lamp_error=0.04) / plain
    assert lamp[:3, [0, -1]] == pytest.approx(0.96, abs=0.003)
    assert lamp[:3, lamp.shape[1] // 2] == pytest.approx(1.0, abs=0.002)
    assert light("bright", exposure=1.3).max() == 1.0
    curled = light("curled", curl=2.5) / plain
    assert 1 - 0.012 * 2.5 - 0.002 <= curled.min() < 0.98
    assert curled.max() <= 1.001


def test_undisturbed_print_has_no_marks_and_typical_ones_are_told(tmp_path, one_bore, landed_field):
    scanner = Scanner(dpi=60.0)
    clean = make_print(tmp_path / "clean", one_bore, landed_field, scanner=scanner).scans[0]
    assert clean.marks == ()
    assert clean.missing == ()
    worry = Disturbances(dust=12, creases=2, rubs=3, pen_marks=1, missing_holes=0.3)
    dirty = make_print(
        tmp_path / "dirty", one_bore, landed_field, scanner=scanner, disturbances=worry, seed=2
    ).scans[0]
    kinds = [mark.kind for mark in dirty.marks]
    assert kinds.count("dust") + kinds.count("lint") == 12
    assert kinds.count("crease") == 2
    assert kinds.count("rub") == 3
    assert "pen" in kinds
    assert dirty.missing
    assert not {cut.opening for cut in dirty.cuts} & set(dirty.missing)
    assert "bore 1" not in dirty.missing
    x, y = opening_polygon(one_bore, dirty.missing[0]).centroid.coords[0]
    assert dirty.sheet.contains(shapely.Point(x, y))


def test_crease_darkens_and_dust_hides(tmp_path, one_bore, landed_field):
    scanner = Scanner(dpi=300.0, encoding="linear", noise=0.0)

    def seen(name, **marks):
        truth = make_print(
            tmp_path / name,
            one_bore,
            landed_field,
            scanner=scanner,
            disturbances=Disturbances(**marks),
            seed=9,
        )
        scan = truth.scans[0]
        return scan, tifffile.imread(tmp_path / name / scan.file) / 65535

    scan, creased = seen("crease", creases=1)
    points = np.array([p for p in scan.marks[0].points if scan.sheet.buffer(-1).contains(shapely.Point(p))])
    at = scan.pose.to_scan(points).T[::-1]
    beside = scan.pose.to_scan(points + np.array([2.0, 1.5])).T[::-1]
    on_line = np.median(ndimage.map_coordinates(creased[..., 1], at, order=1))
    assert on_line < np.median(ndimage.map_coordinates(creased[..., 1], beside, order=1)) - 0.05


def test_two_sheets_cover_the_deck_and_overlap(tmp_path):
    plan = small_plan()
    order = PrintOrder(name="halves", sheets=2, overlap=20.0)
    worry = Disturbances(rotation=90.0), Disturbances(rotation=-2.0, mirrored=False)
    truth = make_print(
        tmp_path, plan, build_field(plan), order=order, scanner=Scanner(dpi=75.0), disturbances=worry
    )
    left, right = truth.scans
    assert (tmp_path / left.file).exists()
    assert (tmp_path / right.file).exists()
    gasket = outline_polygon(plan).difference(
        shapely.union_all([opening_polygon(plan, opening.name).buffer(1.0) for opening in plan.openings])
    )
    assert gasket.difference(left.sheet.union(right.sheet)).area < 1e-6 * gasket.area
    both = left.sheet.intersection(right.sheet).bounds
    assert both[2] - both[0] == pytest.approx(20.0, abs=2.5)
    assert {cut.opening for cut in left.cuts} & {cut.opening for cut in right.cuts}
    assert left.size != right.size


def test_random_cases_differ_and_stay_printable(tmp_path):
    cases = [random_case(np.random.default_rng(n), bores=1 + n % 2, dpi=100.0) for n in range(4)]
    assert len({case.plan.bores[0].diameter for case in cases}) == 4
    for case in cases:
        peak = max(load.joint.max() * load.design.unit_peak for load in case.field.seals)
        assert 40 < peak < 140
    case = cases[0]
    truth = make_print(
        tmp_path, case.plan, case.field, scanner=case.scanner, disturbances=case.disturbances,
        chemistry=case.chemistry,
    )  # fmt: skip
    assert truth.band_load("bore 1 bead", 0.0, 40.0, half_width=3.0) >= 0.98 * truth.line_load(
        "bore 1 bead", 0.0, 40.0
    )


# -- demonstration


def test_candidate_sags_less_but_has_one_weak_place():
    plan = plan_with_gasket(engine_plan(), candidate_gasket())
    assert plan.seals != engine_plan().seals
    bores = [f"bore {n} bead" for n in range(1, 5)]
    factory, candidate = factory_field(), candidate_field()
    least = {name: candidate.seal(name).joint.min() for name in bores}
    weakest = min(least, key=lambda name: least[name])
    assert weakest == "bore 3 bead"
    for name in bores:
        evenness = [f.seal(name).joint.min() / f.seal(name).joint.mean() for f in (factory, candidate)]
        assert (evenness[1] > evenness[0]) == (name != weakest)
    assert least[weakest] < 0.5 * candidate.seal(weakest).joint.mean()


@pytest.mark.slow
def test_demo_holds_every_file_and_no_truth(tmp_path):
    truth = make_demo(tmp_path, scanner=replace(DEMO_SCANNER, dpi=75.0))
    assert {path.name for path in tmp_path.iterdir()} == {
        "deck.toml", "factory.toml", "candidate.toml", "film.toml", "criteria.toml", "fastening.toml",
        "calibration.toml", "calibration.tif", "factory-print.toml", "factory-print-1.tif",
        "candidate-print.toml", "candidate-print-1.tif", "candidate-print-2.tif",
        "factory-fastening.toml", "candidate-fastening.toml",
        "prediction.toml", "prediction-factory.toml", "prediction-candidate.toml",
        "law-bore-bead.csv", "law-half-bead.csv",
    }  # fmt: skip
    Criteria.model_validate(tomllib.loads((tmp_path / "criteria.toml").read_text(encoding="utf-8")))
    Fastening.model_validate(tomllib.loads((tmp_path / "fastening.toml").read_text(encoding="utf-8")))
    for made in (truth.factory, truth.candidate):
        FilmTest.model_validate(tomllib.loads((tmp_path / made.record).read_text(encoding="utf-8")))
    for role in ("factory", "candidate"):
        record, fastened = (
            tomllib.loads((tmp_path / f"{role}-{what}.toml").read_text(encoding="utf-8"))
            for what in ("print", "fastening")
        )
        stages = [stage["torque"] for stage in fastened["tightening"]["stage"]]
        assert stages == [step["torque"] for step in record["step"]]
    rows, cols = truth.factory.scans[0].size
    assert 45e6 < rows * cols * (600 / 75) ** 2 < 60e6
    assert len(truth.candidate.scans) == 2


def test_film_file_that_is_there_stays(tmp_path, one_bore, landed_field):
    (tmp_path / "film.toml").write_text("kept", encoding="utf-8")
    make_print(tmp_path, one_bore, landed_field, scanner=Scanner(dpi=40.0))
    assert (tmp_path / "film.toml").read_text(encoding="utf-8") == "kept"

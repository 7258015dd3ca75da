"""Registration of generated prints with everything wrong that the bench can do, against their true pose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from firedeck.definition.film_test import Landmark
from firedeck.files.scan_file import open_scan
from firedeck.film.picture import ScanPicture, pool_scan
from firedeck.film.registration import Registration, overlap_residual, register, register_by_landmarks
from firedeck.kernel.transfer import Transfer, reflectance_table
from firedeck.scenario.chance import random_case
from firedeck.scenario.disturbances import Scanner
from firedeck.scenario.scanning import PrintOrder, make_print
from firedeck.scenario.truth import ScanTruth


def load(path, scanner: Scanner) -> ScanPicture:
    scan = open_scan(path, resolution_per_mm=(scanner.per_mm, scanner.per_mm))
    transfer = {
        "linear": Transfer.linear(),
        "srgb": Transfer.srgb(),
        "gamma": Transfer.from_gamma(scanner.gamma),
    }
    return pool_scan(
        ((block.row0, block.col0, block.values) for block in scan.strips()),
        name=path.name,
        size=(scan.height, scan.width),
        channels=scan.channels,
        resolution_per_mm=(scanner.per_mm, scanner.per_mm),
        linear=reflectance_table(transfer[scanner.encoding], scan.bits).reflectance,
        measuring=1,
    )


def errors(found: Registration, truth: ScanTruth, per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Distance from the truth, and its standard uncertainty, all over the sheet on the deck [mm]."""
    x0, y0, x1, y1 = truth.sheet.bounds
    grid = np.stack(np.meshgrid(np.linspace(x0 + 8, x1 - 8, 31), np.linspace(y0 + 8, y1 - 8, 21)), axis=-1)
    points = grid.reshape(-1, 2)
    points = points[shapely.contains_xy(shapely.Polygon(shapely.get_exterior_ring(truth.sheet)), points)]
    picture = (truth.pose.to_scan(points) + 0.5) / per_mm
    return np.hypot(*(found.to_deck(picture) - points).T), found.uncertainty_at(points)


@pytest.mark.parametrize(("seed", "sheets"), [(3, 1), (4, 2)])
def test_harsh_print_lies_where_it_should(tmp_path, seed, sheets):
    rng = np.random.default_rng([seed, 5])
    case = random_case(rng, bores=sheets, dpi=200.0, harsh=True)
    worry = tuple(
        replace(case.disturbances, rotation=case.disturbances.rotation + 100 * n) for n in range(sheets)
    )
    truth = make_print(
        tmp_path,
        case.plan,
        case.field,
        order=PrintOrder(sheets=sheets),
        scanner=case.scanner,
        disturbances=worry,
        chemistry=case.chemistry,
        seed=seed,
    )
    placed = [register(load(tmp_path / scan.file, case.scanner), case.plan) for scan in truth.scans]
    for found, scan in zip(placed, truth.scans, strict=True):
        distance, expected = errors(found, scan, case.scanner.per_mm)
        assert found.mirrored is scan.pose.mirrored
        assert np.quantile(distance, 0.95) < 0.15
        # The stated uncertainty neither hides the error nor drowns it.
        assert 0.2 < np.sqrt(np.mean((distance / expected) ** 2)) < 2.0
        assert {name for name, _ in found.matched}.isdisjoint(scan.missing)
    if sheets == 2:
        apart, count = overlap_residual(*placed)
        assert count >= 1
        assert apart < 1.2


def test_landmarks_count_pixels_as_the_scan_file_does(tmp_path):
    rng = np.random.default_rng(11)
    case = random_case(rng, bores=1, dpi=150.0)
    worry = replace(case.disturbances, missing_holes=1.0)
    truth = make_print(
        tmp_path, case.plan, case.field, scanner=case.scanner, disturbances=worry, chemistry=case.chemistry
    )
    scan = truth.scans[0]
    places = [(2.0, 2.0), (126.0, 4.0), (120.0, 140.0), (6.0, 138.0)]
    landmarks = [
        Landmark(scan=scan.file, pixel=tuple(pixel), plan=place)
        for pixel, place in zip(scan.pose.to_scan(places), places, strict=True)
    ]
    found = register_by_landmarks(load(tmp_path / scan.file, case.scanner), case.plan, landmarks)
    distance, _ = errors(found, scan, case.scanner.per_mm)
    assert np.quantile(distance, 0.95) < 0.15
    assert found.hole_count <= 1

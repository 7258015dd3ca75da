"""Make one print by chance, read it, and set the reading against the truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from firedeck.kernel.breach import saddle_matrix
from firedeck.scenario.calibration import make_calibration
from firedeck.scenario.chance import ChanceCase, random_case
from firedeck.scenario.disturbances import Disturbances
from firedeck.scenario.scanning import PrintOrder, make_print
from firedeck.scenario.truth import PrintTruth
from firedeck.seal.profile import LoadTable, SealProfile
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.prints.reading import PrintReading, read_print

__all__ = ["CaseResult", "CaseSpec", "run_case"]

#: Pressure below which a seal's own load counts as nothing when its line's edge is sought [MPa].
_OWN_LIMIT_MPA = 0.05
_ACROSS_MM = 0.025


@dataclass(frozen=True)
class CaseSpec:
    """What is drawn: seed, resolution, severity, bits and sheets."""

    seed: int
    dpi: float = 300.0
    harsh: bool = True
    bits: int = 16
    sheets: int = 1
    bores: int = 2


@dataclass(frozen=True)
class CaseResult:
    """One print's reading against its truth.

    Arrays over sectors: `true`, `read`, `low`, `high` [N/mm], `crown` (true felt crown) [MPa],
    `in_range`, `saturated` (flagged), `hidden`. `weakest`: a bool for every judged seal.
    `felt`, `joint`: rows of (true, read, low, high) [MPa] for the places that decide leak paths.
    """

    spec: CaseSpec
    traits: dict[str, str]
    true: np.ndarray
    read: np.ndarray
    low: np.ndarray
    high: np.ndarray
    crown: np.ndarray
    in_range: np.ndarray
    saturated: np.ndarray
    hidden: np.ndarray
    kinds: np.ndarray
    force_error: float
    registration: np.ndarray
    weakest: np.ndarray
    felt: np.ndarray
    joint: np.ndarray
    top: float


def run_case(spec: CaseSpec) -> CaseResult:
    """Make, calibrate, read and compare one case."""
    rng = np.random.default_rng([spec.seed, 77])
    case = random_case(rng, bores=spec.bores, dpi=spec.dpi, harsh=spec.harsh)
    scanner = replace(case.scanner, bits=spec.bits)
    worries = case.disturbances
    with TemporaryDirectory() as name:
        folder = Path(name)
        blank = Disturbances(fog=float(rng.uniform(-0.02, 0.02)), curl=0.5)
        calibration = make_calibration(
            folder, scanner=scanner, disturbances=blank, chemistry=case.chemistry, seed=spec.seed
        )
        truth = make_print(
            folder,
            case.plan,
            case.field,
            order=PrintOrder(sheets=spec.sheets),
            scanner=scanner,
            disturbances=_second_pose(worries, spec, rng),
            chemistry=case.chemistry,
            seed=spec.seed,
        )
        calibrate_film(folder / calibration.record)
        reading = read_print(folder / truth.record)
    return _compare(spec, case, truth, reading)


def _second_pose(worry: Disturbances, spec: CaseSpec, rng: np.random.Generator) -> tuple[Disturbances, ...]:
    """Give a second sheet its own pose and fog; both are scanned from the same side."""
    turned = replace(worry, rotation=float(rng.uniform(0, 360)), fog=float(rng.uniform(-0.03, 0.03)))
    return (worry, turned)[: spec.sheets]


def _compare(spec: CaseSpec, case: ChanceCase, truth: PrintTruth, reading: PrintReading) -> CaseResult:
    low_range, top = reading.map.stated_range
    sectors = [_sectors(truth, profile, top) for profile in reading.profiles]
    table = np.hstack(sectors)
    kinds = np.concatenate(
        [np.full(part.shape[1], str(p.kind)) for part, p in zip(sectors, reading.profiles, strict=True)]
    )
    true, read, low, high, crown, saturated, peak = table
    felt, joint = _leaks(truth, reading)
    return CaseResult(
        spec=spec,
        traits=_traits(spec, case),
        true=true,
        read=read,
        low=low,
        high=high,
        crown=peak,
        in_range=(crown >= low_range) & (peak <= top),
        saturated=saturated.astype(bool),
        hidden=~np.isfinite(read),
        kinds=kinds,
        force_error=_force_error(truth, reading),
        registration=_registration_errors(truth, reading),
        weakest=_weakest(truth, reading, top),
        felt=felt,
        joint=joint,
        top=top,
    )


def _traits(spec: CaseSpec, case: ChanceCase) -> dict[str, str]:
    return {
        "bits": str(spec.bits),
        "resolution": f"{spec.dpi:.0f} dpi",
        "sheets": str(spec.sheets),
        "backing": case.scanner.backing,
        "encoding": case.scanner.encoding,
        "seen": "mirrored" if case.disturbances.mirrored else "from the head",
        "severity": "harsh" if spec.harsh else "careful",
    }


def _around(
    truth: PrintTruth, name: str, s0: float, s1: float
) -> tuple[np.ndarray, np.ndarray, tuple[int, int]]:
    """Return points across a seal between two arc lengths: (points, distance across, shape)."""
    load = truth.seal(name)
    reach = load.design.reach + 0.2
    at = np.arange(s0, s1, load.line.step)
    across = np.arange(-reach + _ACROSS_MM / 2, reach, _ACROSS_MM)
    rows = np.floor(at / load.line.step + 1e-9).astype(int) % len(load.line.points)
    points = load.line.points[rows][:, None, :] + across[None, :, None] * load.line.normals[rows][:, None, :]
    return points.reshape(-1, 2), across, (len(at), len(across))


def true_load(truth: PrintTruth, name: str, s0: float, s1: float) -> float:
    """Return the true line load [N/mm]: joint pressure integrated across the pressed line."""
    points, _, shape = _around(truth, name, s0, s1)
    joint, land = (field.sample(points).reshape(shape) for field in (truth.joint, truth.land))
    return float(np.where(joint - land > _OWN_LIMIT_MPA, joint, 0.0).sum(axis=1).mean() * _ACROSS_MM)


def true_crown(truth: PrintTruth, name: str, s0: float, s1: float) -> tuple[float, float]:
    """Return the lowest and highest felt crown pressure between two arc lengths [MPa]."""
    points, _, shape = _around(truth, name, s0, s1)
    crown = truth.felt.sample(points).reshape(shape).max(axis=1)
    return float(crown.min()), float(crown.max())


def _ends(table: LoadTable, profile: SealProfile) -> list[tuple[float, float]]:
    middle = table.at + profile.strip.line.step / 2
    return [(at - table.window / 2, at + table.window / 2) for at in middle]


def _sectors(truth: PrintTruth, profile: SealProfile, top: float) -> np.ndarray:
    table = profile.sectors
    ends = _ends(table, profile)
    true = [true_load(truth, profile.name, *end) for end in ends]
    crowns = np.array([true_crown(truth, profile.name, *end) for end in ends])
    return np.vstack(
        [true, table.line_load, table.low, table.high, crowns[:, 0], table.has("saturated"), crowns[:, 1]]
    )


def _force_error(truth: PrintTruth, reading: PrintReading) -> float:
    """Return the relative error of the force over the cells that the reader counts as in range."""
    used = (reading.map.flags == 0) & np.isfinite(reading.map.value)
    x, y = np.meshgrid(reading.map.grid.x, reading.map.grid.y)
    felt = truth.felt.sample(np.column_stack([x[used], y[used]]))
    return float(reading.map.value[used].sum(dtype=float) / felt.sum() - 1)


def _registration_errors(truth: PrintTruth, reading: PrintReading) -> np.ndarray:
    errors = []
    for scan, sheet in zip(truth.scans, reading.sheets, strict=True):
        rows, cols = (np.linspace(0.1, 0.9, 7) * size for size in scan.size)
        pixels = np.array([(c, r) for r in rows for c in cols])
        true = scan.pose.to_deck(pixels)
        found = sheet.registration.to_deck((pixels + 0.5) * np.array(sheet.loaded.pixel_mm))
        errors.append(np.hypot(*(found - true).T))
    return np.concatenate(errors)


def _weakest(truth: PrintTruth, reading: PrintReading, top: float) -> np.ndarray:
    """Tell for every seal seen whole and unsaturated whether its weakest place was named right."""
    right = []
    for profile, summary in zip(reading.profiles, reading.summaries, strict=True):
        table = profile.sliding
        if summary.weakest is None or table.has("saturated").any() or not np.isfinite(table.line_load).all():
            continue
        true = np.array([true_load(truth, profile.name, *end) for end in _ends(table, profile)[::2]])
        if true_crown(truth, profile.name, 0.0, profile.length)[0] < reading.map.stated_range[0]:
            continue
        at = table.at[::2]
        named = summary.weakest.at
        gap = abs(named - at[int(np.argmin(true))])
        close = min(gap, profile.length - gap) <= table.window
        here = true_load(truth, profile.name, named - table.window / 2, named + table.window / 2)
        right.append(close or here <= 1.03 * true.min())
    return np.array(right, bool)


def _leaks(truth: PrintTruth, reading: PrintReading) -> tuple[np.ndarray, np.ndarray]:
    """Return rows of (true, read, low, high) for unlike saddles, as felt and in the joint [MPa]."""
    grid = reading.map.grid
    x, y = np.meshgrid(grid.x, grid.y)
    places = np.column_stack([x.ravel(), y.ravel()])
    media, names = reading.field.media, reading.files.plan.media
    found: tuple[list[tuple[float, ...]], list[tuple[float, ...]]] = ([], [])
    for state, rows in zip(("felt", "joint"), found, strict=True):
        raster = truth.felt if state == "felt" else truth.joint
        pressure = raster.sample(places).reshape(grid.shape)
        pressure[media > 0] = 0.0
        true = saddle_matrix(pressure, media, count=len(names)).direct_heights
        seen: set[float] = set()
        for path in reading.leaks:
            height = float(true[names.index(path.a), names.index(path.b)])
            estimate = path.felt if state == "felt" else path.joint
            low, high = reading.map.lowest * 1.5, 0.95 * reading.map.stated_range[1]
            if height in seen or not low < height < high or "saturated" in estimate.flags:
                continue
            seen.add(height)
            rows.append((height, estimate.value, estimate.low, estimate.high))
    return np.array(found[0]).reshape(-1, 4), np.array(found[1]).reshape(-1, 4)

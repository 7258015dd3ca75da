"""Read a print: from the scans of a film test to a verdict for every seal."""

from __future__ import annotations

import dataclasses
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firedeck import __version__
from firedeck.compare import MapDifference, SealDifference, compare_seals, difference_map
from firedeck.definition.criteria import Criteria, default_criteria
from firedeck.definition.deck import DeckPlan
from firedeck.definition.film import FilmBatch, Response
from firedeck.definition.film_test import FilmTest, Scan
from firedeck.definition.gasket import Gasket, plan_with_gasket
from firedeck.definition.zones import opening_labels
from firedeck.errors import FiredeckError, PrintError
from firedeck.evidence import flag_bit
from firedeck.files.definition_file import read_definition
from firedeck.files.scan_file import file_hash
from firedeck.film.agreement import check_agreement
from firedeck.film.artefacts import InkPlaces, ink_places, mask_artefacts
from firedeck.film.mapping import PlanZones, assemble_map, deck_grid, plan_zones, read_sheet
from firedeck.film.marks import SealMarks, seal_marks
from firedeck.film.registration import Registration, register, register_by_landmarks
from firedeck.film.response import build_conversion
from firedeck.film.sheet import SheetFinding, find_sheet
from firedeck.kernel.threads import row_bands, side_by_side
from firedeck.pressure_map import Conversion, FloatArray, Grid, PressureMap
from firedeck.seal.balance import ClampBalance, clamp_balance
from firedeck.seal.crown import SealPlaces, study_crowns
from firedeck.seal.leak import LENGTH_SCALE_MM, LeakField, LeakPath, find_leaks, leak_field, trace_leak
from firedeck.seal.profile import SealProfile, profile_seals
from firedeck.seal.strip import SealBand, seal_bands, unroll_seals
from firedeck.seal.summary import SealSummary, summarise_seal
from firedeck.study.prints.scanning import LoadedScan, load_scan
from firedeck.study.progress import Progress, silent
from firedeck.verdict import Verdict, judge

__all__ = [
    "Comparison",
    "PrintReading",
    "TestFiles",
    "compare_readings",
    "lay_down",
    "load_test",
    "read_print",
]

DEFAULT_PITCH_MM = 0.1

#: Share of the film's area that is saturated beyond which nothing is read from a sheet [1].
_DARK_LIMIT = 0.5

#: Rows of the map that are counted at a time.
_BAND_ROWS = 64


@dataclass(frozen=True)
class TestFiles:
    """A film test with every definition that it names, read and checked."""

    __test__ = False  # keeps test collectors from taking this class for a test

    folder: Path
    test: FilmTest
    plan: DeckPlan
    gasket: Gasket
    batch: FilmBatch
    criteria: Criteria
    notes: tuple[str, ...]
    record: str = ""

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of the definition files behind the test, its own record first."""
        named = (self.record, self.test.deck, self.test.gasket, self.test.film, self.test.criteria)
        return tuple(name for name in named if name)


@dataclass(frozen=True)
class SheetReading:
    """One scan of a print: what was found on it and how it was laid onto the plan."""

    scan: Scan
    loaded: LoadedScan
    finding: SheetFinding
    registration: Registration


@dataclass(frozen=True)
class PrintReading:
    """Everything that one print says.

    Attributes
    ----------
    files : TestFiles
        The test and its definitions.
    sheets : tuple of SheetReading
        Its scans.
    map : PressureMap
        The pressure map.
    profiles, summaries : tuple
        One a seal, in the plan's order.
    field : LeakField
        Contact pressure prepared for leak paths.
    leaks : tuple of LeakPath
        Between every two media, lowest first.
    balance : ClampBalance or None
        None where the record states no preload.
    verdict : Verdict
        The judgement.
    notes : tuple of str
        Assumptions that change the result.
    """

    files: TestFiles
    sheets: tuple[SheetReading, ...]
    map: PressureMap
    profiles: tuple[SealProfile, ...]
    summaries: tuple[SealSummary, ...]
    field: LeakField
    leaks: tuple[LeakPath, ...]
    balance: ClampBalance | None
    verdict: Verdict
    notes: tuple[str, ...]

    _traces: dict[LeakPath, FloatArray] = dataclasses.field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def leak_trace(self, path: LeakPath) -> FloatArray:
        """Trace one of the leak paths over the deck [mm]; each is traced once."""
        if path not in self._traces:
            self._traces[path] = trace_leak(self.files.plan, self.map, self.field, path)
        return self._traces[path]


@dataclass(frozen=True)
class Comparison:
    """Two readings side by side, second minus first."""

    first: PrintReading
    second: PrintReading
    difference: MapDifference
    seals: tuple[SealDifference, ...]
    notes: tuple[str, ...]


def load_test(test_file: Path) -> TestFiles:
    """Read a film test and the definitions it names, relative to its folder.

    Raises
    ------
    FiredeckError
        With every fault of the first file that has any, or a calibration that does not fit.
    """
    folder = test_file.parent
    test = read_definition(test_file, FilmTest)
    plan = read_definition(folder / test.deck, DeckPlan)
    gasket = read_definition(folder / test.gasket, Gasket)
    batch = read_definition(folder / test.film, FilmBatch)
    notes = list(check_agreement(batch, test))
    if test.criteria:
        criteria = read_definition(folder / test.criteria, Criteria)
    else:
        criteria = default_criteria()
        notes.append("The record names no criteria: trade practice was used, which has no published source.")
    carried = plan_with_gasket(plan, gasket)
    if not carried.seals:
        raise FiredeckError(
            "neither the deck plan nor the gasket states any seal",
            where=test.deck,
            remedy="add [[seal]] tables to the gasket or the deck plan",
        )
    return TestFiles(folder, test, carried, gasket, batch, criteria, tuple(notes), test_file.name)


def read_print(
    test_file: Path, *, pitch: float = DEFAULT_PITCH_MM, progress: Progress = silent
) -> PrintReading:
    """Read a print from its test record.

    Parameters
    ----------
    test_file : Path
        Film test record.
    pitch : float
        Side of the map's cells [mm].
    progress : callable
        Told what is being done and how far it is.

    Returns
    -------
    PrintReading
        Map, seals, leak paths, balance and verdict.

    Raises
    ------
    FiredeckError
        For faulty definitions, unreadable scans, a print that is not this deck, or a calibration
        that does not fit. Nothing is written.
    """
    files = load_test(test_file)
    grid = deck_grid(files.plan, pitch)
    with side_by_side(1) as aside:
        found = _FoundAside.beside_scans(aside, files, grid)
        sheets, pressure_map = _map_scans(files, grid, progress, found)
        # Neither asks anything of the seals: both are done while these are unrolled.
        balance = aside.submit(_balance, files, pressure_map)
        dark = aside.submit(_dark_share, pressure_map)
        progress("reading the seals", 0.8)
        strips = unroll_seals(files.plan, pressure_map, found.bands.result())
        # Leak paths are sought while the seals are profiled: neither needs the other's answer.
        openings = found.openings.result()
        sought = aside.submit(leak_field, files.plan, pressure_map, strips, openings=openings)
        crowns = aside.submit(study_crowns, strips, pressure_map, LENGTH_SCALE_MM)
        profiles = profile_seals(files.plan, pressure_map, strips)
        _require_print(files, dark.result(), profiles)
        summaries = [summarise_seal(files.plan, profile) for profile in profiles]
        places = SealPlaces.of(profiles, pressure_map, LENGTH_SCALE_MM, crowns.result())
        progress("seeking leak paths", 0.9)
        field = sought.result()
        weighed = balance.result()
    leaks = find_leaks(files.plan, pressure_map, profiles, field, places)
    verdict = judge(files.plan, files.criteria, profiles, summaries, leaks, weighed)
    progress("done", 1.0)
    return PrintReading(
        files=files,
        sheets=tuple(sheets),
        map=pressure_map,
        profiles=tuple(profiles),
        summaries=tuple(summaries),
        field=field,
        leaks=tuple(leaks),
        balance=weighed,
        verdict=verdict,
        notes=pressure_map.notes,
    )


@dataclass(frozen=True)
class _FoundAside:
    """What is found beside the scans' reading: parts of the plan, the curve."""

    aside: ThreadPoolExecutor
    marks: Future[SealMarks]
    zones: Future[PlanZones]
    bands: Future[list[SealBand]]
    openings: Future[tuple[npt.NDArray[np.int32], npt.NDArray[np.bool_]]]
    conversion: Future[Conversion]

    @classmethod
    def beside_scans(cls, aside: ThreadPoolExecutor, files: TestFiles, grid: Grid) -> _FoundAside:
        """Start on everything, in the order in which it is needed."""
        plan = files.plan
        return cls(
            aside=aside,
            marks=aside.submit(seal_marks, plan),
            zones=aside.submit(plan_zones, plan, grid),
            bands=aside.submit(seal_bands, plan, grid),
            openings=aside.submit(opening_labels, plan, grid.x, grid.y),
            conversion=aside.submit(build_conversion, _response(files)),
        )


@dataclass(frozen=True)
class _ScanAside:
    """What is found of a scan beside its laying: the file's hash, ink."""

    digest: Future[str]
    ink: Future[InkPlaces]


def _dark_share(pressure_map: PressureMap) -> float:
    """Return the share of the film that is saturated [1]."""
    bit = np.uint16(flag_bit("saturated"))
    pressed = saturated = 0
    for rows in row_bands(pressure_map.grid.rows, _BAND_ROWS):  # what is made on the way stays in the cache
        pressed += int(np.count_nonzero(np.isfinite(pressure_map.value[rows])))
        saturated += int(np.count_nonzero(pressure_map.flags[rows] & bit))
    return saturated / max(pressed, 1)  # only film is ever flagged so


def _require_print(files: TestFiles, dark: float, profiles: list[SealProfile]) -> None:
    """Refuse a sheet that shows no seal at all, or is dark nearly all over."""
    where = ", ".join(scan.file for scan in files.test.scans)
    if all(profile.sectors.has("below-range").all() for profile in profiles):
        raise PrintError(
            "the sheet is blank: no seal left a mark that the film answers to",
            where=where,
            remedy="use a film of lower range, or check that this is the exposed sheet and its coloured side",
        )
    if dark > _DARK_LIMIT:
        raise PrintError(
            f"the sheet is saturated over {100 * dark:.0f} % of its area",
            where=where,
            remedy="use a film of higher range; check that the scan is not too dark",
        )


def _map_scans(
    files: TestFiles, grid: Grid, progress: Progress, found: _FoundAside
) -> tuple[list[SheetReading], PressureMap]:
    readings, signals, beside = [], [], []
    for scan in files.test.scans:
        reading, scan_aside = _read_scan(files, scan, progress, found)
        progress(f"mapping {scan.file}", 0.7)
        picture, film = reading.loaded.picture, reading.finding.film
        signal = read_sheet(picture, film, reading.registration.matrix, grid, found.zones.result())
        signals.append(signal)
        readings.append(reading)
        beside.append(scan_aside)
    notes = (*files.notes, *_sheet_notes(readings))
    hashes = _hashes(files, [one.digest.result() for one in beside])
    provenance = {"firedeck": __version__, "pitch_mm": f"{grid.pitch:g}", **hashes}
    pressure_map = assemble_map(
        signals, grid, files.batch, notes=notes, provenance=provenance, conversion=found.conversion.result()
    )
    placed = [(one.ink.result(), r.registration.matrix) for one, r in zip(beside, readings, strict=True)]
    return readings, mask_artefacts(pressure_map, files.test.masks, placed)


def _read_scan(
    files: TestFiles, scan: Scan, progress: Progress, found: _FoundAside
) -> tuple[SheetReading, _ScanAside]:
    loaded = load_scan(
        files.folder / scan.file,
        files.test.scanner.transfer,
        resolution=scan.resolution,
        channel=_response(files).channel,
        progress=progress,
    )
    progress(f"laying {scan.file} onto the plan", 0.5)
    # Loading keeps all processors busy, laying down only one: the rest is for these.
    digest = found.aside.submit(file_hash, files.folder / scan.file)
    finding = find_sheet(loaded.picture)
    ink = found.aside.submit(ink_places, loaded.picture, finding.film)
    laid = lay_down(files, scan, loaded, finding, found.marks.result())
    return SheetReading(scan, loaded, finding, laid), _ScanAside(digest, ink)


def _response(files: TestFiles) -> Response:
    assert files.batch.response is not None  # load_test has made sure
    return files.batch.response


def lay_down(
    files: TestFiles, scan: Scan, loaded: LoadedScan, finding: SheetFinding, marks: SealMarks
) -> Registration:
    """Lay one scan onto the plan, by the record's landmarks where it has any.

    Parameters
    ----------
    files : TestFiles
        The test.
    scan : Scan
        The scan as the record names it.
    loaded : LoadedScan
        Its picture.
    finding : SheetFinding
        What `find_sheet` found on it.
    marks : SealMarks
        From `seal_marks`.

    Returns
    -------
    Registration
        The pose with its uncertainty.

    Raises
    ------
    PrintError
        If it does not fit the plan, or the landmarks cannot be used.
    """
    landmarks = [mark for mark in files.test.landmarks if mark.scan == scan.file]
    if landmarks:
        return register_by_landmarks(loaded.picture, files.plan, landmarks, sheet=finding, marks=marks)
    return register(loaded.picture, files.plan, sheet=finding, mirrored=scan.mirrored, marks=marks)


def _sheet_notes(readings: list[SheetReading]) -> list[str]:
    notes: list[str] = []
    for reading in readings:
        named = (*reading.loaded.notes, *reading.registration.notes)
        notes += [f"{reading.scan.file}: {note}" for note in named]
    return notes


def _hashes(files: TestFiles, of_scans: list[str]) -> dict[str, str]:
    """Return the hashes of all files that decide the map, by what the map's provenance calls them."""
    definitions = [files.test.deck, files.test.gasket, files.test.film]
    digests = [*(file_hash(files.folder / name) for name in definitions), *of_scans]
    names = [*definitions, *(scan.file for scan in files.test.scans)]
    return {f"sha256 {name}": digest for name, digest in zip(names, digests, strict=True)}


def _balance(files: TestFiles, pressure_map: PressureMap) -> ClampBalance | None:
    clamp = files.test.clamp
    if clamp is None:
        return None
    return clamp_balance(pressure_map, clamp.total, clamp.uncertainty, clamp.basis)


def compare_readings(first: PrintReading, second: PrintReading) -> Comparison:
    """Compare two prints on the same deck plan, second minus first.

    Raises
    ------
    FiredeckError
        If the two tests do not share the deck plan.
    """
    if first.files.plan.outline != second.files.plan.outline:
        raise FiredeckError(
            "the two tests are on different decks",
            remedy="compare prints that name the same deck plan file",
        )
    same = first.files.batch.response == second.files.batch.response
    seals = compare_seals(first.profiles, second.profiles, one_calibration=same)
    notes = [] if same else ["The two prints were read with different response curves; nothing cancels."]
    if not np.isclose(
        first.files.test.load_profile.scan_delay, second.files.test.load_profile.scan_delay, rtol=0.2
    ):
        notes.append("The two prints were scanned after different delays; the later one reads higher.")
    if first.files.test.film_face != second.files.test.film_face:
        notes.append(
            "The film lay on different faces: a bead shows its crown on one and its feet on the other."
        )
    return Comparison(first, second, difference_map(first.map, second.map), tuple(seals), tuple(notes))

"""How the scans of a film test lie on the deck plan, told for every scan even where one is refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firedeck.definition.film_test import Landmark, Scan
from firedeck.errors import PrintError
from firedeck.film.constellation import Candidate
from firedeck.film.marks import seal_marks
from firedeck.film.picture import ScanPicture
from firedeck.film.registered import Registration, RegistrationError
from firedeck.film.sheet import SheetFinding, find_sheet
from firedeck.study.prints.reading import PrintReading, TestFiles, lay_down, load_test
from firedeck.study.prints.scanning import LoadedScan, load_scan
from firedeck.study.progress import Progress, silent

__all__ = ["Laying", "SheetLaying", "laying_of", "look_at_scans"]


@dataclass(frozen=True)
class SheetLaying:
    """One scan: what was found on it, and where it lies or why that is not known.

    Attributes
    ----------
    scan : Scan
        The scan as the record names it.
    loaded : LoadedScan
        Its picture.
    finding : SheetFinding
        Edge and holes.
    registration : Registration or None
        Where it lies; None where it was refused.
    refusal : PrintError or None
        Why it was refused.
    """

    scan: Scan
    loaded: LoadedScan
    finding: SheetFinding
    registration: Registration | None
    refusal: PrintError | None = None

    @property
    def picture(self) -> ScanPicture:
        """The scan's picture."""
        return self.loaded.picture

    @property
    def nearest(self) -> Candidate | None:
        """The pose that came nearest where the scan was refused, if any did."""
        found = self.refusal.candidates if isinstance(self.refusal, RegistrationError) else ()
        return found[0] if found else None


@dataclass(frozen=True)
class Laying:
    """A film test with how its scans lie on the plan."""

    files: TestFiles
    sheets: tuple[SheetLaying, ...]

    def landmarks(self, sheet: SheetLaying) -> Sequence[Landmark]:
        """Return the record's landmarks of one scan."""
        return [mark for mark in self.files.test.landmarks if mark.scan == sheet.scan.file]


def laying_of(reading: PrintReading) -> Laying:
    """Return how the sheets of a print that was read lie."""
    sheets = (
        SheetLaying(sheet.scan, sheet.loaded, sheet.finding, sheet.registration) for sheet in reading.sheets
    )
    return Laying(reading.files, tuple(sheets))


def look_at_scans(test_file: Path, *, progress: Progress = silent) -> Laying:
    """Find sheet and holes on every scan of a test and lay them onto the plan where they let themselves be.

    Parameters
    ----------
    test_file : Path
        Film test record.
    progress : callable
        Told what is being done and how far it is.

    Returns
    -------
    Laying
        One entry a scan, in the record's order.

    Raises
    ------
    FiredeckError
        For faulty definitions and unreadable scans. A scan that does not fit the plan raises nothing.
    """
    files = load_test(test_file)
    assert files.batch.response is not None  # load_test has made sure
    marks, count, sheets = seal_marks(files.plan), len(files.test.scans), []
    for place, scan in enumerate(files.test.scans):

        def part(what: str, share: float, place: int = place) -> None:
            progress(what, (place + 0.7 * share) / count)

        loaded = load_scan(
            files.folder / scan.file,
            files.test.scanner.transfer,
            resolution=scan.resolution,
            channel=files.batch.response.channel,
            progress=part,
        )
        progress(f"laying {scan.file} onto the plan", (place + 0.8) / count)
        finding = find_sheet(loaded.picture)
        try:
            sheets.append(SheetLaying(scan, loaded, finding, lay_down(files, scan, loaded, finding, marks)))
        except PrintError as refusal:
            sheets.append(SheetLaying(scan, loaded, finding, None, refusal))
    progress("done", 1.0)
    return Laying(files, tuple(sheets))

"""What a bench folder holds, and the only way by which a name becomes a path in it."""

from __future__ import annotations

import functools
import json
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firedeck.definition.calibration import FilmCalibration
from firedeck.definition.film_test import FilmTest
from firedeck.definition.prediction import Prediction
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import LARGEST_FILE, read_definition
from firedeck.files.definition_kinds import KINDS
from firedeck.study.prints.stored_reading import is_current
from firedeck.study.prints.stored_record import FORMAT, RECORD_NAME

__all__ = ["IMPORTED_ENDINGS", "Bench", "BenchFile", "BenchTest"]

#: Endings of files that may be brought in.
IMPORTED_ENDINGS = (".toml", ".tif", ".tiff", ".png", ".csv", ".tsv", ".txt")

#: Endings of scans.
_SCAN_ENDINGS = (".tif", ".tiff", ".png")

#: Letters, digits and a few signs; begins with a letter or digit, so that nothing is hidden or an option.
_NAME = re.compile(r"[^\W_][\w .,()+=@~-]{0,118}[^\W_]?\.?[\w)]*")

#: Names that one system or another keeps for its devices.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@dataclass(frozen=True)
class BenchFile:
    """A definition file of the bench.

    Attributes
    ----------
    name : str
        File name.
    kind : str
        Word under ``kind``; empty where the file cannot be read.
    title : str
        Its own name of what it defines.
    fault : str
        Why it cannot be read; empty where it can.
    """

    name: str
    kind: str
    title: str
    fault: str = ""

    @property
    def stem(self) -> str:
        """Name without its ending."""
        return self.name.removesuffix(".toml")


@dataclass(frozen=True)
class BenchTest:
    """A film test of the bench, read or not.

    Attributes
    ----------
    file : BenchFile
        Its record.
    report : str
        Name of the folder with its report; empty where it was not read.
    headline : str
        First line of the reading.
    state : str
        Its verdict.
    current : bool
        Whether definitions and scans are what they were when it was read.
    date, gasket : str
        From the record.
    """

    file: BenchFile
    report: str = ""
    headline: str = ""
    state: str = ""
    current: bool = False
    date: str = ""
    gasket: str = ""


class Bench:
    """A folder that somebody works in.

    Parameters
    ----------
    folder : Path
        The folder.

    Raises
    ------
    FiredeckError
        If it is none.
    """

    def __init__(self, folder: Path) -> None:
        if not folder.is_dir():
            raise FiredeckError(
                "there is no such folder", where=str(folder), remedy="name an existing folder, or make it"
            )
        self.folder = folder.resolve()

    def place(self, name: str) -> Path:
        """Return the path that a name stands for: directly in the folder, whatever the name holds.

        Raises
        ------
        FiredeckError
            If the name is none that a file here may have, or leads out of the folder.
        """
        if not _NAME.fullmatch(name) or _DEVICES.fullmatch(name) or ".." in name:
            raise FiredeckError(
                "this is not a name that a file may have here",
                where=name[:80],
                remedy="use letters, digits, spaces, points and hyphens, beginning with a letter or digit",
            )
        path = (self.folder / name).resolve()
        if path.parent != self.folder or path.name != name:
            raise FiredeckError(
                "the name leads out of the folder", where=name[:80], remedy="copy the file itself here"
            )
        return path

    def existing(self, name: str) -> Path:
        """Return the path of a file or folder that is there.

        Raises
        ------
        FiredeckError
            As `place`, and if nothing of that name is there.
        """
        path = self.place(name)
        if not path.exists():
            raise FiredeckError("the folder holds nothing of that name", where=name)
        return path

    def new_file(self, name: str, *, replace: bool = False) -> Path:
        """Return the path for a file that is brought in.

        Raises
        ------
        FiredeckError
            As `place`, if the ending is none that firedeck reads, or if the file is there already.
        """
        path = self.place(name)
        if path.suffix.lower() not in IMPORTED_ENDINGS:
            raise FiredeckError(
                "firedeck reads no such files", where=name, remedy=f"bring {', '.join(IMPORTED_ENDINGS)}"
            )
        if path.exists() and (not replace or not path.is_file()):
            raise FiredeckError(
                "a file of that name is here already", where=name, remedy="rename it, or replace the old one"
            )
        return path

    def files(self) -> list[BenchFile]:
        """Return every definition file, by name."""
        return [_look_into(path) for path in self._sorted() if path.suffix.lower() == ".toml"]

    def scans(self) -> list[str]:
        """Return the names of files that may be scans."""
        refused = "-refused.png"
        names = (path.name for path in self._sorted() if path.suffix.lower() in _SCAN_ENDINGS)
        return [name for name in names if not name.endswith(refused)]

    def _sorted(self) -> list[Path]:
        paths = (path for path in self.folder.iterdir() if not path.name.startswith("."))
        return sorted((path for path in paths if path.is_file()), key=lambda path: path.name.lower())

    def tests(self) -> list[BenchTest]:
        """Return every film test with what is known of its reading."""
        reports = self._reports()
        return [self._test(file, reports) for file in self.test_files()]

    def test(self, name: str) -> BenchTest | None:
        """Return one film test by its record's name, or None where that file is none."""
        file = _look_into(self.existing(name))
        return self._test(file, self._reports()) if file.kind == "film-test" else None

    def test_files(self) -> list[BenchFile]:
        """Return the records of all film tests."""
        return [file for file in self.files() if file.kind == "film-test"]

    def _test(self, file: BenchFile, reports: dict[str, Path]) -> BenchTest:
        report = reports.get(file.name)
        if report is None:
            return BenchTest(file)
        record = _record(report)
        assert record is not None  # _reports lists none without
        return BenchTest(
            file,
            report=report.name,
            headline=str(record["headline"]["text"]),
            state=str(record["headline"]["state"]),
            current=is_current(record, self.folder),
            date=str(record["test"]["date"]),
            gasket=str(record["test"]["gasket"]),
        )

    def _reports(self) -> dict[str, Path]:
        """Return the newest report folder of every record."""
        found: dict[str, Path] = {}
        folders = [path for path in self.folder.iterdir() if (path / RECORD_NAME).is_file()]
        for path in sorted(folders, key=lambda path: (path / RECORD_NAME).stat().st_mtime):
            record = _record(path)
            if record is not None and not path.is_symlink():
                found[str(record["record"])] = path
        return found

    def report_of(self, name: str) -> Path | None:
        """Return the folder with the report of a film test's record, or None where it was not read."""
        return self._reports().get(name)

    def report_to_write(self, name: str) -> Path:
        """Return the folder that the report of a record goes to: where it is, or beside the record."""
        known = self.report_of(name)
        return known or self.place(f"{name.removesuffix('.toml')}-report")

    def comparison_of(self, first: str, second: str) -> Path:
        """Return the folder for the comparison of two film tests, second minus first."""
        return self.place(f"{second.removesuffix('.toml')}-against-{first.removesuffix('.toml')}")

    def check_inside(self, name: str) -> FilmTest:
        """Read a film test and make sure that all it names lies within the folder.

        Raises
        ------
        FiredeckError
            If it is faulty or names a file elsewhere.
        """
        test = read_definition(self.existing(name), FilmTest)
        named = (test.deck, test.gasket, test.film, test.criteria, *(scan.file for scan in test.scans))
        self._refuse_outside(name, named, "read the print on the command line")
        return test

    def check_calibration_inside(self, name: str) -> FilmCalibration:
        """Read a calibration's record and make sure that all it names lies within the folder.

        Raises
        ------
        FiredeckError
            If it is faulty or names a file elsewhere.
        """
        record = read_definition(self.existing(name), FilmCalibration)
        self._refuse_outside(name, (record.film, record.scan), "calibrate the film on the command line")
        return record

    def calibration_of(self, name: str) -> Path:
        """Return the folder for the report of a calibration's record."""
        return self.place(f"{name.removesuffix('.toml')}-calibration")

    def check_prediction_inside(self, name: str) -> Prediction:
        """Read a prediction and make sure that all it names lies within the folder.

        Raises
        ------
        FiredeckError
            If it is faulty or names a file elsewhere.
        """
        one = read_definition(self.existing(name), Prediction)
        film = one.print.film if one.print else ""
        named = (one.deck, one.gasket, one.fastening, film, *(law.table for law in one.laws))
        self._refuse_outside(name, named, "predict the joint on the command line")
        return one

    def _refuse_outside(self, name: str, named: tuple[str, ...], otherwise: str) -> None:
        for one in named:
            if one and not (self.folder / one).resolve().is_relative_to(self.folder):
                raise FiredeckError(
                    f"the record names {one!r}, which lies outside the folder served",
                    where=name,
                    remedy=f"copy the file into the folder, or {otherwise}",
                )

    def definitions_stamp(self) -> int:
        """Return a number that changes with every change of a definition, table or trace in the folder."""
        paths = [path for path in self._sorted() if path.suffix.lower() not in _SCAN_ENDINGS]
        stamps = [(path.name, found.st_mtime_ns, found.st_size) for path in paths if (found := path.stat())]
        return hash(tuple(stamps))


def _look_into(path: Path) -> BenchFile:
    """Read kind and name of a definition file without checking all of it."""
    try:
        found = path.stat()
    except OSError:
        return BenchFile(path.name, "", "", "not readable")
    return _looked_into(path, found.st_mtime_ns, found.st_size)


@functools.lru_cache(maxsize=512)
def _looked_into(path: Path, _time: int, size: int) -> BenchFile:
    """Look into a file once for every time that it was written."""
    try:
        if size > LARGEST_FILE:
            return BenchFile(path.name, "", "", "larger than any definition")
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        reason = "not readable" if isinstance(fault, OSError) else f"not TOML: {fault}"
        return BenchFile(path.name, "", "", reason)
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        return BenchFile(path.name, "", "", "the file does not say what it defines")
    return BenchFile(path.name, kind, str(data.get("name", path.stem)))


def _record(folder: Path) -> dict[str, Any] | None:
    """Return the record of a reading, or None where it cannot be used."""
    try:
        found = (folder / RECORD_NAME).stat()
    except OSError:
        return None
    return _parsed_record(folder, found.st_mtime_ns, found.st_size)


@functools.lru_cache(maxsize=64)
def _parsed_record(folder: Path, _time: int, _size: int) -> dict[str, Any] | None:
    """Parse a record once for every time that it was written."""
    try:
        record = json.loads((folder / RECORD_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    known = isinstance(record, dict) and record.get("format") == FORMAT
    return record if known else None

"""What pages write into the record of a film test: landmarks and masks; all else there stays as it is."""

from __future__ import annotations

from pathlib import Path

from firedeck.definition.film_test import FilmTest
from firedeck.errors import FiredeckError
from firedeck.files.definition_file import check_definition, read_definition, write_definition
from firedeck.files.scan_file import file_hash

__all__ = ["save_landmarks", "save_masks"]

Tables = list[dict[str, object]]


def save_landmarks(record_file: Path, landmarks: Tables, known: str) -> None:
    """Write landmarks into a film test's record.

    Parameters
    ----------
    record_file : Path
        The record.
    landmarks : list of dict
        All landmarks of the test, as tables of the record.
    known : str
        Hash of the record that the landmarks were made over.

    Raises
    ------
    FiredeckError
        If the record has changed since, or with every fault of the landmarks; nothing is written then.
    """
    _save(record_file, "landmark", "landmarks", landmarks, known)


def save_masks(record_file: Path, masks: Tables, known: str) -> None:
    """Write masks, each a reason and a path of corners [mm], into a test's record; as `save_landmarks`."""
    _save(record_file, "mask", "masks", masks, known)


def _save(record_file: Path, key: str, field: str, tables: Tables, known: str) -> None:
    name = record_file.name
    if file_hash(record_file) != known:
        raise FiredeckError(
            "the record has changed since this page was opened", where=name, remedy="load the page again"
        )
    test = read_definition(record_file, FilmTest)
    data = test.model_dump(by_alias=True, exclude_none=True, exclude={field}, mode="json")
    checked = check_definition(name, {**data, key: tables}, FilmTest)
    write_definition(record_file, test.model_copy(update={field: getattr(checked, field)}))

"""Areas masked by hand: the sectors that they cover are not shown, and the others stay as they were."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.definition.film_test import FilmTest, Mask
from firedeck.errors import DefinitionError, FiredeckError
from firedeck.files.definition_file import read_definition, write_definition
from firedeck.files.scan_file import file_hash
from firedeck.study.prints.reading import read_print
from firedeck.study.prints.record_edits import save_masks
from tests.support import small_print


@pytest.fixture(scope="module")
def masked(tmp_path_factory):
    """The small print read with a mask over the weakest place of its bore's ring."""
    folder = small_print.bench_files(tmp_path_factory.mktemp("masked") / "bench")
    whole = small_print.reading(1)
    x, y = whole.summaries[0].weakest.point
    corners = ((x - 6, y - 6), (x + 6, y - 6), (x + 6, y + 6), (x - 6, y + 6))
    record = folder / "print-1.toml"
    test = read_definition(record, FilmTest)
    write_definition(record, test.model_copy(update={"masks": (Mask(reason="tape", path=corners),)}))
    return whole, read_print(record, pitch=small_print.PITCH), (x, y)


def test_a_masked_sector_is_not_shown_and_the_reason_is_told(masked):
    whole, reading, _ = masked
    before, after = whole.profiles[0].sectors, reading.profiles[0].sectors
    gone = np.isfinite(before.line_load) & ~np.isfinite(after.line_load)
    assert 1 <= gone.sum() <= 0.2 * len(gone)
    assert reading.summaries[0].hidden > whole.summaries[0].hidden
    assert "Masked by hand: tape." in reading.notes


def test_the_rest_stays_as_it_was(masked):
    whole, reading, (x, y) = masked
    grid = reading.map.grid
    away = np.hypot(grid.x[None, :] - x, grid.y[:, None] - y) > 9.0
    assert np.array_equal(whole.map.value[away], reading.map.value[away], equal_nan=True)
    assert np.array_equal(whole.map.flags[away], reading.map.flags[away])
    before, after = whole.profiles[0].sectors, reading.profiles[0].sectors
    clear = np.isfinite(after.line_load)
    assert clear.sum() > 0.8 * len(clear)
    assert after.line_load[clear] == pytest.approx(before.line_load[clear], rel=0.01)


@pytest.mark.parametrize(
    "path",
    [
        [[0, 0], [10, 10], [10, 0], [0, 10]],
        [[0, 0], [10, 0], [5, 5], [10, 10], [0, 10], [5, 5]],
        [[0, 0], [5, 0], [10, 0]],
        [[0, 0], [5, 5], [0, 0]],
    ],
    ids=["crosses", "touches", "no area", "two corners"],
)
def test_an_outline_that_is_not_plain_is_refused_and_nothing_is_written(tmp_path, path):
    record = small_print.bench_files(tmp_path / "bench") / "print-1.toml"
    before = record.read_bytes()
    with pytest.raises(DefinitionError, match="crosses or touches itself, or holds no area"):
        save_masks(record, [{"reason": "tape", "path": path}], file_hash(record))
    assert record.read_bytes() == before


def test_saved_masks_leave_comments_and_all_other_keys(tmp_path):
    record = small_print.bench_files(tmp_path / "bench") / "print-1.toml"
    text = "# kept by hand\n" + record.read_text(encoding="utf-8")
    record.write_text(text, encoding="utf-8")
    before = read_definition(record, FilmTest)
    square = {"reason": "tape", "path": [[10.25, 20], [30, 20], [30, 40.5]]}
    save_masks(record, [square], file_hash(record))
    after = read_definition(record, FilmTest)
    assert after.masks == (Mask(reason="tape", path=((10.25, 20), (30, 20), (30, 40.5))),)
    assert after.model_copy(update={"masks": ()}) == before
    assert set(text.splitlines()) <= set(record.read_text(encoding="utf-8").splitlines())
    with pytest.raises(FiredeckError, match="changed since"):
        save_masks(record, [], "another")
    save_masks(record, [], file_hash(record))
    assert read_definition(record, FilmTest) == before

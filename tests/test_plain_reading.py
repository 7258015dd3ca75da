"""The plain version that reading is timed against: it answers alike, and is refused where it does not."""

import numpy as np
import pytest

from benchmarks.bench_reading import AGREEMENT, agreement_figures, answers_of, plain_answers
from benchmarks.plain_given import prepare
from benchmarks.plain_reading import read_plainly
from firedeck.study.prints.reading import read_print
from tests.support.small_print import bench_files

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def readings(tmp_path_factory):
    test = bench_files(tmp_path_factory.mktemp("print")) / "print-1.toml"
    ours = read_print(test)
    return ours, read_plainly(prepare(test, ours.sheets[0].registration.matrix.tolist()))


def test_both_versions_read_alike(readings):
    ours, plain = readings
    rows = agreement_figures(answers_of(ours), plain_answers(plain))
    assert len(rows) == len(AGREEMENT)
    assert all(row["met"] for row in rows)


def test_the_plain_version_finds_the_pose_itself(readings):
    # It is handed a pose that is off by 0.28 mm at the deck's origin.
    ours, plain = readings
    corners = np.array([[0.0, 0.0], [150.0, 0.0], [0.0, 150.0]])
    known = ours.sheets[0].registration
    matrix = plain.pose.matrix
    apart = known.to_deck(corners) - (corners @ matrix[:, :2].T + matrix[:, 2])
    assert np.max(np.abs(apart)) < 0.03


@pytest.mark.parametrize("what", AGREEMENT)
def test_answers_that_differ_are_not_timed(readings, what):
    ours = answers_of(readings[0])
    theirs = ours | {what: [1.2 * value for value in ours[what]]}
    with pytest.raises(RuntimeError, match=f"disagree on {what}"):
        agreement_figures(ours, theirs)


def test_answers_that_are_missing_are_not_timed(readings):
    ours = answers_of(readings[0])
    theirs = ours | {"leak heights": [float("nan") for _ in ours["leak heights"]]}
    with pytest.raises(RuntimeError, match="does not show leak heights"):
        agreement_figures(ours, theirs)

"""A print read the plain way: tifffile, NumPy, SciPy and scikit-image, whole arrays, step by step.

What a competent user of these libraries would write for one print, without being slow on purpose,
for the same steps as firedeck's: hashes of the files; the sheet, its holes and the marks of the
seals, and the pose fitted to them; light on the deck referred to blank film; signal and pressure with
the corrections for grain and blur; flags for range, rims, dust and ink; the seals unrolled and cleared
of foreign bodies; three tables of line load with independent noise, modes of the calibration and the
blank level apart; leak heights with their doubt; the balance with the preload.

Handed to it, and not timed: the definitions, read and checked; the reflectance of every code value;
the response curve as knots and modes; openings as polygons and the seals as sampled lines with
normals; a start pose that is off by some tenths of a millimetre, in place of the search among
constellations of holes.

Left out, so that the comparison errs against firedeck: the search for black backing and for the face
of the sheet; checks of the scan file and of the print; torn and missing holes, landmarks, marks by
hand; the channels that are not measured, which are thinned and not averaged; the blank level from
every second cell each way; light read between pixels instead of handed on whole; the heights of
paths that enter no third medium; notes, texts and the verdict.

The leak heights come from a sorted union-find that is compiled, which these libraries do not have:
the sweep of thresholds that they offer gives steps in place of heights.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from benchmarks.plain_balance import Balance, balance
from benchmarks.plain_given import Given
from benchmarks.plain_leaks import Leaks, find_leaks
from benchmarks.plain_loads import Loads, Summary, profile, summarise
from benchmarks.plain_map import PlainMap, make_map
from benchmarks.plain_pose import Pose, register
from benchmarks.plain_sheet import find_sheet, read_picture
from benchmarks.plain_strips import unroll

__all__ = ["PlainReading", "read_plainly"]


@dataclass(frozen=True)
class PlainReading:
    """Hashes, pose, map, the seals' tables and summaries, leak heights and balance of one print."""

    hashes: list[str]
    pose: Pose
    map: PlainMap
    loads: list[Loads]
    summaries: list[Summary]
    leaks: Leaks
    balance: Balance


def read_plainly(given: Given) -> PlainReading:
    """Read a print from its scan to line loads, leak heights and balance."""
    hashes = [_hash(path) for path in given.files]
    picture = read_picture(given)
    sheet = find_sheet(picture)
    pose = register(picture, sheet, given)
    pressed = make_map(picture, sheet, pose, given)
    loads = []
    for number, band in enumerate(given.bands):
        others = given.bands[:number] + given.bands[number + 1 :]
        loads.append(profile(unroll(pressed, band, others, given.curve), pressed, given.curve))
    summaries = [summarise(one, given) for one in loads]
    leaks = find_leaks(pressed, loads, given)
    return PlainReading(hashes, pose, pressed, loads, summaries, leaks, balance(pressed, given))


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()

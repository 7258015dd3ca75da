"""Finding sheet and holes in a scan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firedeck.errors import PrintError
from firedeck.film.picture import ScanPicture
from firedeck.film.registration import register
from firedeck.film.sheet import find_sheet
from tests.support.simple_print import Scene, draw_print, inline_four

PLAN = inline_four(ports=3, count=2)
EXACT = Scene(centre_sd=0.0, oversize=(0.75, 0.75), rotation=12, pixel=0.1)


def window(picture: ScanPicture, rows: slice, cols: slice) -> ScanPicture:
    """Part of a picture, given in coarse pixels."""
    fine_rows, fine_cols = (slice(part.start * 4, part.stop * 4) for part in (rows, cols))
    return replace(picture, fine=picture.fine[fine_rows, fine_cols], coarse=picture.coarse[rows, cols])


def on_picture(truth: np.ndarray, place: tuple[float, float]) -> np.ndarray:
    return np.linalg.solve(truth[:, :2], np.asarray(place) - truth[:, 2])


@pytest.mark.parametrize("backing", ["white", "black"])
@pytest.mark.parametrize("grey", [False, True], ids=["colour", "grey"])
def test_backing_is_found_and_holes_measured(backing, grey):
    picture, truth = draw_print(PLAN, replace(EXACT, backing=backing, grey=grey))
    finding = find_sheet(picture)
    assert finding.backing == backing
    assert not finding.reaches_edge
    assert len(finding.holes) == len(PLAN.openings)
    for opening in PLAN.openings:
        place = on_picture(truth, opening.centre)
        nearest = min(finding.holes, key=lambda hole: np.hypot(*(hole.centre - place)))
        assert np.hypot(*(nearest.centre - place)) < 0.05
        # Edges are traced on coarse pixels; in grey, dark rims and rings beside a hole pass for card.
        merged = grey and backing == "black"
        assert nearest.radius == pytest.approx(opening.diameter / 2 + 0.75, abs=0.75 if merged else 0.3)
        assert nearest.roundness > (0.5 if merged else 0.9)


def test_film_mask_leaves_out_holes_and_surroundings():
    picture, truth = draw_print(PLAN, EXACT)
    film = find_sheet(picture).film
    land = on_picture(truth, (5.0, 60.0))
    bore = on_picture(truth, PLAN.bores[1].centre)
    row, col = (land[::-1] / picture.coarse_mm[::-1]).astype(int)
    assert film[row, col]
    row, col = (bore[::-1] / picture.coarse_mm[::-1]).astype(int)
    assert not film[row, col]
    assert not film[0, 0]


def test_hole_torn_open_to_the_edge_is_not_a_hole():
    picture, truth = draw_print(PLAN, replace(EXACT, rotation=0))
    place = on_picture(truth, (11.0, 32.0))
    coarse, fine = picture.coarse.copy(), picture.fine.copy()
    row = int(place[1] / picture.coarse_mm[1])
    coarse[row - 3 : row + 3, : int(place[0] / picture.coarse_mm[0])] = 0.93
    fine[4 * row - 12 : 4 * row + 12, : int(place[0] / picture.fine_mm[0])] = 0.93
    finding = find_sheet(replace(picture, coarse=coarse, fine=fine))
    assert len(finding.holes) == len(PLAN.openings) - 1
    assert all(np.hypot(*(hole.centre - place)) > 5 for hole in finding.holes)


def test_holes_are_found_where_film_fills_the_whole_scan():
    picture, truth = draw_print(PLAN, replace(EXACT, rotation=0))
    rows, cols = picture.coarse.shape[:2]
    margin = round(14.0 / picture.coarse_mm[0])
    part = window(picture, slice(margin, rows - margin), slice(margin, cols - margin))
    finding = find_sheet(part)
    assert finding.backing == "white"
    assert finding.reaches_edge
    found = register(part, PLAN)
    shift = margin * np.asarray(picture.coarse_mm)
    place = on_picture(truth, (110.0, 80.0)) - shift
    assert np.hypot(*(found.to_deck([place])[0] - (110.0, 80.0))) < 0.05


@pytest.mark.parametrize("light", [0.93, 0.8, 0.04], ids=["lid", "film", "card"])
def test_scan_without_a_print_has_no_holes_and_is_refused(light):
    rng = np.random.default_rng(0)
    fine = (light + 0.003 * rng.standard_normal((800, 1000))).astype(np.float32)
    coarse = fine.reshape(200, 4, 250, 4).mean(axis=(1, 3))
    picture = ScanPicture("empty", fine, (0.17, 0.17), np.stack([coarse] * 3, axis=2), 4)
    assert find_sheet(picture).holes == ()
    with pytest.raises(PrintError, match="0 holes were found"):
        register(picture, PLAN)


def test_second_piece_of_film_in_the_scan_is_left_out():
    picture, _ = draw_print(PLAN, EXACT)
    strip = np.full((60, picture.coarse.shape[1], 3), 0.93, np.float32)
    strip[10:50, 30:400] = (0.85, 0.7, 0.8)
    strip[20:40, 100:120] = 0.93
    blank = np.repeat(np.repeat(strip[:, :, 1], 4, axis=0), 4, axis=1)
    wider = replace(picture, coarse=np.vstack([picture.coarse, strip]), fine=np.vstack([picture.fine, blank]))
    finding = find_sheet(wider)
    assert len(finding.holes) == len(PLAN.openings)
    assert not finding.film[-60:].any()

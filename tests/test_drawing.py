"""Pictures of maps, seals, leak paths and response curves: what they hold and say, not their pixels."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from firedeck.compare import compare_seals, difference_map
from firedeck.definition.film import FilmBatch, Response
from firedeck.drawing.leak_picture import DrawnLeak, leak_figure
from firedeck.drawing.map_cells import CellState, paint, shrink_map
from firedeck.drawing.map_picture import Mark, difference_figure, map_figure
from firedeck.drawing.plan_picture import VIEW_NOTE
from firedeck.drawing.polar_picture import polar_figure
from firedeck.drawing.response_picture import response_figure
from firedeck.drawing.strip_picture import SealView, overlay_figure, strip_figure
from firedeck.drawing.style import PRESSURE_MAP
from firedeck.evidence import flag_bit
from firedeck.film.response import PieceReading, signal_of
from firedeck.seal.profile import profile_seals
from firedeck.seal.summary import summarise_seal
from tests.support.exact_maps import ring_map, ring_plan

WEAK_ANGLE = np.pi / 2
LEAST = 60.0


def crest(distance, angle):
    """A bead 2 mm wide, 60 MPa at its crown, a third less at the top of the deck."""
    height = 60.0 * (1 - 0.33 * np.exp(-(((angle - WEAK_ANGLE) / 0.5) ** 2)))
    return height * np.clip(1 - (distance / 1.0) ** 2, 0, None)


@pytest.fixture(scope="module")
def plan():
    return ring_plan()


@pytest.fixture(scope="module")
def print_map(plan):
    return ring_map(plan, crest, pitch=0.1, lowest=5.0)


@pytest.fixture(scope="module")
def saturated_map(plan):
    return ring_map(plan, crest, pitch=0.1, lowest=5.0, top=50.0)


@pytest.fixture(scope="module")
def view(plan, print_map):
    (profile,) = profile_seals(plan, print_map)
    return SealView(profile, summarise_seal(plan, profile), LEAST)


def words(figure: Figure) -> str:
    """Return everything that is written on a picture."""
    parts = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        parts += [text.get_text() for text in axes.texts]
        parts += [
            axes.get_xlabel(),
            axes.get_ylabel(),
            *(axes.get_title(loc=side) for side in ("left", "center")),
        ]
        if axes.get_legend() is not None:
            parts += [text.get_text() for text in axes.get_legend().get_texts()]
    for legend in figure.legends:
        parts += [text.get_text() for text in legend.get_texts()]
    return "\n".join(parts)


def test_a_reduced_map_keeps_its_mean_and_its_place(print_map):
    cells = shrink_map(print_map, widest=100)
    grid = print_map.grid
    assert cells.block == -(-grid.cols // 100)
    assert max(cells.value.shape) <= 100
    even = print_map.value[: grid.rows // cells.block * cells.block, : grid.cols // cells.block * cells.block]
    whole = cells.value[: grid.rows // cells.block, : grid.cols // cells.block]
    assert whole.mean() == pytest.approx(even.mean(), rel=1e-4)
    assert cells.extent[0] == grid.x0
    assert cells.extent[2] == grid.y0
    assert cells.extent[1] >= grid.x0 + grid.cols * grid.pitch


def test_what_was_not_read_gets_no_pressure_s_colour(saturated_map):
    cells = shrink_map(saturated_map)
    image = paint(cells.value, cells.state, Normalize(0, 50.0))
    scale = {
        tuple(colour) for colour in (255 * PRESSURE_MAP(np.linspace(0, 1, 256))[:, :3]).round().astype(int)
    }
    for state in (CellState.BELOW, CellState.SATURATED):
        places = image[cells.state == state][:, :3].astype(int)
        assert len(places) > 0
        assert {tuple(colour) for colour in places} & scale == set()


def test_the_map_says_what_it_shows(plan, print_map, saturated_map):
    figure = map_figure(plan, saturated_map, title="factory", weakest=[Mark("1", (0.0, 20.0), urgent=True)])
    said = words(figure)
    for part in (
        "factory",
        VIEW_NOTE,
        "contact pressure [MPa]",
        "stated range",
        "saturated",
        "below range",
        "bore 1",
    ):
        assert part in said
    assert "weakest place" in said
    assert "saturated" not in words(map_figure(plan, print_map))
    assert len(figure.axes[0].images) == 1


def test_missing_film_is_told_apart_from_low_pressure(plan, print_map):
    flags = print_map.flags.copy()
    flags[:80] = flag_bit("outside-sheet")
    bare = type(print_map)(**{**vars(print_map), "flags": flags})
    assert "no film" in words(map_figure(plan, bare))
    assert "no film" not in words(map_figure(plan, print_map))


def test_the_difference_names_what_is_taken_from_what(plan, print_map):
    harder = type(print_map)(**{**vars(print_map), "value": print_map.value + np.float32(5.0)})
    figure = difference_figure(plan, difference_map(print_map, harder), first="factory", second="candidate")
    assert "candidate minus factory [MPa]" in words(figure)
    low, high = figure.axes[1].get_ylim()
    assert low == pytest.approx(-high)


def test_the_strip_shows_band_threshold_fasteners_and_the_weakest_place(plan, print_map, view):
    figure = strip_figure(plan, print_map, view)
    said = words(figure)
    for part in ("ring 1", "across [mm]", "line load [N/mm]", "degree", "60 N/mm", "weakest"):
        assert part in said
    assert sum(text.get_text().endswith(("1", "2", "3", "4")) for text in figure.axes[1].texts) >= 4
    (marker,) = [line for line in figure.axes[1].lines if line.get_marker() == "v"]
    assert marker.get_xdata()[0] == pytest.approx(np.degrees(WEAK_ANGLE), abs=3)
    assert len(figure.axes[1].collections) >= 1
    assert "saturated" not in said


def test_a_seal_that_saturates_says_so(plan, saturated_map):
    (profile,) = profile_seals(plan, saturated_map)
    figure = strip_figure(plan, saturated_map, SealView(profile, summarise_seal(plan, profile), LEAST))
    assert "saturated" in words(figure)


def test_the_polar_picture_has_one_scale_and_the_threshold(plan, view):
    figure = polar_figure(plan, [view, view])
    assert [axes.name for axes in figure.axes] == ["polar", "polar"]
    assert figure.axes[0].get_ylim() == figure.axes[1].get_ylim()
    assert figure.axes[0].get_ylim()[1] > view.profile.sliding.line_load.max()
    circles = [line for line in figure.axes[0].lines if np.all(np.asarray(line.get_ydata()) == LEAST)]
    assert len(circles) == 1


def test_two_prints_of_a_seal_lie_over_each_other(plan, print_map, view):
    (difference,) = compare_seals([view.profile], [view.profile], one_calibration=True)
    figure = overlay_figure(view, view, difference, names=("factory", "candidate"))
    said = words(figure)
    for part in ("factory", "candidate", "difference [N/mm]", "ring 1"):
        assert part in said


@pytest.mark.parametrize("urgent", [False, True])
def test_leak_paths_are_drawn_where_they_run(plan, print_map, urgent):
    path = np.array([[0.0, 16.0], [0.5, 20.0], [0.0, 30.0]])
    figure = leak_figure(plan, print_map, [DrawnLeak(Mark("7", (0.5, 20.0), urgent), path)])
    drawn = [line for line in figure.axes[0].lines if np.array_equal(line.get_xydata(), path)]
    assert drawn
    assert "7" in [text.get_text() for text in figure.axes[0].texts]
    assert ("does not hold" in words(figure)) == urgent


def test_the_response_curve_stands_with_its_pieces_and_range():
    pressure = np.array([5.0, 10.0, 20.0, 40.0, 80.0, 120.0])
    density = np.array([0.02, 0.06, 0.2, 0.5, 0.9, 1.05])
    response = Response(
        net_density=tuple(density),
        pressure=tuple(f"{value} MPa" for value in pressure),
        log_covariance=tuple(map(tuple, 0.0025 * np.eye(6))),
        grain_mm=(0.01,) * 6,
        channel="green",
        levels=6,
        pieces=18,
        hold_out_error=0.03,
        shape_check=0.01,
    )
    batch = FilmBatch.model_validate(
        {
            "kind": "film-batch", "name": "high", "lot": "1", "sheets": "one", "thickness": "0.11 mm",
            "range_low": "10 MPa", "range_high": "100 MPa", "calibrated": dt.date(2030, 1, 1),
        }
    )  # fmt: skip
    pieces = [PieceReading(20.0, (float(signal_of(0.21)),), (0.01,)), PieceReading(0.0, (0.0,), (0.01,))]
    figure = response_figure(batch, response, pieces)
    said = words(figure)
    for part in ("stated range, 10 to 100 MPa", "95 %", "calibration piece", "pressure [MPa]"):
        assert part in said
    (points,) = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    assert points.get_xydata() == pytest.approx(np.array([[20.0, 0.21]]))
    assert "calibration piece" not in words(response_figure(batch, response))

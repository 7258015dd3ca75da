"""Laying scanned prints onto the deck plan, against drawn prints whose pose is known."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.film.registration import Registration, RegistrationError, overlap_residual, register
from firedeck.film.sheet import find_sheet
from tests.support.simple_print import Scene, draw_print, inline_four

PLAN = inline_four()


def deck_error(found: Registration, truth: np.ndarray, x: tuple[float, float] = (0.0, 414.0)) -> np.ndarray:
    """Distance between where registration and truth put points all over the deck [mm]."""
    grid = np.stack(np.meshgrid(np.linspace(*x, 9), np.linspace(0.0, 190.0, 5)), axis=-1).reshape(-1, 2)
    picture = np.linalg.solve(truth[:, :2], (grid - truth[:, 2]).T).T
    return np.hypot(*(found.to_deck(picture) - grid).T)


@pytest.mark.parametrize(
    "scene",
    [
        Scene(rotation=4),
        Scene(rotation=93, scale=(1.01, 0.99)),
        Scene(rotation=181, mirrored=True, backing="black"),
        Scene(rotation=-37, grey=True),
        Scene(rotation=140, grey=True, backing="black"),
        Scene(rotation=270, mirrored=True, saturated=True),
        Scene(feet=True, noise=0.05),
    ],
    ids=["upright", "turned-stretched", "mirrored-black", "grey", "grey-black", "saturated", "feet"],
)
def test_pose_is_found_however_the_sheet_lies(scene):
    picture, truth = draw_print(PLAN, scene)
    found = register(picture, PLAN)
    assert find_sheet(picture).backing == scene.backing
    assert found.mirrored is scene.mirrored
    assert np.max(deck_error(found, truth)) < 0.05
    turn = (found.rotation_deg - scene.rotation + 180) % 360 - 180
    assert abs(turn) < 1.0
    assert found.hole_count == len(PLAN.openings)


def test_missing_and_false_holes_are_told():
    missing = ("bore 2", "fastener 1", "fastener 4", "port 3", "port 5", "port 8", "dowel front", "port 11")
    scene = Scene(missing=missing, false_holes=((200.0, 165.0, 5.0), (300.0, 28.0, 6.0)))
    picture, truth = draw_print(PLAN, scene)
    found = register(picture, PLAN)
    assert set(missing) <= set(found.missing)
    assert len(found.unmatched) >= 2
    assert np.max(deck_error(found, truth)) < 0.05


def test_half_sheets_fit_the_whole_plan_and_agree_in_the_overlap():
    front, true_front = draw_print(PLAN, Scene(rotation=2, cover=(-8.0, 222.0), seed=3))
    rear, true_rear = draw_print(PLAN, Scene(rotation=-178, cover=(198.0, 422.0), seed=4))
    one, other = register(front, PLAN), register(rear, PLAN)
    assert np.max(deck_error(one, true_front, (0.0, 220.0))) < 0.06
    assert np.max(deck_error(other, true_rear, (200.0, 414.0))) < 0.06
    apart, count = overlap_residual(one, other)
    assert count >= 1
    assert apart < 1.0


def test_symmetric_deck_is_not_guessed():
    plan = inline_four(symmetric=True)
    picture, _ = draw_print(plan, Scene(rotation=10))
    with pytest.raises(RegistrationError, match="ways") as refused:
        register(picture, plan)
    assert "landmarks" in refused.value.remedy
    assert len(refused.value.candidates) >= 2


def test_wrong_deck_is_refused_with_what_was_found():
    picture, _ = draw_print(PLAN, Scene(rotation=10))
    other = inline_four(pitch=92.0, ports=9, name="another")
    with pytest.raises(RegistrationError, match="does not fit the deck plan 'another'") as refused:
        register(picture, other)
    assert len(refused.value.sheet.holes) == len(PLAN.openings)


def test_blank_print_is_registered_on_holes_alone_and_says_so():
    picture, truth = draw_print(PLAN, Scene(rotation=10, marks=False))
    found = register(picture, PLAN)
    assert any("holes carry the fit alone" in note for note in found.notes)
    error = deck_error(found, truth)
    assert np.max(error) < 0.5
    corners = found.uncertainty_at([[0.0, 0.0], [414.0, 190.0]])
    assert np.all((corners > 0.05) & (corners < 0.5))

"""Poses from landmarks picked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.definition.film_test import Landmark
from firedeck.errors import PrintError
from firedeck.film.registration import RegistrationError, register, register_by_landmarks
from tests.support.simple_print import Scene, draw_print, inline_four

PLAN = inline_four()
SYMMETRIC = inline_four(symmetric=True)
CORNERS = ((0.0, 0.0), (414.0, 0.0), (414.0, 190.0), (0.0, 190.0))


def landmarks_at(places, picture, truth, error=0.3, seed=1):
    """Landmarks of plan points as a careful hand picks them on the scan."""
    rng = np.random.default_rng(seed)
    targets = np.asarray(places, dtype=float)
    points = np.linalg.solve(truth[:, :2], (targets - truth[:, 2]).T).T + rng.normal(0, error, targets.shape)
    pixels = points / (np.asarray(picture.fine_mm) / picture.pooled) - 0.5
    return [
        Landmark(scan="drawn", pixel=tuple(pixel), plan=tuple(target))
        for pixel, target in zip(pixels, targets, strict=True)
    ]


def largest_error(found, truth):
    grid = np.stack(np.meshgrid(np.linspace(0, 414, 9), np.linspace(0, 190, 5)), axis=-1).reshape(-1, 2)
    picture = np.linalg.solve(truth[:, :2], (grid - truth[:, 2]).T).T
    return np.max(np.hypot(*(found.to_deck(picture) - grid).T))


@pytest.fixture(scope="module")
def symmetric_print():
    return draw_print(SYMMETRIC, Scene(rotation=200, mirrored=True, scale=(1.006, 0.997)))


def test_three_landmarks_settle_what_holes_leave_open(symmetric_print):
    picture, truth = symmetric_print
    with pytest.raises(RegistrationError):
        register(picture, SYMMETRIC)
    found = register_by_landmarks(picture, SYMMETRIC, landmarks_at(CORNERS[:3], picture, truth))
    assert found.mirrored
    assert largest_error(found, truth) < 0.08
    assert "laid by 3 landmarks" in found.notes[0]


def test_two_landmarks_and_a_stated_face_are_enough(symmetric_print):
    picture, truth = symmetric_print
    pair = landmarks_at(CORNERS[:3:2], picture, truth)
    with pytest.raises(RegistrationError, match="either side"):
        # On a deck that is its own mirror image about this line, nothing else tells.
        register_by_landmarks(picture, SYMMETRIC, landmarks_at([(10.0, 95.0), (400.0, 95.0)], picture, truth))
    found = register_by_landmarks(picture, SYMMETRIC, pair, mirrored=True)
    assert largest_error(found, truth) < 0.08


def test_holes_tell_the_face_that_two_landmarks_leave_open():
    picture, truth = draw_print(PLAN, Scene(rotation=75))
    pair = landmarks_at([(10.0, 95.0), (400.0, 95.0)], picture, truth)
    found = register_by_landmarks(picture, PLAN, pair)
    assert not found.mirrored
    assert largest_error(found, truth) < 0.05


def test_landmarks_alone_carry_a_print_without_holes_and_marks():
    names = tuple(opening.name for opening in PLAN.openings)
    picture, truth = draw_print(PLAN, Scene(rotation=5, missing=names, marks=False))
    found = register_by_landmarks(picture, PLAN, landmarks_at(CORNERS, picture, truth))
    assert found.hole_count == 0
    assert np.isnan(found.hole_rms)
    assert any("landmarks carry the fit alone" in note for note in found.notes)
    assert largest_error(found, truth) < 1.0
    assert np.all(found.uncertainty_at(CORNERS) > 0.3)


def test_contradictions_name_the_worst_landmark(symmetric_print):
    picture, truth = symmetric_print
    good = landmarks_at(CORNERS, picture, truth)
    wrong = [*good[:2], good[2].model_copy(update={"plan": (414.0, 178.0)}), good[3]]
    with pytest.raises(PrintError, match=r"number 3 .*lies 1[0-9]"):
        register_by_landmarks(picture, SYMMETRIC, wrong)


@pytest.mark.parametrize(
    ("choose", "mirrored", "words"),
    [
        (lambda good: [], None, "no landmarks are given"),
        (lambda good: good[:1], None, "only one landmark is given"),
        (lambda good: [good[0], good[0]], None, "0.0 mm apart"),
        (lambda good: [good[0], good[1].model_copy(update={"plan": (380.0, 0.0)})], True, "380.0 mm apart"),
        (lambda good: good[:3], False, "stated to be not mirrored"),
    ],
)
def test_landmarks_that_cannot_work_are_refused_in_plain_words(symmetric_print, choose, mirrored, words):
    picture, truth = symmetric_print
    good = landmarks_at(CORNERS, picture, truth)
    with pytest.raises(PrintError, match=words) as refused:
        register_by_landmarks(picture, SYMMETRIC, choose(good), mirrored=mirrored)
    assert refused.value.remedy


def test_a_photograph_at_an_angle_is_not_taken_for_a_scan(symmetric_print):
    picture, truth = symmetric_print
    places = [*CORNERS, (207.0, 0.0), (207.0, 190.0), (100.0, 95.0)]
    tilted = []
    for landmark in landmarks_at(places, picture, truth, error=0.0):
        x, y = landmark.pixel
        depth = 1 + 6e-5 * x
        tilted.append(landmark.model_copy(update={"pixel": (x / depth, y / depth)}))
    with pytest.raises(PrintError, match="at an angle"):
        register_by_landmarks(picture, SYMMETRIC, tilted)

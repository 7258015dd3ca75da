"""Registration against the theory of point-based registration error, and an exact perspective map."""

from __future__ import annotations

import numpy as np
import pytest

from firedeck.film.constellation import point_sightings
from firedeck.film.registration import Registration
from firedeck.kernel.pose import PoseFit, apply_homography, apply_pose, fit_homography, fit_pose

# Five fiducials on a deck of 420 x 190 mm, located to 0.1 mm per axis, and a target.
FIDUCIALS = np.array([[0.0, 0.0], [420.0, 0.0], [420.0, 190.0], [0.0, 190.0], [210.0, 95.0]])
TARGET = [[100.0, 40.0]]
SIGMA = 0.1

# Fitzpatrick, West and Maurer, "Predicting error in rigid-body point-based registration", IEEE Trans.
# Medical Imaging 17(5), 1998, doi 10.1109/42.736021 (from memory, not read). Specialised to the plane,
# with FLE^2 = 2 sigma^2 and N points at distances p from their centroid, target at distance r:
#   FRE^2 = FLE^2 (1 - 3 / (2 N)),   TRE^2 = FLE^2 (1 / N + r^2 / (2 sum p^2)).
FRE_SQUARED = 0.0140000
TRE_SQUARED = 0.00471176

#: Stretch held at nothing: the theory's pose is rigid.
RIGID = np.full(3, 1e-9)


def _fit(points: np.ndarray) -> PoseFit:
    turn = np.radians(30.0)
    start = np.array([[np.cos(turn), np.sin(turn), 0.0], [np.sin(turn), -np.cos(turn), 0.0]])
    return fit_pose(point_sightings(points, FIDUCIALS, SIGMA), start, np.ones(10), RIGID)


def _picture() -> np.ndarray:
    turn = np.radians(25.0)
    matrix = np.array([[np.cos(turn), np.sin(turn), 12.0], [np.sin(turn), -np.cos(turn), -40.0]])
    return np.linalg.solve(matrix[:, :2], (FIDUCIALS - matrix[:, 2]).T).T


def test_expected_error_at_a_target_is_the_theory_s():
    fit = _fit(_picture())
    found = Registration(fit.matrix, False, fit.covariance, 0.0, 5, 0.0, 0, (), (), (), {}, ())
    assert found.uncertainty_at(TARGET)[0] ** 2 == pytest.approx(TRE_SQUARED, rel=2e-6)


def test_residuals_and_target_errors_of_drawn_fiducials_follow_the_theory():
    rng = np.random.default_rng(18)
    picture = _picture()
    exact = _fit(picture).matrix
    target = np.linalg.solve(exact[:, :2], (np.array(TARGET) - exact[:, 2]).T).T
    fiducial, at_target = [], []
    for _ in range(800):
        fit = _fit(picture + rng.normal(0, SIGMA, picture.shape))
        fiducial.append(np.mean(np.sum(fit.residuals.reshape(2, 5) ** 2, axis=0)))
        at_target.append(np.sum((apply_pose(fit.matrix, target) - TARGET) ** 2))
    # Four standard errors of the mean of 800 draws: 7.5 % and 14 %.
    assert np.mean(fiducial) == pytest.approx(FRE_SQUARED, rel=0.075)
    assert np.mean(at_target) == pytest.approx(TRE_SQUARED, rel=0.14)


def test_perspective_map_is_exact():
    # Derived: H = [[1.02, .01, 5], [-.015, .98, -3], [1e-5, -2e-5, 1]] worked out by hand.
    corners = np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 800.0], [0.0, 800.0]])
    mapped = np.array(
        [[5.0, -3.0], [1014.851485, -17.821782], [1039.235412, 770.623742], [13.211382, 793.699187]]
    )
    found = fit_homography(corners, mapped)
    assert apply_homography(found, np.array([[500.0, 400.0]]))[0] == pytest.approx(
        [520.561685, 382.647944], abs=2e-6
    )
    assert found == pytest.approx(
        np.array([[1.02, 0.01, 5.0], [-0.015, 0.98, -3.0], [1e-5, -2e-5, 1.0]]), rel=1e-5, abs=1e-10
    )

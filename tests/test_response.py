"""The response curve from calibration pieces: recovered, doubted, and refused beyond its pieces."""

import numpy as np
import pytest
from scipy.stats import norm

from firedeck.errors import PrintError
from firedeck.film.response import PieceReading, build_conversion, density_of, fit_response, signal_of

LEVELS = [0, 2, 4, 6, 10, 15, 20, 30, 45, 65, 85, 100, 130, 180]
FULL = 0.94


def darkening(pressure):
    return FULL * norm.cdf(np.log(np.maximum(pressure, 1e-9) / 30) / 0.8)


def pieces(seed, levels=LEVELS, repeats=3):
    rng = np.random.default_rng(seed)
    made = []
    for level in levels:
        for _ in range(repeats):
            signal = float(darkening(level * (1 + 0.01 * rng.normal())) + 0.001 * rng.normal())
            made.append(
                PieceReading(float(level), (0.1 * signal, signal, 0.4 * signal), (0.004, 0.008, 0.006))
            )
    return made


def response(seed, **more):
    return fit_response(pieces(seed, **more), ("red", "green", "blue"), pressure_error=0.01)


def test_green_answers_best_to_a_magenta_dye():
    assert response(1).channel == "green"


def test_intervals_of_the_curve_hold_the_truth_about_as_often_as_they_say():
    pressure = np.geomspace(8, 110, 30)
    scores = []
    for seed in range(30):
        conversion = build_conversion(response(seed))
        read = conversion.to_pressure(darkening(pressure))
        sd = np.sqrt((conversion.mode_shifts(darkening(pressure)) ** 2).sum(axis=0))
        scores.append((read - pressure) / sd)
        assert np.max(np.abs(read / pressure - 1)) < 0.05
    held = np.mean(np.abs(np.array(scores)) < 1.96)
    assert 0.90 < held <= 1.0


def test_hold_out_and_shape_checks_are_small_for_a_sound_film():
    curve = response(3)
    assert 0 < curve.hold_out_error < 0.05
    assert curve.shape_check < 0.05


def test_hold_out_check_cries_out_when_one_level_is_mislabelled():
    wrong = [
        PieceReading(45.0 if piece.pressure == 65 else piece.pressure, piece.signal, piece.grain)
        for piece in pieces(4)
    ]
    curve = fit_response(wrong, ("red", "green", "blue"), pressure_error=0.01)
    assert curve.hold_out_error > 0.15
    assert response(4).hold_out_error < 0.03


def test_levels_that_do_not_answer_are_outside_the_curve():
    curve = response(5)
    assert curve.pressure[0] >= 4.0
    assert curve.pressure[-1] <= 180.0 * 1.000001


def test_below_the_lowest_piece_the_curve_is_a_guess_with_a_large_doubt():
    conversion = build_conversion(response(6))
    half = conversion.to_signal(response(6).pressure[0]) / 2
    sd = float(np.sqrt((conversion.mode_shifts(half) ** 2).sum()))
    assert sd > 0.2 * float(conversion.to_pressure(half))
    assert conversion.to_pressure(-0.01) == 0.0


def test_above_the_top_the_curve_stays_at_its_end():
    conversion = build_conversion(response(7))
    assert conversion.to_pressure(0.9999) == conversion.pressure[-1]


def test_too_few_levels_are_refused():
    with pytest.raises(PrintError, match="levels answer"):
        response(8, levels=[0, 20, 40, 60])


def test_pieces_in_the_wrong_order_are_refused():
    rising = pieces(9)
    turned = [
        PieceReading(piece.pressure, other.signal, other.grain)
        for piece, other in zip(rising, rising[::-1], strict=True)
    ]
    with pytest.raises(PrintError):
        fit_response(turned, ("red", "green", "blue"), pressure_error=0.01)


def test_density_and_signal_are_each_others_inverse():
    density = np.array([0.0, 0.1, 0.5, 1.3])
    np.testing.assert_allclose(density_of(signal_of(density)), density, atol=1e-12)


def test_curve_survives_being_written_and_read_as_text():
    curve = response(10)
    again = type(curve).model_validate(curve.model_dump(mode="json"))
    np.testing.assert_allclose(again.pressure, curve.pressure, rtol=1e-9)

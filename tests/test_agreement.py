"""A calibration must fit the test it reads, or the test must say that it knowingly does not."""

import pytest

from firedeck.definition.film import FilmBatch
from firedeck.definition.film_test import FilmTest
from firedeck.errors import PrintError
from firedeck.film.agreement import check_agreement

SCANNER = {"name": "bench scanner", "transfer": {"encoding": "srgb"}}
CLIMATE = {"temperature": "23 degC", "humidity": "50 %"}
PROFILE = {"rise": "3 min", "hold": "5 min", "scan_delay": "30 min"}
COUNT = 4
RESPONSE = {
    "net_density": [0.05, 0.2, 0.6, 1.0],
    "pressure": ["8 MPa", "20 MPa", "50 MPa", "100 MPa"],
    "log_covariance": [[1e-4 if i == j else 0.0 for j in range(COUNT)] for i in range(COUNT)],
    "grain_mm": [0.002] * COUNT,
    "channel": "green",
    "levels": 8,
    "pieces": 24,
    "hold_out_error": 0.02,
    "shape_check": 0.01,
}


def batch(**changes):
    base = {
        "kind": "film-batch", "name": "middle film", "lot": "A7", "sheets": "one", "thickness": "0.11 mm",
        "range_low": "20 MPa", "range_high": "100 MPa", "expiry": "2026-01-01", "climate": CLIMATE,
        "load-profile": PROFILE, "scanner": SCANNER, "response": RESPONSE,
    }  # fmt: skip
    return FilmBatch.model_validate(base | changes)


def film_test(**changes):
    base = {
        "kind": "film-test", "name": "t", "date": "2025-03-01", "deck": "d", "gasket": "g",
        "film": "film.toml", "film_face": "head", "gasket_use": 1,
        "climate": CLIMATE, "load-profile": PROFILE,
        "scanner": SCANNER, "scan": [{"file": "a.tif"}],
    }  # fmt: skip
    return FilmTest.model_validate(base | changes)


def test_a_fitting_calibration_leaves_nothing_to_say():
    assert check_agreement(batch(), film_test()) == ()


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("expired", {"date": "2026-02-01"}, "expired on 2026-01-01"),
        ("lot", {"film_lot": "B2"}, "lot B2"),
        ("scanner", {"scanner": {"name": "other", "transfer": {"encoding": "srgb"}}}, "scanner"),
        ("climate", {"climate": {"temperature": "31 degC", "humidity": "50 %"}}, "31 °C"),
        ("delay", {"load-profile": PROFILE | {"scan_delay": "24 h"}}, "1440 min"),
        ("load-profile", {"load-profile": PROFILE | {"hold": "3 h"}}, "under load"),
        ("fired", {"gasket_fired": True}, "fired"),
    ],
)
def test_a_mismatch_is_refused_by_name_and_may_be_accepted_knowingly(kind, changes, words):
    with pytest.raises(PrintError, match=words) as caught:
        check_agreement(batch(), film_test(**changes))
    assert f'"{kind}"' in caught.value.remedy
    notes = check_agreement(batch(), film_test(accept=[kind], **changes))
    assert any(words in note for note in notes)


def test_accepting_one_mismatch_does_not_accept_another():
    with pytest.raises(PrintError, match="lot B2"):
        check_agreement(batch(), film_test(film_lot="B2", gasket_fired=True, accept=["fired"]))


def test_a_film_without_curve_is_refused():
    with pytest.raises(PrintError, match="no response curve"):
        check_agreement(batch(response=None), film_test())


def test_conditions_that_the_film_does_not_state_are_told():
    notes = check_agreement(batch(climate=None, expiry=None), film_test())
    assert len(notes) == 2

"""Does the film's calibration hold for the test that is to be read with it."""

from __future__ import annotations

from firedeck.definition.film import FilmBatch
from firedeck.definition.film_test import FilmTest, Mismatch
from firedeck.errors import PrintError

__all__ = ["check_agreement", "disagreements"]

# Limits of what one curve covers; common practice, no source.
_TEMPERATURE_K = 3.0
_HUMIDITY = 0.12
_DELAY_RATIO = 2.0
_PROFILE_RATIO = 4.0


def disagreements(batch: FilmBatch, test: FilmTest) -> dict[Mismatch, str]:
    """List every way in which a calibration does not fit a test.

    Parameters
    ----------
    batch : FilmBatch
        Film with its conditions of calibration.
    test : FilmTest
        Record of the test.

    Returns
    -------
    dict
        Kind of mismatch -> one plain sentence.
    """
    found: dict[Mismatch, str] = {}
    if batch.expiry is not None and test.date > batch.expiry:
        found["expired"] = f"the film expired on {batch.expiry}, before the test of {test.date}"
    if test.film_lot and test.film_lot != batch.lot:
        found["lot"] = f"the film used is of lot {test.film_lot}, the calibration of lot {batch.lot}"
    if batch.scanner is not None and _other_scanner(batch, test):
        found["scanner"] = "scanner or its settings differ between calibration and test"
    if test.gasket_fired:
        found["fired"] = "the gasket has been fired; its beads no longer spring as new"
    found.update(_conditions(batch, test))
    return found


def _other_scanner(batch: FilmBatch, test: FilmTest) -> bool:
    return batch.scanner is not None and (batch.scanner != test.scanner)


def _conditions(batch: FilmBatch, test: FilmTest) -> dict[Mismatch, str]:
    found: dict[Mismatch, str] = {}
    if batch.climate is not None:
        kelvin = abs(batch.climate.temperature - test.climate.temperature)
        damp = abs(batch.climate.humidity - test.climate.humidity)
        if kelvin > _TEMPERATURE_K or damp > _HUMIDITY:
            found["climate"] = (
                f"calibrated at {batch.climate.temperature:g} °C "
                f"and {100 * batch.climate.humidity:.0f} % humidity, "
                f"tested at {test.climate.temperature:g} °C and {100 * test.climate.humidity:.0f} %"
            )
    if batch.load_profile is not None:
        before, now = batch.load_profile, test.load_profile
        if _apart(before.scan_delay, now.scan_delay, _DELAY_RATIO):
            found["delay"] = (
                f"calibration pieces were scanned {before.scan_delay / 60:g} min after release, "
                f"the print after {now.scan_delay / 60:g} min; the colour still develops in between"
            )
        if _apart(before.rise + before.hold, now.rise + now.hold, _PROFILE_RATIO):
            found["load-profile"] = (
                f"calibration pieces were under load for {(before.rise + before.hold) / 60:.3g} min, "
                f"the print for {(now.rise + now.hold) / 60:.3g} min"
            )
    return found


def _apart(one: float, other: float, ratio: float) -> bool:
    small, large = sorted((max(one, 1.0), max(other, 1.0)))
    return large > ratio * small


def check_agreement(batch: FilmBatch, test: FilmTest) -> tuple[str, ...]:
    """Refuse a test whose calibration does not fit, unless each mismatch is accepted in the record.

    Parameters
    ----------
    batch : FilmBatch
        Film with its conditions of calibration.
    test : FilmTest
        Record of the test; its `accept` names mismatches that are knowingly taken.

    Returns
    -------
    tuple of str
        A sentence for every accepted mismatch and for every condition that could not be compared.

    Raises
    ------
    PrintError
        For a film without response curve, or a mismatch that is not accepted.
    """
    if batch.response is None:
        raise PrintError(
            f"film batch {batch.name!r} (lot {batch.lot}) has no response curve",
            where=test.film,
            remedy="calibrate it first: firedeck film calibrate",
        )
    found = disagreements(batch, test)
    refused = {kind: text for kind, text in found.items() if kind not in test.accept}
    if refused:
        names = ", ".join(f'"{kind}"' for kind in refused)
        raise PrintError(
            "the film's calibration does not fit this test: " + "; ".join(refused.values()),
            where=test.film,
            remedy="calibrate again under the test's conditions, or accept it knowingly with "
            f"accept = [{names}] in the test record (the report will say so)",
        )
    accepted = [f"Accepted in the record: {text}." for text in found.values()]
    missing = [
        f"The film batch does not state its {name}; it was taken to fit."
        for name, value in (
            ("climate at calibration", batch.climate),
            ("load profile at calibration", batch.load_profile),
            ("scanner", batch.scanner),
            ("expiry", batch.expiry),
        )
        if value is None
    ]
    return (*accepted, *missing)

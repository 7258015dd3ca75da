"""Parts of a print's report about the record: what was tested, laid down, measured against, and with what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firedeck.definition.criteria import Criteria
from firedeck.definition.deck import DeckPlan
from firedeck.definition.film import FilmBatch, LoadProfile, Response
from firedeck.definition.film_test import FilmTest
from firedeck.definition.gasket import Gasket
from firedeck.film.registered import Registration
from firedeck.report.document import Facts, Table
from firedeck.report.words import number, percent
from firedeck.seal.balance import ClampBalance

__all__ = [
    "balance_facts",
    "criteria_tables",
    "film_facts",
    "provenance_table",
    "record_facts",
    "registration_table",
    "response_facts",
]


def record_facts(test: FilmTest, plan: DeckPlan, gasket: Gasket) -> Facts:
    """Return what was tested, as the record states it."""
    steps = "; ".join(_step(step.torque, step.note) for step in test.steps)
    rows = [
        ("test", f"{test.name}, {test.date.isoformat()}" + (f", {test.operator}" if test.operator else "")),
        ("deck plan", plan.name),
        ("gasket", " ".join(part for part in (f"{gasket.name} ({gasket.role})", _revision(gasket)) if part)),
        (
            "gasket's use",
            f"clamped {_times(test.gasket_use)}"
            + (", has been fired" if test.gasket_fired else ", never fired"),
        ),
        ("film lay on", f"the {test.film_face} side of the gasket"),
        ("tightening", steps or "no steps recorded"),
        ("preload stated", _clamp(test)),
        ("air", f"{test.climate.temperature:.3g} °C, {100 * test.climate.humidity:.0f} % relative humidity"),
        ("load", load_profile(test.load_profile)),
        ("scanner", " – ".join(part for part in (test.scanner.name, test.scanner.settings) if part)),
        ("note", test.note),
    ]
    return Facts(tuple(row for row in rows if row[1]))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _revision(gasket: Gasket) -> str:
    return f"revision {gasket.revision}" if gasket.revision else ""


def _step(torque: float | None, note: str) -> str:
    parts = [f"{torque / 1e3:g} N·m" if torque is not None else "", note]
    return " ".join(part for part in parts if part)


def _clamp(test: FilmTest) -> str:
    clamp = test.clamp
    if clamp is None:
        return "none: the force on the print was not checked against anything"
    return f"{clamp.total / 1e3:.4g} kN ± {100 * 1.96 * clamp.uncertainty:.0f} % at 95 % ({clamp.basis})"


def load_profile(profile: LoadProfile) -> str:
    """Return a load profile in words."""
    rise, hold, delay = (_duration(value) for value in (profile.rise, profile.hold, profile.scan_delay))
    return f"{rise} to full load, {hold} held, scanned {delay} after release"


def _duration(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:g} s"
    return f"{seconds / 60:.3g} min" if seconds < 7200 else f"{seconds / 3600:.3g} h"


def registration_table(sheets: Sequence[tuple[str, Registration]]) -> Table:
    """Return how every scan was laid onto the plan."""
    head = (
        "scan",
        "turned [degree]",
        "seen from",
        "scale x",
        "scale y",
        "holes matched",
        "holes, rms [mm]",
        "crown marks",
        "marks, rms [mm]",
        "not cut or torn",
    )
    rows = tuple(
        (
            name,
            f"{one.rotation_deg:.2f}".replace("-", "−"),
            "the block (mirrored)" if one.mirrored else "the head",
            percent(one.scale_x - 1),
            percent(one.scale_y - 1),
            f"{one.hole_count} of {one.hole_count + len(one.missing)}",
            number(one.hole_rms, 2),
            str(one.mark_count),
            number(one.mark_rms, 2),
            ", ".join(one.missing) or "none",
        )
        for name, one in sheets
    )
    return Table(head, rows, "Where each scan lies on the plan, and how well holes and marks fit.")


def balance_facts(balance: ClampBalance) -> Facts:
    """Return the force on the print against the preload."""
    printed = balance.printed
    shown = (
        f"at least {printed.low / 1e3:.0f} kN"
        if not printed.bounded_above
        else _kilo(printed.value, printed.low, printed.high)
    )
    expected = balance.expected
    return Facts(
        (
            ("force on the print", shown),
            (
                "of it within what the film reads",
                _kilo(balance.in_range.value, balance.in_range.low, balance.in_range.high),
            ),
            ("preload stated", f"{_kilo(expected.value, expected.low, expected.high)}; {balance.basis}"),
            ("saturated area", f"{number(balance.saturated_area)} mm²"),
            ("area below range", f"{number(balance.below_area)} mm²"),
        )
    )


def _kilo(value: float, low: float, high: float) -> str:
    return f"{value / 1e3:.0f} kN ({low / 1e3:.0f} to {high / 1e3:.0f})"


def film_facts(batch: FilmBatch) -> Facts:
    """Return what the film is and how it was calibrated."""
    rows = [
        ("film", f"{batch.name}, lot {batch.lot}, {number(batch.thickness, 2)} mm thick"),
        ("stated range", f"{batch.range_low:g} to {batch.range_high:g} MPa"),
        ("expires", batch.expiry.isoformat() if batch.expiry else "not stated"),
        ("calibrated", batch.calibrated.isoformat() if batch.calibrated else "not stated"),
    ]
    if batch.load_profile is not None:
        rows.append(("load on the pieces", load_profile(batch.load_profile)))
    return Facts(tuple(rows))


def response_facts(response: Response) -> Facts:
    """Return what a response curve rests on."""
    low, high = response.pressure[0], response.pressure[-1]
    return Facts(
        (
            ("curve reaches", f"from {number(low)} to {number(high)} MPa"),
            (
                "rests on",
                f"{response.pieces} pieces at {response.levels} levels that answer, {response.channel} "
                f"channel",
            ),
            ("largest error, one level left out", f"{100 * response.hold_out_error:.1f} % of the pressure"),
            ("largest departure from a plain S-curve", f"{100 * response.shape_check:.1f} % of the pressure"),
        )
    )


def criteria_tables(criteria: Criteria) -> tuple[Table, Table]:
    """Return what the verdict was measured against, each limit with its source."""
    media = tuple(
        (rule.medium, f"{rule.pressure:g}", _source(str(rule.basis), rule.source)) for rule in criteria.media
    )
    factor = (
        "contact pressure over fluid pressure",
        f"{criteria.contact_factor:g}",
        _source(str(criteria.contact_basis), criteria.contact_source),
    )
    seals = tuple(
        (
            str(rule.seal),
            f"{rule.line_load_min:g}",
            f"{rule.evenness_min:g}",
            f"{rule.gap_max:g}",
            f"{100 * rule.saturated_max:.0f} %",
            _source(str(rule.basis), rule.source),
        )
        for rule in criteria.seals
    )
    head = (
        "kind of seal",
        "least line load [N/mm]",
        "least weakest over mean [1]",
        "longest gap [mm]",
        "most saturated length",
        "source",
    )
    reserve = f"A seal that holds with less than {100 * criteria.margin:.0f} % reserve is called marginal."
    return (
        Table(head, seals, f"Criteria “{criteria.name}”. {reserve}"),
        Table(
            ("medium", "fluid pressure to be held [MPa], or factor [1]", "source"),
            (*media, factor),
            "Pressures to be held.",
        ),
    )


def _source(basis: str, source: str) -> str:
    return f"{source} ({basis})" if source else basis


def provenance_table(provenance: Mapping[str, str], of: str = "") -> Table:
    """Return versions, settings and file hashes; `of` tells two on one page apart."""
    caption = f"Versions, settings and hashes of all inputs{f' of {of}' if of else ''}."
    return Table(("what", "value"), tuple(provenance.items()), caption)

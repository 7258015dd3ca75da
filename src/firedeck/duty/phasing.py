"""Where top dead centre lies in a recorded crank angle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares, minimize_scalar

from firedeck.duty.cycle import run_motored
from firedeck.duty.geometry import Cylinder
from firedeck.duty.limits import DutyError
from firedeck.duty.record import PressureRecord
from firedeck.evidence import Estimate
from firedeck.kernel.trace import fold_cycles, polytropic_offsets

__all__ = [
    "TopDeadCentre",
    "compression_top_dead_centre",
    "loss_angle",
    "motored_top_dead_centre",
    "stated_top_dead_centre",
]

Floats = NDArray[np.float64]

#: Uncertainty (95 %) of the compression-line method [deg]. Common practice, no source.
_COMPRESSION_DOUBT = 2.0
#: Relative uncertainty (95 %) of a calculated loss angle [1]. Common practice, no source; measured
#: loss angles between 0.4 and 1.3 deg are reported, which calculation does not explain one by one.
_LOSS_DOUBT = 0.6
#: Uncertainty (95 %) of the fitted centre from the form of the heat loss [deg]. Common practice, no source.
_FORM_DOUBT = 0.15
#: Multiples of the heat-transfer correlation that the fit looks between [1].
_HEAT_FACTORS = (0.2, 1.0, 2.0, 3.5, 5.0)


@dataclass(frozen=True)
class TopDeadCentre:
    """Firing top dead centre in a record's own crank angle.

    Attributes
    ----------
    angle : Estimate
        Where it lies, within one cycle of the record's angle [deg].
    method : str
        ``"stated"``, ``"motored"`` with the name of its method, or ``"compression line"``.
    loss_angle : float
        How far the motored peak leads top dead centre [deg]; zero where it plays no part.
    notes : tuple of str
        What to doubt.
    """

    angle: Estimate
    method: str
    loss_angle: float = 0.0
    notes: tuple[str, ...] = ()

    def moved(self, offset: float, note: str) -> TopDeadCentre:
        """Top dead centre of another cylinder that fires `offset` [deg] later."""
        angle = self.angle
        moved = Estimate(angle.value + offset, angle.low + offset, angle.high + offset, angle.flags)
        return replace(self, angle=moved, notes=(*self.notes, note))


def stated_top_dead_centre(angle: float, doubt: float = 0.2) -> TopDeadCentre:
    """Top dead centre as the user knows it.

    Parameters
    ----------
    angle : float
        Recorded angle of firing top dead centre [deg].
    doubt : float
        Its uncertainty (95 %) [deg].
    """
    return TopDeadCentre(Estimate(angle, angle - doubt, angle + doubt), "stated")


def loss_angle(
    cylinder: Cylinder, speed: float, manifold_pressure: float = 0.1, heat_factor: float = 1.0
) -> float:
    """Angle by which heat loss makes a motored peak lead top dead centre [deg].

    Parameters
    ----------
    cylinder : Cylinder
        The cylinder.
    speed : float
        Engine speed while motored [1/min].
    manifold_pressure : float
        Absolute manifold pressure while motored [MPa].
    heat_factor : float
        Multiplies the heat-transfer correlation [1].
    """
    cycle = run_motored(cylinder, speed=speed, manifold_pressure=manifold_pressure, heat_factor=heat_factor)
    return -cycle.peak_angle


def motored_top_dead_centre(
    record: PressureRecord,
    cylinder: Cylinder,
    *,
    method: str = "fit",
    loss: float | None = None,
    manifold_pressure: float = 0.1,
) -> TopDeadCentre:
    """Top dead centre from a record of the same cylinder turned without firing.

    Parameters
    ----------
    record : PressureRecord
        Motored record, from the same crank wheel and sensor.
    cylinder : Cylinder
        The cylinder.
    method : str
        ``"fit"`` fits the motored cycle model with its heat loss and top dead centre left free:
        a wrong centre shows most near it, heat loss most far from it. ``"peak"`` takes the top of a
        polynomial through the highest pressures, ``"symmetry"`` the middle between equal pressures
        before and after it; both then add the loss angle.
    loss : float, optional
        Thermodynamic loss angle [deg] for ``"peak"`` and ``"symmetry"``; calculated when not given.
    manifold_pressure : float
        Absolute manifold pressure while motored [MPa].

    Raises
    ------
    DutyError
        If the record is not a motored one, its speed is not known, or the method is not.
    """
    if method not in ("fit", "peak", "symmetry"):
        raise DutyError(
            f"no phasing method is called {method!r}", where="method", remedy="fit, peak or symmetry"
        )
    if record.speed is None and (method == "fit" or loss is None):
        raise DutyError(
            "the loss angle needs the engine speed", where="motored trace", remedy="give the motored speed"
        )
    if not record.anchored:
        raise DutyError(
            "the motored trace counts no angle from a mark on the crank, so its centre fits no other trace",
            where="motored trace",
            remedy="record with a crank signal, or state the first sample's angle",
        )
    top = _coarse_peak(record)
    cycles = _cycles_about(record, top)
    _check_motored(cycles)
    if method == "fit":
        found = _fit_centre(cycles, cylinder, record.speed or 0.0, manifold_pressure)
    else:
        lead = loss_angle(cylinder, record.speed or 0.0, manifold_pressure) if loss is None else loss
        found = _mirror_centre(cycles, method, lead, stated=loss is not None)
    angle = (top + found.angle.value) % record.period
    doubt = found.angle.high - found.angle.value
    return TopDeadCentre(
        Estimate(angle, angle - doubt, angle + doubt), f"motored {method}", found.loss_angle, found.notes
    )


def _mirror_centre(cycles: Floats, method: str, lead: float, *, stated: bool) -> TopDeadCentre:
    """Centre relative to the coarse peak, from where the motored pressure mirrors itself."""
    finder = _peak_place if method == "peak" else _symmetry_place
    places = np.array([finder(cycle) for cycle in _groups(cycles)])
    scatter = float(np.std(places, ddof=1) / np.sqrt(places.size)) if places.size > 1 else 0.1
    place = float(np.mean(places)) + lead
    doubt = float(np.hypot(1.96 * scatter, 0.05 if stated else _LOSS_DOUBT * lead))
    notes = () if stated else (f"loss angle {lead:.2f} deg calculated from heat loss of air to the walls",)
    return TopDeadCentre(Estimate(place, place - doubt, place + doubt), f"motored {method}", lead, notes)


def _fit_centre(cycles: Floats, cylinder: Cylinder, speed: float, manifold_pressure: float) -> TopDeadCentre:
    """Centre relative to the coarse peak, by fitting the motored cycle model."""
    models = [
        run_motored(cylinder, speed=speed, manifold_pressure=manifold_pressure, heat_factor=factor)
        for factor in _HEAT_FACTORS
    ]
    curves = CubicSpline(_HEAT_FACTORS, np.log([model.pressure for model in models]))
    leads = CubicSpline(_HEAT_FACTORS, [-model.peak_angle for model in models])
    fits = [_fit_cycle(cycle, models[0].angle, curves) for cycle in _groups(cycles)]
    places, factors = np.array(fits).T
    scatter = float(np.std(places, ddof=1) / np.sqrt(places.size)) if places.size > 1 else 0.1
    place, factor = float(np.mean(places)), float(np.mean(factors))
    doubt = float(np.hypot(1.96 * scatter, _FORM_DOUBT))
    lead = float(leads(factor))
    notes = [f"motored peak leads top dead centre by {lead:.2f} deg; heat loss {factor:.1f} times the usual"]
    if not _HEAT_FACTORS[0] < factor < _HEAT_FACTORS[-1]:
        doubt = 1.0
        notes.append(
            "the motored trace asks for more heat loss than is likely: blow-by or a wrong compression ratio"
        )
    return TopDeadCentre(Estimate(place, place - doubt, place + doubt), "motored fit", lead, tuple(notes))


def _fit_cycle(cycle: Floats, angle: Floats, curves: CubicSpline) -> tuple[float, float]:
    """Centre [deg] and heat factor [1] that fit one motored cycle best.

    Gain and zero of the sensor are left free too: they act alike on both sides of the centre, so
    they say nothing about it.
    """

    def misfit(asked: Floats) -> Floats:
        pressure = np.exp(curves(asked[1]))
        model = np.interp(_NEAR - asked[0], angle, pressure)
        columns = np.stack([model, np.ones_like(model)], axis=1)
        best = np.linalg.lstsq(columns, cycle, rcond=None)[0]
        return np.asarray(columns @ best - cycle)

    low, high = _HEAT_FACTORS[0], _HEAT_FACTORS[-1]
    start = (_peak_place(cycle) + 0.4, 1.0)
    bounds = ((start[0] - 3.0, low), (start[0] + 3.0, high))
    found = least_squares(misfit, start, bounds=bounds, x_scale=(0.1, 0.5), diff_step=1e-3)
    return float(found.x[0]), float(found.x[1])


_NEAR = np.arange(-90.0, 90.05, 0.25)


def _coarse_peak(record: PressureRecord) -> float:
    """Angle within the period about which the pressure is usually highest [deg]."""
    bins = np.zeros(int(record.period))
    where = np.floor(record.angle % record.period).astype(np.int64) % bins.size
    np.add.at(bins, where, record.pressure)
    counts = np.bincount(where, minlength=bins.size)
    mean = np.where(counts > 0, bins / np.maximum(counts, 1), -np.inf)
    return float(np.argmax(mean)) + 0.5


def _cycles_about(record: PressureRecord, centre: float) -> Floats:
    """Cycles on `_NEAR` degrees about the centre; every turn or cycle that has a compression."""
    first = np.ceil((record.angle[0] + 90.0 - centre) / 720.0) * 720.0 + centre
    if record.period < 720.0:
        first = _firing_turn(record, centre)
    count = int((record.angle[-1] - 90.0 - first) // 720.0) + 1
    if count < 1:
        raise DutyError("the record holds no whole compression", where="trace", remedy="record more cycles")
    cycles, _ = fold_cycles(record.angle, record.pressure, first, count, _NEAR)
    return np.asarray(cycles)


def _firing_turn(record: PressureRecord, centre: float) -> float:
    """First running angle of the centre on the turn that compresses [deg]."""
    first = np.ceil((record.angle[0] + 90.0 - centre) / 360.0) * 360.0 + centre
    count = int((record.angle[-1] - first) // 360.0) + 1
    tops = np.interp(first + 360.0 * np.arange(count), record.angle, record.pressure)
    return float(
        first if tops[0::2].mean() >= (tops[1::2].mean() if count > 1 else -np.inf) else first + 360.0
    )


def _groups(cycles: Floats) -> list[Floats]:
    """Averages over up to ten groups of cycles, so that their scatter can be seen."""
    parts = np.array_split(np.arange(cycles.shape[0]), min(10, cycles.shape[0]))
    return [cycles[part].mean(axis=0) for part in parts]


def _check_motored(cycles: Floats) -> None:
    """Refuse a record in which the charge burnt: its expansion lies far above its compression."""
    mean = cycles.mean(axis=0)
    top = int(np.argmax(mean))
    base = float(mean.min())
    level = base + 0.5 * (float(mean[top]) - base)
    before = _NEAR[top] - _NEAR[np.argmax(mean > level)]
    after = _NEAR[mean.size - 1 - np.argmax(mean[::-1] > level)] - _NEAR[top]
    if not 0.75 < after / max(before, 0.1) < 1.25 or abs(_NEAR[top]) > 20.0:
        raise DutyError(
            "this record is not motored: pressure falls more slowly than it rose",
            where="motored trace",
            remedy="record with ignition and fuel of that cylinder cut",
        )


def _peak_place(cycle: Floats) -> float:
    top = _NEAR[int(np.argmax(cycle))]
    near = np.abs(_NEAR - top) <= 8.0
    x = _NEAR[near] - top
    slope = np.polynomial.Polynomial.fit(x, cycle[near], 4).deriv()
    roots = slope.roots()
    real = roots[np.abs(roots.imag) < 1e-9].real
    return float(top + real[np.argmin(np.abs(real))])


def _symmetry_place(cycle: Floats) -> float:
    """Angle about which compression and expansion mirror each other best near the top.

    Pressure is compared between 8 and 22 deg on either side, where it is steep; heat loss shifts
    that middle by the loss angle just as it shifts the peak.
    """
    coarse = _peak_place(cycle)
    reach = np.arange(8.0, 22.01, 0.1)

    def misfit(middle: float) -> float:
        left = np.interp(middle - reach, _NEAR, cycle)
        right = np.interp(middle + reach, _NEAR, cycle)
        return float(np.sum((left - right) ** 2))

    return float(minimize_scalar(misfit, bounds=(coarse - 2.0, coarse + 2.0), method="bounded").x)


def compression_top_dead_centre(
    record: PressureRecord, cylinder: Cylinder, exponent: float = 1.32
) -> TopDeadCentre:
    """Top dead centre from a fired record alone: where its compression best follows p V^n = const.

    The last resort: an exponent wrong by 0.02 moves the answer by about a degree.

    Parameters
    ----------
    record : PressureRecord
        Fired record.
    cylinder : Cylinder
        The cylinder.
    exponent : float
        Polytropic exponent of the compression [1].

    Raises
    ------
    DutyError
        If the record holds no whole compression.
    """
    top = _coarse_peak(record)
    grid = np.arange(-110.0, -24.9, 0.5)
    first = np.ceil((record.angle[0] + 130.0 - top) / 720.0) * 720.0 + top
    if record.period < 720.0:
        first = _firing_turn(record, top)
    count = int((record.angle[-1] - first) // 720.0)
    if count < 1:
        raise DutyError("the record holds no whole compression", where="trace", remedy="record more cycles")
    mean = fold_cycles(record.angle, record.pressure, first, count, grid)[0].mean(axis=0)[None]
    usable = int(np.searchsorted(grid, -45.0))

    def misfit(lag: float) -> float:
        # the recorded peak lies `lag` after top dead centre
        shape = cylinder.volume(grid + lag) ** -exponent
        return float(polytropic_offsets(mean, shape / shape.max(), 0, usable)[1][0])

    lag = float(minimize_scalar(misfit, bounds=(-5.0, 35.0), method="bounded").x)
    angle = (top - lag) % record.period
    note = "top dead centre from the compression line of fired cycles, good to about 2 deg; better motored"
    return TopDeadCentre(
        Estimate(angle, angle - _COMPRESSION_DOUBT, angle + _COMPRESSION_DOUBT),
        "compression line",
        0.0,
        (note,),
    )

"""From a record to peak pressures: phased, pegged, averaged and filtered, in that order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.geometry import Cylinder
from firedeck.duty.knock import Knock, first_mode_frequency, knock_of_cycles
from firedeck.duty.limits import DutyError
from firedeck.duty.phasing import TopDeadCentre, compression_top_dead_centre
from firedeck.duty.record import PressureRecord
from firedeck.duty.statistics import Extreme, Scatter, describe_scatter, largest_peak
from firedeck.kernel.trace import cycle_peaks, fold_cycles, polytropic_offsets

__all__ = ["PEGGINGS", "CycleTable", "TraceResult", "TraceSettings", "analyse_trace"]

Floats = NDArray[np.float64]

#: Ways to find the absolute pressure of a record.
PEGGINGS = ("intake", "polytropic", "none")

#: A cycle with a gap in its crank angle wider than this [deg] is left out. Common practice, no source.
_WIDEST_GAP = 12.0
#: Where the intake pressure is read [deg]: about the bottom dead centre that ends the intake.
_INTAKE_WINDOW = (-190.0, -170.0)
#: Cycles short of this say little about scatter; 25 to 2800 are recommended (J. Braz. Soc. Mech.
#: Sci. Eng. 41 (2019), doi 10.1007/s40430-019-1785-9, introduction).
_FEW_CYCLES = 50


@dataclass(frozen=True)
class TraceSettings:
    """How a record is worked up.

    Attributes
    ----------
    peg : str
        One of `PEGGINGS`: ``"intake"`` sets the pressure at intake bottom dead centre to the
        manifold's, ``"polytropic"`` makes compression follow p V^n = const, ``"none"`` trusts an
        absolute sensor.
    manifold_pressure : float or None
        Absolute manifold pressure for ``"intake"`` [MPa]; the record's own when None.
    exponent : float
        Polytropic exponent [1].
    peg_window : tuple of float
        Crank angles of the compression line [deg]; kept after intake closing.
    low_pass : float or None
        Cut-off of the filter that the peak is read behind [Hz]; 0.6 of the first knock mode when
        None.
    knock_band : tuple of float or None
        Band that knock is looked for in [Hz]; around the first mode when None.
    cycles : int
        Cycles that extremes are for.
    law : str
        Law of the extremes, see `firedeck.duty.statistics.largest_peak`.
    gain_doubt : float
        Relative uncertainty (95 %) of the sensor's gain [1]. Common practice, no source.
    """

    peg: str = "polytropic"
    manifold_pressure: float | None = None
    exponent: float = 1.32
    peg_window: tuple[float, float] = (-110.0, -55.0)
    low_pass: float | None = None
    knock_band: tuple[float, float] | None = None
    cycles: int = 100_000
    law: str = "auto"
    gain_doubt: float = 0.02


@dataclass(frozen=True)
class CycleTable:
    """One row per cycle; each array has shape (c,).

    Attributes
    ----------
    peak : ndarray
        Peak pressure behind the filter [MPa].
    peak_angle : ndarray
        Its crank angle after top dead centre [deg].
    raw_peak : ndarray
        Highest sample, knock and noise with it [MPa].
    imep_gross, imep_net : ndarray
        Indicated mean effective pressure of compression and expansion, and of the whole cycle [MPa].
    shift : ndarray
        Pressure that pegging added [MPa].
    """

    peak: Floats
    peak_angle: Floats
    raw_peak: Floats
    imep_gross: Floats
    imep_net: Floats
    shift: Floats


@dataclass(frozen=True)
class TraceResult:
    """One cylinder's record, worked up.

    Attributes
    ----------
    cylinder : int
        Cylinder number.
    speed : float or None
        Mean engine speed [1/min], where known.
    top_dead_centre : TopDeadCentre
        How the crank angle was phased.
    angle : ndarray
        Crank angle after firing top dead centre [deg], shape (m,).
    pressure : ndarray
        Absolute pressure of each cycle [MPa], shape (c, m).
    cycles : CycleTable
        Cycle by cycle.
    peak, peak_angle, imep : Scatter
        Scatter of peak pressure [MPa], its angle [deg] and gross mean pressure [MPa].
    extreme : Extreme
        Largest peak to expect [MPa].
    knock : Knock or None
        Knock; None when the record cannot show it.
    gain_doubt : float
        Relative uncertainty (95 %) of the sensor's gain [1].
    notes : tuple of str
        What was done, assumed and left out.
    """

    cylinder: int
    speed: float | None
    top_dead_centre: TopDeadCentre
    angle: Floats
    pressure: Floats
    cycles: CycleTable
    peak: Scatter
    peak_angle: Scatter
    imep: Scatter
    extreme: Extreme
    knock: Knock | None
    gain_doubt: float
    notes: tuple[str, ...]

    @property
    def mean_pressure(self) -> Floats:
        """Mean absolute pressure of all cycles [MPa], shape (m,)."""
        return np.asarray(self.pressure.mean(axis=0))


def analyse_trace(
    record: PressureRecord,
    cylinder: Cylinder,
    *,
    top_dead_centre: TopDeadCentre | None = None,
    settings: TraceSettings | None = None,
) -> TraceResult:
    """Work up a record of fired cycles.

    Parameters
    ----------
    record : PressureRecord
        The record.
    cylinder : Cylinder
        The cylinder.
    top_dead_centre : TopDeadCentre, optional
        From a motored record or the user; from the compression line when not given.
    settings : TraceSettings, optional
        How to peg, filter and extrapolate.

    Raises
    ------
    DutyError
        If the record holds too few whole cycles, its speed is not known, or pegging leaves
        pressures below vacuum.
    """
    how = settings or TraceSettings()
    _check_settings(record, how)
    speed = record.speed
    if speed is None:
        raise DutyError(
            "the engine speed is not known, so nothing tells pressure from ringing",
            where="trace",
            remedy="give the speed",
        )
    phase = top_dead_centre or compression_top_dead_centre(record, cylinder, how.exponent)
    grid = _grid(record)
    cycles, kept = _fold(record, phase, grid)
    cycles, shift, notes = _peg(record, phase, cylinder, how, grid, cycles, kept)
    _check_vacuum(cycles)
    smooth = _smooth(cycles, grid, speed, how.low_pass or 0.6 * first_mode_frequency(cylinder.bore))
    table = _tabulate(cycles, smooth, grid, cylinder, shift)
    knock = knock_of_cycles(cycles, grid, cylinder.bore, speed, how.cycles, how.knock_band)
    return TraceResult(
        record.cylinder,
        speed,
        phase,
        grid,
        cycles,
        table,
        describe_scatter(table.peak),
        describe_scatter(table.peak_angle),
        describe_scatter(table.imep_gross),
        largest_peak(table.peak, how.cycles, law=how.law),
        knock,
        how.gain_doubt,
        (*record.notes, *phase.notes, *notes, *_doubts(kept, knock)),
    )


def _check_settings(record: PressureRecord, how: TraceSettings) -> None:
    if how.peg not in PEGGINGS:
        raise DutyError(
            f"no pegging is called {how.peg!r}", where="peg", remedy=f"write one of {', '.join(PEGGINGS)}"
        )
    if how.peg == "none" and not record.absolute:
        raise DutyError(
            "the sensor only shows change of pressure, so it must be pegged",
            where="peg",
            remedy="choose intake or polytropic, or say that the sensor is absolute",
        )
    known = how.manifold_pressure is not None or record.manifold_pressure is not None
    if how.peg == "intake" and not known:
        raise DutyError(
            "pegging to the intake needs the absolute manifold pressure",
            where="manifold_pressure",
            remedy="give it, name its column, or choose polytropic",
        )


def _grid(record: PressureRecord) -> Floats:
    """Crank angles of a whole cycle about as fine as the record, never finer than 0.05 deg."""
    step = max(float(np.median(np.diff(record.angle))), 0.05)
    count = max(round(720.0 / step), 360)
    return np.asarray(-360.0 + 720.0 / count * np.arange(count))


def _fold(record: PressureRecord, phase: TopDeadCentre, grid: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Every whole cycle, and which of them have no wide gap in their crank angle."""
    first = _first_cycle(record, phase)
    count = int((record.angle[-1] - first + 360.0 + 1e-6) // 720.0)
    if count < 3:
        raise DutyError(
            f"the record holds {max(count, 0)} whole cycles", where="trace", remedy="record at least 50"
        )
    cycles, gaps = fold_cycles(record.angle, record.pressure, first, count, grid)
    kept = gaps <= _WIDEST_GAP
    if np.count_nonzero(kept) < 3:
        raise DutyError(
            f"every cycle has a gap of more than {_WIDEST_GAP:.0f} deg in its crank angle",
            where="trace",
            remedy="check the crank signal",
        )
    return cycles[kept], kept


def _first_cycle(record: PressureRecord, phase: TopDeadCentre) -> float:
    """Find the first firing top dead centre with half a cycle before it, as a running angle [deg]."""
    start = record.angle[0] + 360.0
    first = float(
        np.ceil((start - phase.angle.value - 1e-6) / record.period) * record.period + phase.angle.value
    )
    if record.period == 720.0:
        return first
    # a wheel that starts over every turn does not tell firing from gas exchange; pressure does
    turns = first + 360.0 * np.arange(max(int((record.angle[-1] - first) // 360.0), 2))
    after = np.interp(turns + 20.0, record.angle, record.pressure)
    return first if after[0::2].mean() >= after[1::2].mean() else first + 360.0


def _peg(
    record: PressureRecord,
    phase: TopDeadCentre,
    cylinder: Cylinder,
    how: TraceSettings,
    grid: Floats,
    cycles: Floats,
    kept: NDArray[np.bool_],
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Absolute cycles, the shift of each, and what was assumed."""
    if how.peg == "none":
        return cycles, np.zeros(cycles.shape[0]), ("absolute sensor, not pegged",)
    if how.peg == "intake":
        start, stop = np.searchsorted(grid, _INTAKE_WINDOW)
        manifold = _manifold(record, phase, how, grid, kept, slice(start, stop))
        shift = manifold - cycles[:, start:stop].mean(axis=1)
        note = "pegged to the manifold pressure at intake bottom dead centre, which a tuned intake may miss"
        return cycles + shift[:, None], shift, (note,)
    window = max(how.peg_window[0], cylinder.intake_closes + 10.0), how.peg_window[1]
    if window[1] - window[0] < 15.0:
        raise DutyError(
            "too little compression is left to peg by",
            where="peg_window",
            remedy="a later end, or peg to the intake",
        )
    start, stop = np.searchsorted(grid, window)
    shape = cylinder.volume(grid) ** -how.exponent
    shift, misfit = polytropic_offsets(cycles, shape / shape.max(), int(start), int(stop))
    note = (
        f"pegged so that compression from {window[0]:.0f} to {window[1]:.0f} deg follows "
        f"p V^{how.exponent:g}; misfit {float(np.median(misfit)) * 1e3:.1f} kPa"
    )
    return cycles + shift[:, None], shift, (note,)


def _manifold(
    record: PressureRecord,
    phase: TopDeadCentre,
    how: TraceSettings,
    grid: Floats,
    kept: NDArray[np.bool_],
    window: slice,
) -> Floats:
    """Absolute manifold pressure of each kept cycle [MPa]."""
    if how.manifold_pressure is not None:
        if how.manifold_pressure <= 0.0:
            raise DutyError(
                f"an absolute manifold pressure of {how.manifold_pressure:g} MPa does not exist",
                where="manifold_pressure",
                remedy="give boost plus atmospheric pressure",
            )
        return np.full(int(np.count_nonzero(kept)), how.manifold_pressure)
    own = np.asarray(record.manifold_pressure)
    if float(np.min(own)) <= 0.0:
        raise DutyError(
            "the manifold pressure falls to vacuum or below, so it is not absolute",
            where="manifold_pressure",
            remedy="add the atmospheric pressure to a boost reading",
        )
    first = _first_cycle(record, phase)
    cycles, _ = fold_cycles(record.angle, own, first, kept.size, grid)
    return np.asarray(cycles[kept][:, window].mean(axis=1))


def _check_vacuum(cycles: Floats) -> None:
    """Refuse pressures below vacuum that noise does not explain."""
    mean = cycles.mean(axis=0)
    lowest = float(mean.min())
    if lowest < -0.02 * float(mean.max()) or lowest < -0.05:
        raise DutyError(
            f"the mean pressure falls to {lowest * 10.0:.1f} bar absolute, below vacuum",
            where="trace",
            remedy="check gain and sign of the sensor, top dead centre, compression ratio and pegging",
        )


def _smooth(cycles: Floats, grid: Floats, speed: float, cut: float) -> Floats:
    """Low-pass without lag; consecutive cycles are filtered as one record so that ends do not show."""
    rate = 6.0 * speed / (grid[1] - grid[0])
    if cut >= 0.45 * rate:
        return cycles
    # Loaded here: it takes as long as all else together, and only measured pressures are filtered.
    from scipy import signal

    sections = signal.butter(2, cut, fs=rate, output="sos")
    return np.asarray(signal.sosfiltfilt(sections, cycles.ravel())).reshape(cycles.shape)


def _tabulate(cycles: Floats, smooth: Floats, grid: Floats, cylinder: Cylinder, shift: Floats) -> CycleTable:
    start, stop = (int(k) for k in np.searchsorted(grid, (-60.0, 120.0)))
    peak, angle = cycle_peaks(smooth, grid, start, stop)
    volumes = cylinder.volume(np.append(grid, 360.0))
    steps = 0.5 * (np.diff(volumes) + np.diff(volumes, prepend=volumes[-2])[:-1])
    closed = (grid >= -180.0) & (grid < 180.0)
    swept = cylinder.swept_volume
    return CycleTable(
        peak,
        angle,
        cycles[:, start:stop].max(axis=1),
        cycles[:, closed] @ steps[closed] / swept,
        cycles @ steps / swept,
        shift,
    )


def _doubts(kept: NDArray[np.bool_], knock: Knock | None) -> tuple[str, ...]:
    notes = []
    lost = int(np.count_nonzero(~kept))
    if lost:
        notes.append(f"{lost} of {kept.size} cycles left out for gaps in their crank angle")
    if kept.size - lost < _FEW_CYCLES:
        notes.append(f"only {kept.size - lost} cycles: their scatter is a weak guide")
    if knock is None:
        notes.append("knock not shown: the record is too coarse in time to show the cylinder's first mode")
    else:
        notes.append(
            f"{100.0 * knock.share:.1f} % of the cycles ring in {knock.band[0]:.0f}-{knock.band[1]:.0f} Hz"
        )
        notes.extend(knock.notes)
    return tuple(notes)

"""A measured pressure over running crank angle, from whatever base the logger counted by."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firedeck.duty.limits import DutyError, check_limit
from firedeck.kernel.trace import mark_edges, unwrap_angles

__all__ = ["PressureRecord", "record_by_angle", "record_by_samples", "record_by_teeth", "record_by_time"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PressureRecord:
    """One cylinder's pressure as recorded.

    Attributes
    ----------
    cylinder : int
        Cylinder number.
    angle : ndarray
        Running crank angle, rising, its zero where the logger put it [deg], shape (n,).
    pressure : ndarray
        Pressure [MPa], shape (n,).
    absolute : bool
        Whether the pressure counts from vacuum.
    period : float
        Whether the angle knows its stroke: 720 when its zero repeats every cycle, 360 when only
        every turn [deg].
    speed : float or None
        Mean engine speed [1/min], where known.
    manifold_pressure : ndarray or None
        Absolute manifold pressure beside it [MPa], shape (n,).
    anchored : bool
        Whether the angle's zero is fixed to the crank, so that top dead centre found in one record
        holds for another.
    notes : tuple of str
        What was done to get here.
    """

    cylinder: int
    angle: Floats
    pressure: Floats
    absolute: bool = False
    period: float = 720.0
    speed: float | None = None
    manifold_pressure: Floats | None = None
    anchored: bool = True
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.angle.shape != self.pressure.shape or self.angle.ndim != 1:
            raise DutyError("angle and pressure differ in length", where="trace", remedy="check the columns")
        if self.angle.size < 100:
            raise DutyError(
                f"{self.angle.size} samples are no trace", where="trace", remedy="record whole cycles"
            )
        if not np.isfinite(self.pressure).all():
            raise DutyError(
                "the pressure has holes (not a number)",
                where="trace",
                remedy="cut the record where the sensor dropped out",
            )
        if not np.all(np.diff(self.angle) > 0.0):
            raise DutyError(
                "the crank angle does not rise from sample to sample",
                where="trace",
                remedy="check which column counts the angle",
            )
        if self.speed is not None:
            check_limit("speed", self.speed, "speed")


def record_by_angle(
    angle: Floats,
    pressure: Floats,
    *,
    cylinder: int = 1,
    absolute: bool = False,
    speed: float | None = None,
    manifold_pressure: Floats | None = None,
) -> PressureRecord:
    """Record whose logger wrote the crank angle, running or starting over every turn or cycle.

    Parameters
    ----------
    angle : ndarray
        Crank angle [deg], shape (n,).
    pressure : ndarray
        Pressure [MPa], shape (n,).
    cylinder : int
        Cylinder number.
    absolute : bool
        Whether the pressure counts from vacuum.
    speed : float, optional
        Mean engine speed [1/min].
    manifold_pressure : ndarray, optional
        Absolute manifold pressure [MPa], shape (n,).

    Raises
    ------
    DutyError
        If the angle does not run the way a crank does.
    """
    period = _period_of(angle)
    running = unwrap_angles(np.ascontiguousarray(angle, dtype=np.float64), period)
    steps = np.diff(running)
    notes = []
    doubled = steps <= 0.0
    if doubled.any() and np.count_nonzero(doubled) < 0.001 * steps.size:
        keep = np.concatenate([[True], running[1:] > np.maximum.accumulate(running)[:-1]])
        running, pressure = running[keep], pressure[keep]
        manifold_pressure = None if manifold_pressure is None else manifold_pressure[keep]
        notes.append(f"{np.count_nonzero(~keep)} samples with a repeated angle left out")
    median = float(np.median(steps))
    gaps = int(np.count_nonzero(steps > 1.5 * median))
    if gaps:
        notes.append(
            f"{gaps} gaps in the crank angle, the widest {float(steps.max()):.2f} deg, bridged straight"
        )
    return PressureRecord(
        cylinder,
        running,
        np.ascontiguousarray(pressure, dtype=np.float64),
        absolute,
        period,
        speed,
        manifold_pressure,
        notes=tuple(notes),
    )


def _period_of(angle: Floats) -> float:
    """Where the angle starts over: 360 or 720 deg, 720 also when it runs on."""
    jumps = -np.diff(angle)
    back = jumps[jumps > 180.0]
    if back.size == 0:
        return 720.0
    typical = float(np.median(back)) + float(np.median(np.abs(np.diff(angle))))
    for period in (360.0, 720.0):
        if abs(typical - period) < 0.1 * period:
            return period
    raise DutyError(
        f"the crank angle starts over after {typical:.0f} deg, which is neither a turn nor a cycle",
        where="trace",
        remedy="check which column counts the angle and its unit",
    )


def record_by_samples(
    pressure: Floats,
    samples_per_turn: float,
    *,
    start_angle: float | None = None,
    cylinder: int = 1,
    absolute: bool = False,
    speed: float | None = None,
    manifold_pressure: Floats | None = None,
) -> PressureRecord:
    """Record whose samples are evenly spaced in crank angle, with no column that says so.

    Parameters
    ----------
    pressure : ndarray
        Pressure [MPa], shape (n,).
    samples_per_turn : float
        Samples per crank turn.
    start_angle : float, optional
        Crank angle of the first sample [deg], when the recording starts at a fixed mark.
    cylinder, absolute, speed, manifold_pressure
        As in `record_by_angle`.
    """
    angle = (start_angle or 0.0) + np.arange(pressure.size, dtype=np.float64) * (360.0 / samples_per_turn)
    values = np.ascontiguousarray(pressure, dtype=np.float64)
    anchored = start_angle is not None
    period = 360.0 if anchored else 720.0
    return PressureRecord(cylinder, angle, values, absolute, period, speed, manifold_pressure, anchored)


def record_by_time(
    time: Floats,
    pressure: Floats,
    speed: float,
    *,
    cylinder: int = 1,
    absolute: bool = False,
    manifold_pressure: Floats | None = None,
) -> PressureRecord:
    """Record over time without a crank signal: the compression strokes themselves keep the beat.

    Each cycle is taken to turn evenly. The beat is where the pressure rises through a quarter of
    the usual peak, which burning hardly moves; so angles are good to about a degree within a cycle.

    Parameters
    ----------
    time : ndarray
        Time [s], shape (n,).
    pressure : ndarray
        Pressure [MPa], shape (n,).
    speed : float
        Engine speed, to within a tenth [1/min].
    cylinder, absolute, manifold_pressure
        As in `record_by_angle`.

    Raises
    ------
    DutyError
        If no regular compression is found at that speed.
    """
    check_limit("speed", speed, "speed")
    _check_clock(time)
    cycle = 120.0 / speed
    beats = _beats(time, pressure, cycle)
    if beats.size < 3:
        raise DutyError(
            f"no regular compression was found at {speed:.0f} 1/min",
            where="trace",
            remedy="check speed, time unit and pressure column",
        )
    lengths = np.diff(beats)
    if np.any(np.abs(lengths / cycle - np.round(lengths / cycle)) > 0.15):
        raise DutyError(
            f"the compressions come every {float(np.median(lengths)) * 1e3:.1f} ms, not at {speed:.0f} 1/min",
            where="trace",
            remedy=f"check the speed; the beat fits about {120.0 / float(np.median(lengths)):.0f} 1/min",
        )
    counts = np.concatenate([[0.0], np.cumsum(np.round(lengths / cycle))])
    angle = _interpolate(time, beats, 720.0 * counts)
    mean_speed = 120.0 * counts[-1] / float(beats[-1] - beats[0])
    note = "crank angle from the beat of the compression strokes; good to about a degree within a cycle"
    values = np.ascontiguousarray(pressure, dtype=np.float64)
    return PressureRecord(
        cylinder, angle, values, absolute, 720.0, mean_speed, manifold_pressure, False, (note,)
    )


def _check_clock(time: Floats) -> None:
    if not np.all(np.diff(time) > 0.0):
        raise DutyError(
            "the time does not rise from sample to sample",
            where="trace",
            remedy="check which column counts the time",
        )


def _beats(time: Floats, pressure: Floats, cycle: float) -> Floats:
    floor = float(np.quantile(pressure, 0.05))
    step = float(np.median(np.diff(time)))
    length = max(round(cycle / step), 1)
    whole = pressure[: pressure.size // length * length].reshape(-1, length)
    peak = float(np.median(whole.max(axis=1))) if whole.size else float(pressure.max())
    level = floor + 0.25 * (peak - floor)
    swing = 0.05 * (peak - floor)
    return np.asarray(mark_edges(time, pressure, level - swing, level + swing))


def _interpolate(time: Floats, marks: Floats, angles: Floats) -> Floats:
    """Angle at each time; beyond the outer marks the neighbouring speed goes on."""
    angle = np.interp(time, marks, angles)
    early, late = time < marks[0], time > marks[-1]
    first = (angles[1] - angles[0]) / (marks[1] - marks[0])
    last = (angles[-1] - angles[-2]) / (marks[-1] - marks[-2])
    angle[early] = angles[0] + (time[early] - marks[0]) * first
    angle[late] = angles[-1] + (time[late] - marks[-1]) * last
    return np.asarray(angle)


def record_by_teeth(
    time: Floats,
    pressure: Floats,
    wheel: Floats,
    teeth: int,
    missing: int,
    *,
    cylinder: int = 1,
    absolute: bool = False,
    manifold_pressure: Floats | None = None,
) -> PressureRecord:
    """Record over time with the signal of a toothed crank wheel beside it.

    Parameters
    ----------
    time : ndarray
        Time [s], shape (n,).
    pressure : ndarray
        Pressure [MPa], shape (n,).
    wheel : ndarray
        Wheel signal, any unit, rising at each tooth, shape (n,).
    teeth : int
        Teeth of the full wheel, missing ones counted.
    missing : int
        Teeth left out in one gap.
    cylinder, absolute, manifold_pressure
        As in `record_by_angle`.

    Raises
    ------
    DutyError
        If the signal does not show such a wheel.
    """
    _check_clock(time)
    low, high = np.quantile(wheel, [0.02, 0.98])
    swing = float(high - low)
    edges = mark_edges(time, wheel, float(low) + 0.35 * swing, float(high) - 0.35 * swing)
    angles = _tooth_angles(edges, teeth, missing)
    good = np.isfinite(angles)
    if np.count_nonzero(good) < 2 * teeth or np.count_nonzero(good) < 0.8 * good.size:
        raise DutyError(
            f"the wheel signal does not show {teeth} teeth with {missing} missing",
            where="trace",
            remedy="check column, tooth count and missing teeth",
        )
    marks, at = edges[good], angles[good]
    angle = _interpolate(time, marks, at)
    speed = float(at[-1] - at[0]) / float(marks[-1] - marks[0]) / 6.0
    lost = int(np.count_nonzero(~good[int(np.argmax(good)) :]))
    notes = (f"{lost} wheel edges did not fit the tooth count and were bridged",) if lost else ()
    values = np.ascontiguousarray(pressure, dtype=np.float64)
    return PressureRecord(cylinder, angle, values, absolute, 360.0, speed, manifold_pressure, True, notes)


def _tooth_angles(edges: Floats, teeth: int, missing: int) -> Floats:
    """Count running crank angles of the edges [deg], zero at the first tooth after the first gap.

    Not a number before the first gap, after the last, and in turns whose count does not fit.
    """
    pitch = 360.0 / teeth
    if missing == 0:
        return np.arange(edges.size, dtype=np.float64) * pitch
    angles = np.full(edges.size, np.nan)
    steps = np.diff(edges)
    if steps.size < 3:
        return angles
    gaps = np.flatnonzero(steps[1:] > (missing + 0.5) * steps[:-1]) + 2
    if gaps.size < 2:
        return angles
    whole = np.diff(gaps) == teeth - missing
    if not whole.any():
        return angles
    turn = float(np.median(np.diff(edges[gaps])[whole]))
    turns = np.concatenate([[0.0], np.cumsum(np.round(np.diff(edges[gaps]) / turn))])
    for start, fits, number in zip(gaps[:-1], whole, turns[:-1], strict=True):
        if fits:
            angles[start : start + teeth - missing] = 360.0 * number + pitch * np.arange(teeth - missing)
    return angles

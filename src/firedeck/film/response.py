"""The response curve: from calibration pieces of known pressure to pressure for any darkening.

Everything is done in the *signal*, the share of light that the dye takes away, 1 - I/I_blank.
It adds up over areas, which density does not. Net density is -log10(1 - signal).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from firedeck.definition.film import Response
from firedeck.errors import PrintError
from firedeck.kernel.curve import SmoothCurve, fit_rising_curve
from firedeck.kernel.s_curve import fit_s_curve
from firedeck.pressure_map import Conversion, FloatArray

__all__ = ["PieceReading", "build_conversion", "density_of", "fit_response", "grain_of_signal", "signal_of"]

_KNOTS = 28

#: A level answers when its mean darkening exceeds this many standard deviations of the blank pieces'.
_ANSWER_SIGMAS = 5.0

#: Smallest standard deviation of a piece's signal: flare and dirt on the glass, common practice, no source.
_SIGNAL_FLOOR = 0.0015

#: Uncertainty of the signal's zero that a reading must stand; where it alone would cost more than
#: `_TOP_ERROR` of the pressure the curve ends.
_ZERO_ERROR = 0.004
_TOP_ERROR = 0.12

#: Standard deviation of the guess below the lowest answering piece, as a share of the pressure.
_TOE_ERROR = 0.5


#: Relative standard deviation of the signal from sheet to sheet: capsules already broken in handling
#: (fog differing by some 0.02 density) are missing when the load comes (reckoned from the film's
#: make-up, not measured).
_SHEET_ERROR = 0.003


@dataclass(frozen=True)
class PieceReading:
    """What one calibration piece showed.

    Attributes
    ----------
    pressure : float
        Pressure it was loaded to [MPa].
    signal : tuple of float
        Darkening [1] in every channel of the scan.
    grain : tuple of float
        Standard deviation of the signal averaged over 1 mm^2 [1 mm], per channel.
    """

    pressure: float
    signal: tuple[float, ...]
    grain: tuple[float, ...]


def density_of(signal: npt.ArrayLike) -> FloatArray:
    """Return the net density [1] of a signal."""
    return np.asarray(-np.log10(np.clip(1.0 - np.asarray(signal, dtype=float), 1e-6, None)))


def signal_of(density: npt.ArrayLike) -> FloatArray:
    """Return the signal [1] of a net density."""
    return np.asarray(1.0 - 10.0 ** -np.asarray(density, dtype=float))


@dataclass(frozen=True)
class _Levels:
    """Level means of one channel: pressure [MPa], signal, its standard deviation, pieces, grain."""

    pressure: FloatArray
    signal: FloatArray
    sd: FloatArray
    count: FloatArray
    grain: FloatArray
    blank_sd: float


def _gather(pieces: list[PieceReading], channel: int) -> _Levels:
    pressures = np.array([piece.pressure for piece in pieces])
    signals = np.array([piece.signal[channel] for piece in pieces])
    grains = np.array([piece.grain[channel] for piece in pieces])
    levels = np.unique(pressures)
    groups = [signals[pressures == level] for level in levels]
    mean = np.array([group.mean() for group in groups])
    blank = groups[0] if levels[0] == 0 else np.array([0.0])
    spread = [group.var(ddof=1) for group in (groups[0], groups[-1]) if len(group) > 1]
    piece_sd = max(_SIGNAL_FLOOR, float(np.sqrt(np.mean(spread))) if spread else _SIGNAL_FLOOR)
    blank_sd = max(piece_sd, float(np.sqrt(np.mean(blank**2))))
    grain = np.array([np.sqrt(np.mean(grains[pressures == level] ** 2)) for level in levels])
    count = np.array([float(len(group)) for group in groups])
    return _Levels(levels, mean, np.full(len(levels), piece_sd), count, grain, blank_sd)


def _answering(levels: _Levels) -> npt.NDArray[np.bool_]:
    return (levels.pressure > 0) & (levels.signal > _ANSWER_SIGMAS * levels.blank_sd)


@dataclass(frozen=True)
class _Fit:
    """Curve of transformed signal against ln(pressure)."""

    curve: SmoothCurve
    top: float
    low: float
    high: float

    def signal(self, x: FloatArray) -> FloatArray:
        return np.asarray(self.top / (1.0 + np.exp(-self.curve(x))))

    def signal_slope(self, x: FloatArray) -> FloatArray:
        share = self.signal(x) / self.top
        return np.asarray(self.top * share * (1 - share) * self.curve.slope(x))


def _fit_levels(levels: _Levels, pressure_error: float) -> _Fit:
    use = _answering(levels)
    x, s, n = np.log(levels.pressure[use]), levels.signal[use], levels.count[use]
    if len(x) < 4:
        raise PrintError(
            f"only {len(x)} calibration levels answer on this film",
            remedy="calibrate with at least four levels inside the film's range",
        )
    top = min(0.9999, float(s.max()) * 1.01)
    share = s / top
    y = np.log(share / (1 - share))
    steep = 1.0 / (top * share * (1 - share))
    slope = np.gradient(y, x)
    try:
        for _ in range(2):
            sd = np.sqrt(((steep * levels.sd[use]) ** 2 + (slope * pressure_error) ** 2) / n)
            curve = fit_rising_curve(x, y, sd)
            slope = curve.slope(x)
    except ValueError as fault:
        raise PrintError(
            f"the calibration pieces give no rising curve: {fault}",
            remedy="check that the pieces are listed in reading order with the right pressures",
        ) from fault
    return _Fit(curve, top, float(x[0]), float(x[-1]))


def _usable_top(fit: _Fit) -> float:
    """Return ln(pressure) where the curve becomes too flat to read."""
    x = np.linspace(fit.low, fit.high, 400)
    good = _ZERO_ERROR / np.maximum(fit.signal_slope(x), 1e-12) < _TOP_ERROR
    return float(x[np.flatnonzero(good)[-1]]) if good.any() else fit.high


def _hold_out(levels: _Levels, pressure_error: float, top: float) -> float:
    """Return the largest relative error when one inner level is left out and read from the rest."""
    inner = np.flatnonzero(_answering(levels))[1:-1]
    worst = 0.0
    for leave in inner[np.log(levels.pressure[inner]) < top]:
        keep = np.arange(len(levels.pressure)) != leave
        rest = _Levels(
            levels.pressure[keep], levels.signal[keep], levels.sd[keep], levels.count[keep],
            levels.grain[keep], levels.blank_sd,
        )  # fmt: skip
        fit = _fit_levels(rest, pressure_error)
        x = np.linspace(fit.low, fit.high, 800)
        read = np.interp(levels.signal[leave], fit.signal(x), x)
        worst = max(worst, abs(float(np.expm1(read - np.log(levels.pressure[leave])))))
    return worst


def fit_response(pieces: list[PieceReading], channels: tuple[str, ...], *, pressure_error: float) -> Response:
    """Fit the response curve of a film from its calibration pieces.

    Parameters
    ----------
    pieces : list of PieceReading
        At least four levels that answer; a zero level lets the blank scatter be seen.
    channels : tuple of str
        Names of the channels in every piece's signal.
    pressure_error : float
        Relative standard uncertainty of each piece's pressure [1].

    Returns
    -------
    Response
        Curve from the lowest piece that still answers to where the film is too dark to tell.

    Raises
    ------
    PrintError
        If too few levels answer or no rising curve fits them.
    """
    channel = _best_channel(pieces)
    levels = _gather(pieces, channel)
    fit = _fit_levels(levels, pressure_error)
    top = _usable_top(fit)
    x = np.linspace(fit.low, top, _KNOTS)
    signal, slope = fit.signal(x), fit.curve.slope(x)
    rows = fit.curve.basis(x) / slope[:, None]
    grain = np.interp(x, np.log(np.maximum(levels.pressure, 1e-9)), levels.grain)
    return Response.model_validate(
        {
            "net_density": [round(float(value), 6) for value in density_of(signal)],
            "pressure": [f"{value:.6g} MPa" for value in np.exp(x)],
            "log_covariance": [
                [float(f"{v:.6g}") for v in row] for row in rows @ fit.curve.covariance @ rows.T
            ],
            "grain_mm": [float(f"{v:.4g}") for v in grain / (np.log(10) * (1 - signal))],
            "channel": channels[channel],
            "levels": int(_answering(levels).sum()),
            "pieces": len(pieces),
            "hold_out_error": round(_hold_out(levels, pressure_error, top), 5),
            "shape_check": round(_shape_check(levels, x, signal), 5),
        }
    )


def _shape_check(levels: _Levels, x: FloatArray, signal: FloatArray) -> float:
    """Return the largest relative pressure difference between the curve and a plain S-curve."""
    use = levels.pressure > 0
    logs, share = np.log(levels.pressure[use]), levels.signal[use]
    rate = 4.0 / max(float(np.ptp(x)), 1e-6) * 1.5
    start = np.array([share.max(), rate * float(np.mean(x)), rate, 1.0])
    try:
        other = fit_s_curve(logs, share, start)
    except (ValueError, np.linalg.LinAlgError):
        return 1.0
    dense = np.linspace(x[0] - 1.0, x[-1] + 1.0, 2000)
    inner = (signal > 0.1) & (signal < 0.9 * signal[-1])
    read = np.interp(signal[inner], other(dense), dense)
    return min(1.0, float(np.max(np.abs(np.expm1(read - x[inner])), initial=0.0)))


def _best_channel(pieces: list[PieceReading]) -> int:
    """Return the channel whose darkening reaches furthest."""
    reach = np.ptp(np.array([piece.signal for piece in pieces]), axis=0)
    return int(np.argmax(reach))


def build_conversion(response: Response) -> Conversion:
    """Turn a stored response curve into the conversion that maps carry.

    Below the lowest knot the curve goes straight to zero, with a standard deviation of half the
    pressure: a place there is flagged and stands for "between zero and the lowest piece". A straight
    toe lets noise about the blank level cancel; the film's true toe is steeper, and would turn a
    blank level that is off by a hair into several MPa.
    """
    signal, pressure = signal_of(response.net_density), np.asarray(response.pressure)
    dense = np.linspace(signal[0], signal[-1], 300)
    log_pressure = np.asarray(PchipInterpolator(signal, np.log(pressure))(dense))
    values, vectors = np.linalg.eigh(np.asarray(response.log_covariance))
    kept = values > 1e-3 * max(values.max(), 1e-30)
    shapes = [
        PchipInterpolator(signal, np.sqrt(v) * w)(dense)
        for v, w in zip(values[kept], vectors.T[kept], strict=True)
    ]
    share = np.linspace(0.0, 1.0, 40, endpoint=False)
    toe = pressure[0] * share
    all_pressure = np.concatenate([toe, np.exp(log_pressure)])
    modes = [np.concatenate([toe * shape[0], np.exp(log_pressure) * shape]) for shape in shapes]
    modes.append(np.concatenate([_TOE_ERROR * toe * (1 - share), np.zeros_like(dense)]))
    all_signal = np.concatenate([signal[0] * share, dense])
    modes.append(_SHEET_ERROR * all_signal * np.gradient(all_pressure, all_signal))
    return Conversion(all_signal, all_pressure, np.array(modes))


def grain_of_signal(response: Response, signal: npt.ArrayLike) -> FloatArray:
    """Return the noise of the signal times length [mm]: its standard deviation over a 1 mm square."""
    knots = signal_of(response.net_density)
    grain = np.asarray(response.grain_mm) * np.log(10) * (1 - knots)
    return np.asarray(np.interp(np.asarray(signal, dtype=float), knots, grain))

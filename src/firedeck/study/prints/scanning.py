"""From a scan file to the small picture that everything else works on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firedeck.definition.film import TransferSetting
from firedeck.errors import ScanError
from firedeck.files.scan_file import RawScan, open_scan, require_measurable, require_resolution
from firedeck.film.picture import CodeBlock, ScanPicture, pool_scan
from firedeck.kernel.transfer import ReflectanceTable, Transfer, reflectance_table
from firedeck.study.progress import Progress, silent

__all__ = ["LoadedScan", "load_scan"]

#: Share of a scan beyond the step wedge from which on it is told [1].
_WEDGE_SHARE = 0.001


@dataclass(frozen=True)
class LoadedScan:
    """A scan's picture with what must be told about it.

    Attributes
    ----------
    picture : ScanPicture
        Linear reflectance, pooled.
    pixel_mm : tuple of float
        Size of an original pixel [mm].
    size : tuple of int
        Rows and columns of the upright scan.
    bits : int
        Bits to a code value.
    notes : tuple of str
        Assumptions in plain sentences.
    """

    picture: ScanPicture
    pixel_mm: tuple[float, float]
    size: tuple[int, int]
    bits: int
    notes: tuple[str, ...]


def load_scan(
    path: Path,
    setting: TransferSetting,
    *,
    resolution: float | None = None,
    channel: str = "",
    progress: Progress = silent,
) -> LoadedScan:
    """Read a scan into a picture of linear reflectance.

    Parameters
    ----------
    path : Path
        Scan file.
    setting : TransferSetting
        How code values stand for light.
    resolution : float, optional
        Resolution [pixels/mm] where the file has none; it overrides the file.
    channel : str
        Measuring channel: red, green, blue or grey. Empty takes green, or grey where there is one only.
    progress : callable
        Told how far reading is.

    Returns
    -------
    LoadedScan
        The picture and its notes.

    Raises
    ------
    ScanError
        For files that cannot be read, or not measured on.
    """
    given = (resolution, resolution) if resolution else None
    scan = open_scan(path, resolution_per_mm=given)
    require_measurable(scan)
    per_mm = require_resolution(scan)
    table = reflectance_table(_transfer(scan, setting), scan.bits)
    picture = pool_scan(
        _blocks(scan, progress),
        name=scan.name,
        size=(scan.height, scan.width),
        channels=scan.channels,
        resolution_per_mm=per_mm,
        linear=table.reflectance,
        measuring=_channel_index(scan, channel),
    )
    size = scan.height, scan.width
    notes = (*scan.notes, *_wedge_note(table, picture))
    return LoadedScan(picture, (1 / per_mm[0], 1 / per_mm[1]), size, scan.bits, notes)


def _wedge_note(table: ReflectanceTable, picture: ScanPicture) -> tuple[str, ...]:
    """Say so where the scan reaches beyond the steps of the wedge that its encoding rests on."""
    if table.covered.all():
        return ()
    known = table.reflectance[table.covered]
    beyond = float(np.mean((picture.fine <= known.min()) | (picture.fine >= known.max())))
    if beyond < _WEDGE_SHARE:
        return ()
    return (
        f"{100 * beyond:.1f} % of the scan is lighter or darker than the step wedge reaches; "
        "light there is a bound.",
    )


def _blocks(scan: RawScan, progress: Progress) -> Iterator[CodeBlock]:
    total, done = scan.height * scan.width, 0
    for block in scan.strips():
        yield block.row0, block.col0, block.values
        done += block.values.shape[0] * block.values.shape[1]
        progress(f"reading {scan.name}", done / total)


def _channel_index(scan: RawScan, channel: str) -> int:
    if scan.channels == 1:
        if channel not in ("", "grey"):
            raise ScanError(
                f"the film is calibrated in the {channel} channel, and this scan is grey",
                where=scan.name,
                remedy="scan in colour, as for the calibration",
            )
        return 0
    if channel == "grey":
        raise ScanError(
            "the film is calibrated on grey scans, and this scan is in colour",
            where=scan.name,
            remedy="scan in grey, as for the calibration, or calibrate in colour",
        )
    return {"red": 0, "": 1, "green": 1, "blue": 2}[channel]


def _transfer(scan: RawScan, setting: TransferSetting) -> Transfer:
    if setting.encoding == "linear":
        return Transfer.linear()
    if setting.encoding == "srgb":
        return Transfer.srgb()
    if setting.encoding == "gamma":
        return Transfer.from_gamma(float(setting.gamma or 1.0))
    if setting.encoding == "wedge":
        return Transfer.from_wedge(setting.codes, setting.densities, full_scale=2**scan.bits - 1)
    embedded = scan.encoding(min(1, scan.channels - 1))
    if embedded is None:
        raise ScanError(
            'the record says encoding = "embedded", but the scan carries no profile that states its encoding',
            where=scan.name,
            remedy='state the encoding: "linear", "srgb", "gamma" with its exponent, or a measured "wedge"',
        )
    return embedded

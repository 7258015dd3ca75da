"""Pressure maps on disk: NetCDF-4 with everything, 32-bit TIFF with the pressure alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import numpy.typing as npt
import tifffile

from firedeck.errors import FiredeckError
from firedeck.evidence import FLAGS
from firedeck.pressure_map import Conversion, Grid, PressureMap

__all__ = ["read_map", "write_map", "write_map_tiff"]

_CONVENTIONS = "CF-1.11"

#: gzip's word for its quickest packing.
_PACKING = 1


def write_map(path: Path, pressure_map: PressureMap) -> None:
    """Write a map as NetCDF-4 with CF attributes: units, frame, flags, provenance.

    Parameters
    ----------
    path : Path
        File to write.
    pressure_map : PressureMap
        The map.
    """
    with h5netcdf.File(path, "w") as data:
        rows, cols = pressure_map.value.shape
        knots = pressure_map.conversion.signal
        data.dimensions = {
            "y": rows,
            "x": cols,
            "knot": len(knots),
            "mode": len(pressure_map.conversion.modes),
        }
        data.attrs.update(_attributes(pressure_map))
        _write_cells(data, pressure_map)
        _write_rows(data, pressure_map)


def _attributes(pressure_map: PressureMap) -> dict[str, Any]:
    """Return what is said of the map as a whole."""
    grid = pressure_map.grid
    return {
        "Conventions": _CONVENTIONS,
        "title": f"{pressure_map.kind} contact pressure on the sealing plane",
        "kind": pressure_map.kind,
        "x0_mm": grid.x0,
        "y0_mm": grid.y0,
        "pitch_mm": grid.pitch,
        "background_sd": pressure_map.background,
        "lowest_MPa": pressure_map.lowest,
        "stated_range_MPa": list(pressure_map.stated_range),
        "spread_mm": pressure_map.spread,
        "blur_mm": pressure_map.blur,
        "notes": json.dumps(pressure_map.notes),
        "provenance": json.dumps(dict(pressure_map.provenance)),
    }


def _write_cells(data: h5netcdf.File, pressure_map: PressureMap) -> None:
    """Write what is known of every cell, packed."""
    flags = {
        "flag_masks": np.array([1 << flag.bit for flag in FLAGS.values()], np.uint16),
        "flag_meanings": " ".join(name.replace("-", "_") for name in FLAGS),
        "comment": "; ".join(f"{flag.name}: {flag.meaning}" for flag in FLAGS.values()),
    }
    for name, values, attributes in (
        ("pressure", pressure_map.value, {"units": "MPa", "long_name": "contact pressure"}),
        ("noise", pressure_map.noise, {"units": "MPa", "long_name": "independent standard uncertainty"}),
        ("signal", pressure_map.signal, {"units": "1", "long_name": "quantity that may be averaged"}),
        ("flags", pressure_map.flags, flags),
    ):
        _write(data, name, ("y", "x"), values, attributes, packing=_PACKING)


def _write_rows(data: h5netcdf.File, pressure_map: PressureMap) -> None:
    """Write the coordinates, and the curve that turns signal into pressure."""
    grid, curve = pressure_map.grid, pressure_map.conversion
    _write(data, "x", ("x",), grid.x, {"units": "mm", "long_name": "deck x, seen from the head"})
    _write(data, "y", ("y",), grid.y, {"units": "mm", "long_name": "deck y, seen from the head"})
    _write(data, "curve_signal", ("knot",), curve.signal, {"units": "1"})
    _write(data, "curve_pressure", ("knot",), curve.pressure, {"units": "MPa"})
    _write(data, "curve_modes", ("mode", "knot"), curve.modes, {"units": "MPa"})


def _write(
    data: h5netcdf.File,
    name: str,
    dimensions: tuple[str, ...],
    values: npt.NDArray[Any],
    attributes: Mapping[str, Any],
    packing: int | None = None,
) -> None:
    missing = {"fillvalue": values.dtype.type(np.nan)} if values.dtype.kind == "f" else {}
    packed = {} if packing is None else {"compression": "gzip", "compression_opts": packing}
    written = data.create_variable(name, dimensions, values.dtype, data=values, **missing, **packed)
    written.attrs.update(attributes)


def read_map(path: Path) -> PressureMap:
    """Read a map written by `write_map`.

    Raises
    ------
    FiredeckError
        If the file is not such a map.
    """
    try:
        with h5netcdf.File(path, "r") as data:
            attrs = data.attrs
            rows, cols = data["pressure"].shape
            grid = Grid(float(attrs["x0_mm"]), float(attrs["y0_mm"]), float(attrs["pitch_mm"]), rows, cols)
            low, high = (float(value) for value in attrs["stated_range_MPa"])
            return PressureMap(
                kind=attrs["kind"],
                grid=grid,
                value=data["pressure"][:],
                noise=data["noise"][:],
                flags=data["flags"][:].astype(np.uint16),
                signal=data["signal"][:],
                conversion=Conversion(
                    data["curve_signal"][:],
                    data["curve_pressure"][:],
                    data["curve_modes"][:],
                ),
                background=float(attrs["background_sd"]),
                lowest=float(attrs["lowest_MPa"]),
                stated_range=(low, high),
                spread=float(attrs["spread_mm"]),
                blur=float(attrs["blur_mm"]),
                notes=tuple(json.loads(attrs["notes"])),
                provenance=json.loads(attrs["provenance"]),
            )
    except (OSError, KeyError, ValueError) as fault:
        raise FiredeckError(
            "this is not a pressure map that firedeck wrote", where=str(path), remedy="read the print again"
        ) from fault


def write_map_tiff(path: Path, pressure_map: PressureMap) -> None:
    """Write the pressure [MPa] as a 32-bit float TIFF, upper edge of the deck first.

    Cells without film are NaN; the resolution tag gives the pitch.
    """
    per_cm = 10.0 / pressure_map.grid.pitch
    tifffile.imwrite(
        path,
        np.ascontiguousarray(pressure_map.value[::-1]),
        compression="zlib",
        predictor=3,
        resolution=(per_cm, per_cm),
        resolutionunit="CENTIMETER",
        description="contact pressure in MPa, seen from the head; NaN where there is no film",
        metadata=None,
    )

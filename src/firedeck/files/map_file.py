"""Pressure maps on disk: NetCDF-4 with everything, 32-bit TIFF with the pressure alone."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import tifffile
import xarray as xr

from firedeck.errors import FiredeckError
from firedeck.evidence import FLAGS
from firedeck.pressure_map import Conversion, Grid, PressureMap

__all__ = ["read_map", "write_map", "write_map_tiff"]

_CONVENTIONS = "CF-1.11"


def write_map(path: Path, pressure_map: PressureMap) -> None:
    """Write a map as NetCDF-4 with CF attributes: units, frame, flags, provenance.

    Parameters
    ----------
    path : Path
        File to write.
    pressure_map : PressureMap
        The map.
    """
    grid = pressure_map.grid
    cells = ("y", "x")
    flag_attrs = {
        "flag_masks": np.array([1 << flag.bit for flag in FLAGS.values()], np.uint16),
        "flag_meanings": " ".join(name.replace("-", "_") for name in FLAGS),
        "comment": "; ".join(f"{flag.name}: {flag.meaning}" for flag in FLAGS.values()),
    }
    data = xr.Dataset(
        {
            "pressure": (cells, pressure_map.value, {"units": "MPa", "long_name": "contact pressure"}),
            "noise": (
                cells,
                pressure_map.noise,
                {"units": "MPa", "long_name": "independent standard uncertainty"},
            ),
            "signal": (
                cells,
                pressure_map.signal,
                {"units": "1", "long_name": "quantity that may be averaged"},
            ),
            "flags": (cells, pressure_map.flags, flag_attrs),
            "curve_signal": ("knot", pressure_map.conversion.signal, {"units": "1"}),
            "curve_pressure": ("knot", pressure_map.conversion.pressure, {"units": "MPa"}),
            "curve_modes": (("mode", "knot"), pressure_map.conversion.modes, {"units": "MPa"}),
        },
        coords={
            "x": ("x", grid.x, {"units": "mm", "long_name": "deck x, seen from the head"}),
            "y": ("y", grid.y, {"units": "mm", "long_name": "deck y, seen from the head"}),
        },
        attrs={
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
        },
    )
    packed = {"zlib": True, "complevel": 1}
    data.to_netcdf(
        path,
        engine="h5netcdf",
        encoding=dict.fromkeys(("pressure", "noise", "signal", "flags"), packed),
    )


def read_map(path: Path) -> PressureMap:
    """Read a map written by `write_map`.

    Raises
    ------
    FiredeckError
        If the file is not such a map.
    """
    try:
        with xr.open_dataset(path, engine="h5netcdf", decode_cf=False) as data:
            attrs = data.attrs
            rows, cols = data["pressure"].shape
            grid = Grid(float(attrs["x0_mm"]), float(attrs["y0_mm"]), float(attrs["pitch_mm"]), rows, cols)
            low, high = (float(value) for value in attrs["stated_range_MPa"])
            return PressureMap(
                kind=attrs["kind"],
                grid=grid,
                value=data["pressure"].to_numpy(),
                noise=data["noise"].to_numpy(),
                flags=data["flags"].to_numpy().astype(np.uint16),
                signal=data["signal"].to_numpy(),
                conversion=Conversion(
                    data["curve_signal"].to_numpy(),
                    data["curve_pressure"].to_numpy(),
                    data["curve_modes"].to_numpy(),
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

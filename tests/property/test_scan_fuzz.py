"""Whatever is done to a file, it is read or refused in plain words: no traceback, hang or flood."""

from __future__ import annotations

import io
import struct
import time

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from firedeck.errors import ScanError
from firedeck.files.scan_file import open_scan

#: Numbers that trip readers: none, one, all ones, just past the sign, and larger than the file.
TRIPPING = (
    0,
    1,
    2,
    3,
    5,
    7,
    8,
    0x7F,
    0xFF,
    0x100,
    0x7FFF,
    0xFFFF,
    0x10000,
    0x7FFFFFFF,
    0x80000000,
    0xFFFFFFFF,
)
#: A damaged small file may claim this many pixels at most and still be read [pixel].
MOST_PIXELS = 60_000_000


def _tiff(values, **kwargs):
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, values, metadata=None, resolution=(600, 600), resolutionunit=2, **kwargs)
    return buffer.getvalue()


def _saved(picture, kind, **kwargs):
    buffer = io.BytesIO()
    picture.save(buffer, kind, **kwargs)
    return buffer.getvalue()


def _files():
    rng = np.random.default_rng(3)
    colour = rng.integers(0, 200, (37, 29, 3)).astype(np.uint16) * 300
    small = (colour >> 8).astype(np.uint8)
    picture = Image.fromarray(small)
    return {
        "plain": _tiff(colour, photometric="rgb", rowsperstrip=8),
        "big-endian": _tiff(colour, photometric="rgb", byteorder=">", rowsperstrip=37),
        "bigtiff": _tiff(colour[..., 0], bigtiff=True, rowsperstrip=8),
        "planes": _tiff(np.moveaxis(colour, -1, 0), photometric="rgb", planarconfig="separate"),
        "lzw": _tiff(colour, photometric="rgb", compression="lzw", predictor=2, rowsperstrip=8),
        "tiles": _tiff(colour, photometric="rgb", compression="zlib", predictor=2, tile=(16, 16)),
        "packbits": _tiff(small, photometric="rgb", compression="packbits", rowsperstrip=8),
        "zstd": _tiff(small, photometric="rgb", compression="zstd", rowsperstrip=8),
        "jpeg in tiff": _saved(picture, "TIFF", compression="jpeg"),
        "palette": _saved(picture.quantize(8), "TIFF"),
        "png": _saved(picture, "PNG", dpi=(600, 600)),
        "png grey": _saved(Image.fromarray(colour[..., 0]), "PNG"),
        "png palette": _saved(picture.quantize(8), "PNG"),
        "jpeg": _saved(picture, "JPEG", dpi=(600, 600)),
    }


FILES = _files()


def _entries(data):
    """Return the place of each directory entry of a TIFF, and its size [byte]."""
    if data[:2] not in (b"II", b"MM"):
        return [], 0
    order = "<" if data[:2] == b"II" else ">"
    if data[2:4] in (b"+\0", b"\0+"):
        (start,) = struct.unpack_from(f"{order}Q", data, 8)
        (count,) = struct.unpack_from(f"{order}Q", data, start)
        return [start + 8 + 20 * index for index in range(count)], 20
    (start,) = struct.unpack_from(f"{order}I", data, 4)
    (count,) = struct.unpack_from(f"{order}H", data, start)
    return [start + 2 + 12 * index for index in range(count)], 12


@st.composite
def damaged_files(draw):
    """Draw one of the files with bytes changed, numbers overwritten, or its end cut off."""
    kind = draw(st.sampled_from(sorted(FILES)))
    data = bytearray(FILES[kind])
    order = ">" if kind == "big-endian" or "png" in kind else "<"
    anywhere = st.integers(0, len(data) - 4)
    entries, size = _entries(data)
    # Headers and directories matter most: type, count and value of each entry.
    likely = [at + part for at in entries for part in (0, 2, 4, size - 4)] or list(range(60))
    place = st.one_of(st.sampled_from(likely), anywhere)
    for at, value in draw(st.lists(st.tuples(place, st.integers(0, 255)), max_size=4)):
        data[at] = value
    for at, value in draw(st.lists(st.tuples(place, st.sampled_from(TRIPPING)), max_size=3)):
        data[at : at + 4] = struct.pack(f"{order}I", value)
    end = draw(st.one_of(st.just(len(data)), st.integers(0, len(data))))
    return bytes(data[:end])


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz") / "sheet.tif"


def read(path):
    """Open and read a file, checking that what comes out agrees with what was announced."""
    scan = open_scan(path)
    seen = 0
    for block in scan.strips(as_picture=True):
        rows, cols, channels = block.values.shape
        assert channels == scan.channels
        assert block.values.dtype == (np.uint8 if scan.bits == 8 else np.uint16)
        assert block.row0 >= 0
        assert block.col0 >= 0
        assert block.row0 + rows <= scan.height
        assert block.col0 + cols <= scan.width
        seen += rows * cols
    assert seen == scan.height * scan.width <= MOST_PIXELS


def refusal(path):
    """Read a file; return the refusal, or None if it was read."""
    try:
        read(path)
    except ScanError as error:
        return error
    return None


@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=damaged_files())
def test_a_damaged_file_is_read_or_refused(path, data):
    path.write_bytes(data)
    start = time.perf_counter()
    error = refusal(path)
    assert error is None or (error.where == str(path) and error.message and error.remedy)
    assert time.perf_counter() - start < 20.0


@pytest.mark.parametrize("kind", FILES)
def test_the_undamaged_files_are_read(path, kind):
    path.write_bytes(FILES[kind])
    assert refusal(path) is None


@pytest.mark.parametrize("kind", FILES)
def test_a_file_cut_anywhere_is_refused(path, kind):
    whole = FILES[kind]
    for spot in np.unique(np.linspace(1, len(whole) - 3, 60).astype(int)):
        path.write_bytes(whole[:spot])
        assert refusal(path) is not None, f"cut to {spot} of {len(whole)} bytes it was read as if whole"

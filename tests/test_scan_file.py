"""Scans come out of the file exactly as they went in, or are refused with a reason."""

from __future__ import annotations

import hashlib
import itertools
import struct
import tracemalloc
import zlib

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from firedeck.errors import ScanError
from firedeck.files.scan_file import file_hash, open_scan, require_measurable, require_resolution

DPI = 25.4


def sheet(dtype, *, height=70, width=53, channels=3):
    """Return smooth code values with grain: compressible, yet no two rows alike."""
    rng = np.random.default_rng(height * width * channels)
    top = np.iinfo(dtype).max
    rows, cols = np.mgrid[0:height, 0:width]
    base = 0.5 + 0.3 * np.sin(rows / 9.0) * np.cos(cols / 7.0)
    values = base[..., None] * np.linspace(0.6, 1.0, channels) + rng.normal(
        0, 0.01, (height, width, channels)
    )
    return (values * top).astype(dtype)


def whole(scan, channels=None, **kwargs):
    """Put the blocks of a scan together, checking that they cover every pixel once."""
    count = scan.channels if channels is None else len(channels)
    covered = np.zeros((scan.height, scan.width), int)
    picture = None
    for block in scan.strips(channels, **kwargs):
        if picture is None:
            picture = np.zeros((scan.height, scan.width, count), block.values.dtype)
        rows, cols = block.values.shape[:2]
        place = slice(block.row0, block.row0 + rows), slice(block.col0, block.col0 + cols)
        picture[place] = block.values
        covered[place] += 1
    assert np.all(covered == 1)
    assert picture.dtype.isnative
    return picture


def write_tiff(path, values, **kwargs):
    kwargs.setdefault("photometric", "rgb" if values.shape[2] >= 3 else "minisblack")
    kwargs.setdefault("resolution", (600, 600))
    kwargs.setdefault("resolutionunit", 2)
    kwargs.setdefault("metadata", None)
    if kwargs.get("planarconfig") == "separate":
        values = np.moveaxis(values, -1, 0)
    elif values.shape[2] == 1:
        values = values[..., 0]
    tifffile.imwrite(path, values, **kwargs)


def set_tags(path, tags):
    """Set tags of a little-endian TIFF to (type, count, value or offset), in a new directory at its end."""
    data = bytearray(path.read_bytes())
    (first,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, first)
    entries = {}
    for index in range(count):
        number, *rest = struct.unpack_from("<HHII", data, first + 2 + 12 * index)
        entries[number] = rest
    entries |= tags
    data += bytes(len(data) % 2)
    struct.pack_into("<I", data, 4, len(data))
    data += struct.pack("<H", len(entries))
    for number, rest in sorted(entries.items()):
        data += struct.pack("<HHII", number, *rest)
    path.write_bytes(data + bytes(4))


SHORT, LONG = 3, 4


def write_png(path, header, body, *, extra=()):
    """Write a PNG from its header fields and its filtered rows, with extra chunks before the data."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    parts = [chunk(b"IHDR", struct.pack(">IIBBBBB", *header)), *(chunk(*each) for each in extra)]
    packed = zlib.compress(body)
    half = len(packed) // 2
    parts += [chunk(b"IDAT", packed[:half]), chunk(b"IDAT", packed[half:]), chunk(b"IEND", b"")]
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(parts))


def png_rows(values):
    """Return unfiltered rows of a PNG for an array of shape (height, width, channels)."""
    big = values.astype(values.dtype.newbyteorder(">"))
    return b"".join(b"\0" + row.tobytes() for row in big)


@pytest.fixture
def tif(tmp_path):
    return tmp_path / "sheet.tif"


@pytest.fixture
def png(tmp_path):
    return tmp_path / "sheet.png"


# --- pixels ---------------------------------------------------------------------------------------

STORAGE = {
    "plain": {},
    "plain strips": {"rowsperstrip": 9},
    "plain single rows": {"rowsperstrip": 1},
    "plain tiles": {"tile": (16, 32)},
    "lzw": {"compression": "lzw", "rowsperstrip": 9},
    "lzw differenced": {"compression": "lzw", "predictor": 2, "rowsperstrip": 9},
    "deflate single rows": {"compression": "zlib", "predictor": 2, "rowsperstrip": 1},
    "deflate tiles": {"compression": "adobe_deflate", "predictor": 2, "tile": (32, 16)},
    "lzw tiles": {"compression": "lzw", "tile": (16, 16)},
    "packbits": {"compression": "packbits", "rowsperstrip": 20},
    "zstd": {"compression": "zstd", "predictor": 2, "rowsperstrip": 20},
    "lzma": {"compression": "lzma", "rowsperstrip": 20},
}


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("storage", STORAGE.values(), ids=STORAGE)
def test_every_way_of_storing_gives_back_the_same_pixels(tif, storage, dtype, byteorder):
    for channels, planar, big in itertools.product((1, 3), ("contig", "separate"), (False, True)):
        if channels == 1 and planar == "separate":
            continue
        values = sheet(dtype, channels=channels)
        options = dict(storage, byteorder=byteorder, bigtiff=big)
        write_tiff(tif, values, planarconfig=planar if channels > 1 else None, **options)
        scan = open_scan(tif)
        assert (scan.height, scan.width, scan.channels, scan.bits) == (70, 53, channels, 8 * dtype().itemsize)
        assert not scan.picture_only
        np.testing.assert_array_equal(whole(scan, rows_per_strip=25), values)
        last = channels - 1
        np.testing.assert_array_equal(whole(scan, (last,)), values[..., last:])
        if channels == 3:
            np.testing.assert_array_equal(whole(scan, (2, 0)), values[..., [2, 0]])


UPRIGHT = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: np.rot90(a, 2),
    4: np.flipud,
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(a, 2).transpose(1, 0, 2),
    8: lambda a: np.rot90(a, 1),
}


@pytest.mark.parametrize("orientation", UPRIGHT)
@pytest.mark.parametrize("storage", [{"rowsperstrip": 9}, {"tile": (32, 16), "compression": "lzw"}])
def test_every_orientation_is_put_upright(tif, orientation, storage):
    values = sheet(np.uint16)
    write_tiff(
        tif,
        values,
        resolution=(600, 300),
        extratags=[(274, "H", 1, orientation, True)],
        **storage,
    )
    scan = open_scan(tif)
    np.testing.assert_array_equal(whole(scan, rows_per_strip=16), UPRIGHT[orientation](values))
    stated = np.array([600, 300]) / DPI
    np.testing.assert_allclose(scan.resolution, stated[::-1] if orientation >= 5 else stated)
    assert any(f"orientation {orientation}" in note for note in scan.notes) == (orientation != 1)


@pytest.mark.parametrize("orientation", UPRIGHT)
def test_an_independent_reader_turns_pictures_the_same_way(tif, orientation):
    from PIL import ImageOps

    values = sheet(np.uint8)
    write_tiff(tif, values, extratags=[(274, "H", 1, orientation, True)])
    with Image.open(tif) as picture:
        expected = np.asarray(ImageOps.exif_transpose(picture))
    np.testing.assert_array_equal(whole(open_scan(tif)), expected)


def test_grey_counted_from_white_is_turned(tif):
    values = sheet(np.uint16, channels=1)
    write_tiff(tif, 65535 - values, photometric="miniswhite")
    scan = open_scan(tif)
    np.testing.assert_array_equal(whole(scan), values)
    assert any("from white" in note for note in scan.notes)


@pytest.mark.parametrize("channels", [2, 4, 5])
def test_extra_channels_are_left_out_and_said(tif, channels):
    values = sheet(np.uint16, channels=channels)
    colours = 1 if channels == 2 else 3
    write_tiff(
        tif,
        values,
        photometric="rgb" if colours == 3 else "minisblack",
        extrasamples=["unspecified"] * (channels - colours),
        planarconfig="contig",
    )
    scan = open_scan(tif)
    assert scan.channels == colours
    np.testing.assert_array_equal(whole(scan), values[..., :colours])
    assert any("left out" in note for note in scan.notes)


@pytest.mark.parametrize("separate", [False, True])
@pytest.mark.parametrize("byteorder", ["<", ">"])
def test_large_deflated_pieces_are_inflated_row_by_row(tif, monkeypatch, separate, byteorder):
    monkeypatch.setattr("firedeck.files.tiff_scan.LARGE_PIECE", 10_000)
    values = sheet(np.uint16, height=190, width=90)
    write_tiff(
        tif,
        values,
        compression="zlib",
        predictor=2,
        rowsperstrip=120,
        planarconfig="separate" if separate else "contig",
        byteorder=byteorder,
    )
    scan = open_scan(tif)
    assert [block.row0 for block in scan.strips((1,), rows_per_strip=50)] == [0, 50, 100, 120, 170]
    np.testing.assert_array_equal(whole(scan, rows_per_strip=50), values)
    np.testing.assert_array_equal(whole(scan, (1,), rows_per_strip=50), values[..., 1:2])


def test_a_strip_padded_to_full_height_is_read(tif):
    values = sheet(np.uint8, height=20, channels=1)
    write_tiff(tif, values, compression="zlib", rowsperstrip=16)
    with tifffile.TiffFile(tif) as file:
        page = file.pages[0]
        first, count = page.dataoffsets[0], page.databytecounts[0]
    padded = imagecodecs.deflate_encode(np.pad(values[16:, :, 0], ((0, 12), (0, 0))).tobytes(), level=9)
    data = tif.read_bytes()
    lists = struct.pack("<IIII", first, len(data) + 16, count, len(padded))
    tif.write_bytes(data + lists + padded)
    set_tags(tif, {273: (LONG, 2, len(data)), 279: (LONG, 2, len(data) + 8)})
    np.testing.assert_array_equal(whole(open_scan(tif)), values)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_png_gives_back_the_same_pixels(png, dtype, channels):
    values = sheet(dtype, channels=channels)
    # Level 9 makes the encoder choose a filter row by row.
    png.write_bytes(imagecodecs.png_encode(values.squeeze(), level=9))
    scan = open_scan(png)
    colours = 3 if channels >= 3 else 1
    assert (scan.channels, scan.bits) == (colours, 8 * dtype().itemsize)
    np.testing.assert_array_equal(whole(scan, rows_per_strip=13), values[..., :colours])
    np.testing.assert_array_equal(whole(scan, (colours - 1,)), values[..., colours - 1 : colours])
    assert any("transparency" in note for note in scan.notes) == (channels in (2, 4))


def filtered(values, kind):
    """Filter rows of 8-bit values with one PNG filter, written straight from RFC 2083 section 6."""
    raw = values.reshape(values.shape[0], -1).astype(int)
    step = values.shape[2]
    left = np.pad(raw, ((0, 0), (step, 0)))[:, :-step]
    above = np.pad(raw, ((1, 0), (0, 0)))[:-1]
    corner = np.pad(left, ((1, 0), (0, 0)))[:-1]
    guess = left + above - corner
    far = np.stack([abs(guess - left), abs(guess - above), abs(guess - corner)])
    nearest = np.choose(np.argmin(far, axis=0), [left, above, corner])
    predicted = [0, left, above, (left + above) // 2, nearest][kind]
    rows = ((raw - predicted) % 256).astype(np.uint8)
    return b"".join(bytes([kind]) + row.tobytes() for row in rows)


@pytest.mark.parametrize("kind", range(5))
def test_each_png_filter_is_undone(png, kind):
    values = sheet(np.uint8, height=40, width=31)
    write_png(png, (31, 40, 8, 2, 0, 0, 0), filtered(values, kind))
    np.testing.assert_array_equal(whole(open_scan(png), rows_per_strip=7), values)


def test_blocks_stay_small_however_wide_the_scan(tif, png):
    values = np.zeros((64, 40_000, 3), np.uint16)
    write_tiff(tif, values)
    png.write_bytes(imagecodecs.png_encode(values, level=1))
    for path in (tif, png):
        for block in open_scan(path).strips():
            assert block.values.shape[0] * 40_000 * 6 <= 4_000_000


@pytest.mark.parametrize("storage", [{}, {"compression": "lzw", "rowsperstrip": 40}], ids=["plain", "lzw"])
def test_memory_is_a_small_part_of_the_scan(tif, storage):
    values = np.zeros((6000, 3400, 3), np.uint16)
    write_tiff(tif, values, **storage)
    scan = open_scan(tif)
    del values
    tracemalloc.start()
    total = sum(int(block.values.max()) for block in scan.strips((1,)))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert total == 0
    assert peak < 40e6 < 6000 * 3400 * 6 / 3


def test_a_stream_may_be_left_early_and_started_again(tif, png):
    values = sheet(np.uint16)
    write_tiff(tif, values, compression="lzw", rowsperstrip=4)
    png.write_bytes(imagecodecs.png_encode(values))
    for path in (tif, png):
        scan = open_scan(path)
        next(scan.strips(rows_per_strip=4)).values.sum()
        np.testing.assert_array_equal(whole(scan), values)


# --- what the file says about itself --------------------------------------------------------------


@pytest.mark.parametrize(("unit", "per_mm"), [(2, 600 / 25.4), (3, 60.0)])
def test_resolution_per_inch_and_per_centimetre(tif, unit, per_mm):
    write_tiff(tif, sheet(np.uint8), resolution=(600, 600), resolutionunit=unit)
    scan = open_scan(tif)
    assert scan.resolution == pytest.approx((per_mm, per_mm), rel=1e-6)
    assert scan.resolution_from == "file"
    assert require_resolution(scan) == scan.resolution


@pytest.mark.parametrize(
    ("resolution", "unit", "note"),
    [
        ((600, 600), 1, "without a unit"),
        ((1, 1), 2, "no flatbed scanner"),
        ((49, 49), 2, "no flatbed scanner"),
        ((600, 20_000), 2, "no flatbed scanner"),
        (None, None, "without a unit"),
    ],
)
def test_a_resolution_not_to_be_believed_is_asked_for(tif, resolution, unit, note):
    write_tiff(tif, sheet(np.uint8), resolution=resolution, resolutionunit=unit)
    scan = open_scan(tif)
    assert scan.resolution is None
    assert scan.resolution_from == "nowhere"
    assert any(note in each for each in scan.notes)
    with pytest.raises(ScanError, match="resolution is not known") as caught:
        require_resolution(scan)
    assert "600 dpi" in caught.value.remedy


def test_a_given_resolution_goes_before_the_files_and_says_so(tif):
    write_tiff(tif, sheet(np.uint8), resolution=(300, 300))
    given = (600 / DPI, 600 / DPI)
    scan = open_scan(tif, resolution_per_mm=given)
    assert (scan.resolution, scan.resolution_from) == (given, "given")
    assert any("300 dpi" in note and "600 dpi" in note for note in scan.notes)
    same = open_scan(tif, resolution_per_mm=(300 / DPI, 300 / DPI))
    assert not any("given" in note for note in same.notes)


def test_an_impossible_given_resolution_is_refused(tif):
    write_tiff(tif, sheet(np.uint8))
    with pytest.raises(ScanError, match="no flatbed scanner"):
        open_scan(tif, resolution_per_mm=(600.0, 600.0))


def test_odd_but_possible_resolutions_are_pointed_out(tif):
    write_tiff(tif, sheet(np.uint8), resolution=(600, 601))
    scan = open_scan(tif)
    assert scan.resolution == pytest.approx((600 / DPI, 601 / DPI))
    assert any("differs between the axes" in note for note in scan.notes)
    write_tiff(tif, sheet(np.uint8), resolution=(72, 72))
    assert any("do not know" in note for note in open_scan(tif).notes)


def test_png_resolution(png):
    values = sheet(np.uint8)
    header = (53, 70, 8, 2, 0, 0, 0)
    write_png(png, header, png_rows(values), extra=[(b"pHYs", struct.pack(">IIB", 23622, 11811, 1))])
    assert open_scan(png).resolution == pytest.approx((23.622, 11.811))
    write_png(png, header, png_rows(values), extra=[(b"pHYs", struct.pack(">IIB", 1, 1, 0))])
    scan = open_scan(png)
    assert scan.resolution is None
    assert any("without a unit" in note for note in scan.notes)


def srgb_profile():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def test_an_embedded_profile_names_itself_and_gives_its_curves(tif, png):
    values = sheet(np.uint8)
    write_tiff(tif, values, iccprofile=srgb_profile())
    png.write_bytes(imagecodecs.png_encode(values))
    with Image.open(png) as picture:
        picture.save(png, icc_profile=srgb_profile())
    for path in (tif, png):
        scan = open_scan(path)
        assert "sRGB" in scan.profile.description
        assert scan.encoding(1) is not None
        assert not any("code values stand for light" in note for note in scan.notes)


def test_a_damaged_profile_is_ignored_and_said(tif):
    write_tiff(tif, sheet(np.uint8), iccprofile=b"not a profile at all" * 20)
    scan = open_scan(tif)
    assert scan.profile is None
    assert any("profile is damaged" in note for note in scan.notes)


def test_a_file_that_does_not_declare_its_encoding_says_so(tif):
    write_tiff(tif, sheet(np.uint8))
    scan = open_scan(tif)
    assert scan.encoding() is None
    assert any("code values stand for light" in note for note in scan.notes)


def test_png_declares_srgb_or_a_gamma(png):
    values = sheet(np.uint8)
    header = (53, 70, 8, 2, 0, 0, 0)
    gamma = (b"gAMA", struct.pack(">I", 45_455))
    write_png(png, header, png_rows(values), extra=[gamma])
    encoding = open_scan(png).encoding()
    assert encoding.kind == "gamma"
    assert encoding.parameters[0] == pytest.approx(2.2, rel=1e-4)
    write_png(png, header, png_rows(values), extra=[gamma, (b"sRGB", b"\0")])
    assert open_scan(png).encoding().kind == "srgb"
    write_png(png, header, png_rows(values), extra=[(b"gAMA", struct.pack(">I", 0))])
    scan = open_scan(png)
    assert scan.encoding() is None
    assert any("impossible gamma" in note for note in scan.notes)


def test_several_pages(tif):
    first, second = sheet(np.uint8), sheet(np.uint8, height=40)
    preview = first[::7, ::7]
    with tifffile.TiffWriter(tif) as writer:
        for values, reduced in ((preview, True), (first, False), (second, False)):
            writer.write(values, photometric="rgb", subfiletype=int(reduced), metadata=None)
    scan = open_scan(tif)
    np.testing.assert_array_equal(whole(scan), first)
    assert any("page 1 of the 2" in note for note in scan.notes)
    np.testing.assert_array_equal(whole(open_scan(tif, page=1)), second)
    with pytest.raises(ScanError, match="no page 3"):
        open_scan(tif, page=2)


def test_hash_is_that_of_the_bytes(tif):
    write_tiff(tif, sheet(np.uint8))
    assert file_hash(tif) == hashlib.sha256(tif.read_bytes()).hexdigest()
    with pytest.raises(ScanError, match="no such file"):
        file_hash(tif.with_name("other.tif"))


def test_hash_of_a_large_file_is_that_of_all_its_parts(tmp_path):
    content = np.random.default_rng(0).bytes(9_000_001)
    (tmp_path / "large").write_bytes(content)
    (tmp_path / "empty").touch()
    assert file_hash(tmp_path / "large") == hashlib.sha256(content).hexdigest()
    assert file_hash(tmp_path / "empty") == hashlib.sha256(b"").hexdigest()


# --- pictures only --------------------------------------------------------------------------------


def assert_picture_only(path, reason):
    scan = open_scan(path)
    assert reason in scan.picture_only
    with pytest.raises(ScanError, match="picture only") as caught:
        scan.strips()
    assert caught.value.where == str(path)
    assert "TIFF" in caught.value.remedy
    with pytest.raises(ScanError):
        require_measurable(scan)
    return whole(scan, as_picture=True)


def test_jpeg_files_and_jpeg_inside_tiff_are_pictures(tmp_path, tif):
    values = sheet(np.uint8)
    jpeg = tmp_path / "sheet.jpg"
    Image.fromarray(values).save(jpeg, quality=95, dpi=(300, 300))
    assert np.abs(assert_picture_only(jpeg, "JPEG").astype(int) - values).mean() < 4
    assert open_scan(jpeg).resolution == pytest.approx((300 / DPI, 300 / DPI))
    write_tiff(tif, values, compression="jpeg")
    assert np.abs(assert_picture_only(tif, "JPEG").astype(int) - values).mean() < 4


def test_a_turned_jpeg_is_put_upright(tmp_path):
    values = sheet(np.uint8)
    jpeg = tmp_path / "sheet.jpg"
    exif = Image.Exif()
    exif[274] = 6
    Image.fromarray(values).save(jpeg, quality=95, exif=exif)
    picture = assert_picture_only(jpeg, "JPEG")
    assert np.abs(picture.astype(int) - np.rot90(values, -1)).mean() < 4


def test_palettes_are_pictures(tif, png):
    values = sheet(np.uint8)
    few = Image.fromarray(values).quantize(16)
    expected = np.asarray(few.convert("RGB"))
    for path in (tif, png):
        few.save(path)
        np.testing.assert_array_equal(assert_picture_only(path, "palette"), expected)


def test_one_bit_is_a_picture(tif, png):
    black = Image.fromarray(sheet(np.uint8)).convert("1")
    black.save(tif, compression="group4")
    assert_picture_only(tif, "2 steps of grey")
    black.save(png)
    assert_picture_only(png, "2 steps of grey")


def test_printing_colours_are_a_picture(tif):
    Image.fromarray(sheet(np.uint8)).convert("CMYK").save(tif)
    assert_picture_only(tif, "printing inks")


def test_other_picture_files(tmp_path):
    path = tmp_path / "sheet.bmp"
    Image.fromarray(sheet(np.uint8)).save(path)
    np.testing.assert_array_equal(assert_picture_only(path, "BMP"), sheet(np.uint8))


BYTE, UNDEFINED = 1, 7


@pytest.mark.parametrize(
    ("tags", "camera"),
    [
        ({33434: (LONG, 1, 2)}, True),
        ({41728: (UNDEFINED, 1, 3)}, True),
        ({41728: (UNDEFINED, 1, 2), 33434: (LONG, 1, 2)}, False),
        ({40961: (SHORT, 1, 1)}, False),
    ],
    ids=["exposure", "camera source", "scanner source", "nothing telling"],
)
def test_a_cameras_picture_is_told_from_a_scanners(tif, png, tags, camera):
    values = sheet(np.uint8)
    write_tiff(tif, values, extratags=[(271, "s", 0, "A maker of both", True)])
    data = tif.read_bytes()
    exif = struct.pack("<H", len(tags))
    exif += b"".join(struct.pack("<HHII", number, *rest) for number, rest in sorted(tags.items())) + bytes(4)
    tif.write_bytes(data + exif)
    set_tags(tif, {34665: (LONG, 1, len(data))})
    parent = struct.pack("<2sHIHHHIII", b"II", 42, 8, 1, 34665, LONG, 1, 26, 0)
    write_png(png, (53, 70, 8, 2, 0, 0, 0), png_rows(values), extra=[(b"eXIf", parent + exif)])
    for path in (tif, png):
        scan = open_scan(path)
        assert ("camera" in scan.picture_only) == camera
        assert not any("camera data" in note for note in scan.notes)
        np.testing.assert_array_equal(whole(scan, as_picture=True), values)


def test_dangling_camera_data_does_not_spoil_a_scan(tif, png):
    values = sheet(np.uint8)
    write_tiff(tif, values)
    set_tags(tif, {34665: (LONG, 1, 4_000_000)})
    write_png(png, (53, 70, 8, 2, 0, 0, 0), png_rows(values), extra=[(b"eXIf", b"not camera data")])
    for path in (tif, png):
        scan = open_scan(path)
        assert any("camera data is damaged" in note for note in scan.notes)
        np.testing.assert_array_equal(whole(scan), values)


def test_png_camera_data_turns_the_picture(png):
    values = sheet(np.uint8)
    exif = struct.pack("<2sHIHHHIII", b"II", 42, 8, 1, 274, SHORT, 1, 6, 0)
    write_png(png, (53, 70, 8, 2, 0, 0, 0), png_rows(values), extra=[(b"eXIf", exif)])
    np.testing.assert_array_equal(whole(open_scan(png)), np.rot90(values, -1))


# --- refusals -------------------------------------------------------------------------------------


def read_to_the_end(path, **kwargs):
    for block in open_scan(path, **kwargs).strips(as_picture=True):
        block.values.sum()


def refused(path, message, **kwargs):
    """Open and read a file to the end, and return the refusal after checking its form."""
    with pytest.raises(ScanError, match=message) as caught:
        read_to_the_end(path, **kwargs)
    assert caught.value.where == str(path)
    assert caught.value.remedy
    return caught.value


def test_missing_folder_empty_and_foreign_files(tmp_path):
    refused(tmp_path / "nowhere.tif", "no such file")
    refused(tmp_path, "folder")
    for name, data, message in (
        ("empty.tif", b"", "empty"),
        ("letter.tif", b"Dear customer, please find attached", "not a picture"),
        ("sheet.pdf", b"%PDF-1.7 " + bytes(100), "PDF"),
        ("stub.tif", b"II*\0", "cut short"),
        ("stub.png", b"\x89PNG\r\n\x1a\n", "cut short"),
        ("stub.jpg", b"\xff\xd8\xff\xe0", "cannot be opened"),
    ):
        path = tmp_path / name
        path.write_bytes(data)
        refused(path, message)


@pytest.mark.parametrize("storage", [{}, {"compression": "lzw"}, {"tile": (16, 16)}])
def test_a_file_cut_short_is_refused_before_decoding(tif, storage):
    write_tiff(tif, sheet(np.uint16), **storage)
    data = tif.read_bytes()
    tif.write_bytes(data[: len(data) - 40])
    with pytest.raises(ScanError, match="cut short"):
        open_scan(tif)


@pytest.mark.parametrize(
    ("tag", "value", "message"),
    [
        (256, 0, "0 by 70"),
        (257, 0, "53 by 0"),
        (257, 4_000_000_000, "gigapixels"),
        (257, 71, "should have 2 pieces"),
        (256, 5300, "smaller than"),
        (273, 0, "missing"),
        (273, 4_000_000_000, "outside the file"),
        (279, 4_000_000_000, "outside the file"),
        (279, 0, "missing"),
        (278, 0, "53 by 0"),
    ],
)
def test_a_lying_header_is_refused(tif, tag, value, message):
    write_tiff(tif, sheet(np.uint8, channels=1), rowsperstrip=70)
    set_tags(tif, {tag: (LONG, 1, value)})
    refused(tif, message)


@pytest.mark.parametrize(
    ("tag", "value", "message"),
    [
        (258, 12, "12 bits"),
        (259, 9999, "number 9999"),
        (262, 32803, "raw data"),
        (266, 2, "reverse order"),
        (274, 9, "orientation"),
        (277, 40, "40 values per pixel"),
        (317, 3, "kind 3"),
        (339, 2, "signed or fractional"),
    ],
)
def test_kinds_that_are_not_read_are_refused(tif, tag, value, message):
    write_tiff(tif, sheet(np.uint8, channels=1), compression="lzw", predictor=2, rowsperstrip=70)
    set_tags(tif, {tag: (SHORT, 1, value)})
    refused(tif, message)


@pytest.mark.parametrize("dtype", [np.float32, np.uint32, np.int16])
def test_numbers_that_are_not_plain_counts_are_refused(tif, dtype):
    tifffile.imwrite(tif, np.ones((20, 20), dtype), photometric="minisblack")
    error = refused(tif, "bits|signed or fractional")
    assert "16-bit" in error.remedy


def test_a_circle_of_pages_is_refused(tif):
    write_tiff(tif, sheet(np.uint8))
    data = bytearray(tif.read_bytes())
    (first,) = struct.unpack_from("<I", data, 4)
    (tags,) = struct.unpack_from("<H", data, first)
    struct.pack_into("<I", data, first + 2 + 12 * tags, first)
    tif.write_bytes(data)
    refused(tif, "circle")


def test_a_bomb_is_refused_before_it_goes_off(tmp_path, tif, png):
    # 60 000 x 60 000 pixels of 48 bits, claimed by a few kilobytes.
    write_tiff(tif, sheet(np.uint16), compression="zlib", rowsperstrip=70)
    set_tags(tif, dict.fromkeys((256, 257, 278), (LONG, 1, 60_000)))
    refused(tif, "too large to open|times larger")
    write_png(png, (60_000, 60_000, 16, 2, 0, 0, 0), bytes(100_000))
    refused(png, "times larger")
    write_png(png, (0xFFFFFFFF, 0xFFFFFFFF, 16, 2, 0, 0, 0), bytes(100))
    refused(png, "no scan has")


def test_pieces_that_share_their_data_are_refused(tif):
    """One stored piece named many times over makes a small file claim a huge picture."""
    write_tiff(tif, sheet(np.uint8, channels=1, height=2000), compression="lzw", rowsperstrip=1)
    with tifffile.TiffFile(tif) as file:
        page = file.pages[0]
        places = [(page.tags[tag].valueoffset, page.tags[tag].dtype) for tag in (273, 279)]
        largest = int(np.argmax(page.databytecounts))
        values = (page.dataoffsets[largest], 60_000)
    data = bytearray(tif.read_bytes())
    for (place, dtype), value in zip(places, values, strict=True):
        code = "H" if dtype == 3 else "I"
        struct.pack_into(f"<2000{code}", data, place, *([value] * 2000))
    tif.write_bytes(data)
    refused(tif, "more data than the file")


@pytest.mark.parametrize("compression", ["lzw", "zlib", "packbits", "zstd", "lzma"])
def test_damaged_compressed_data_is_refused(tif, compression):
    write_tiff(tif, sheet(np.uint16), compression=compression, rowsperstrip=70)
    with tifffile.TiffFile(tif) as file:
        offset, count = file.pages[0].dataoffsets[0], file.pages[0].databytecounts[0]
    data = bytearray(tif.read_bytes())
    data[offset : offset + count] = b"\xff" * count
    tif.write_bytes(data)
    refused(tif, "cannot be undone|incomplete")


def test_a_damaged_png_is_refused(png):
    values = sheet(np.uint8)
    header, rows = (53, 70, 8, 2, 0, 0, 0), png_rows(values)
    write_png(png, header, rows[:-5])
    refused(png, "ends before the picture does")
    write_png(png, header, rows + b"more")
    refused(png, "more data than its size")
    write_png(png, header, b"\7" + rows[1:])
    refused(png, "filtered in an unknown way")
    write_png(png, (53, 70, 8, 2, 0, 0, 1), rows)
    refused(png, "interlac")
    write_png(png, (53, 70, 5, 2, 0, 0, 0), rows)
    refused(png, "does not exist")
    write_png(png, header, rows, extra=[(b"ABCD", b"")])
    refused(png, "unknown kind")
    write_png(png, header, rows)
    data = bytearray(png.read_bytes())
    data[20] ^= 1
    png.write_bytes(data)
    refused(png, "check sum")
    write_png(png, header, rows)
    png.write_bytes(png.read_bytes()[:-12])
    refused(png, "end mark")


def test_png_data_with_a_wrong_check_sum_is_refused(png):
    write_png(png, (53, 70, 8, 2, 0, 0, 0), png_rows(sheet(np.uint8)))
    data = bytearray(png.read_bytes())
    # The inflated data's own check sum: its last byte stands before the data's and the end's marks.
    data[-17] ^= 0xFF
    png.write_bytes(data)
    refused(png, "cannot be undone")


def test_a_png_has_one_page(png):
    write_png(png, (53, 70, 8, 2, 0, 0, 0), png_rows(sheet(np.uint8)))
    refused(png, "no page 2", page=1)


def test_a_channel_that_is_not_there_is_refused(tif):
    write_tiff(tif, sheet(np.uint8, channels=1))
    with pytest.raises(ScanError, match="1 channel"):
        open_scan(tif).strips((1,))


def test_a_file_changed_after_opening_is_noticed(tif):
    write_tiff(tif, sheet(np.uint8))
    scan = open_scan(tif)
    write_tiff(tif, sheet(np.uint8, height=90))
    with pytest.raises(ScanError, match="changed after it was opened"):
        whole(scan)


def test_a_file_that_shrinks_while_being_read_is_noticed(tif):
    write_tiff(tif, sheet(np.uint8, height=5000, width=500))
    blocks = open_scan(tif).strips(rows_per_strip=10)
    next(blocks)
    with tif.open("r+b") as file:
        file.truncate(100_000)
    with pytest.raises(ScanError, match="shorter"):
        for _ in blocks:
            pass

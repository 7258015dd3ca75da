"""Curves read from colour profiles, against the colour library that made them."""

from __future__ import annotations

import struct

import imagecodecs
import numpy as np
import pytest
from PIL import ImageCms

from firedeck.files.icc_profile import read_icc_profile
from firedeck.kernel.transfer import Transfer, reflectance_table


def profile(curves, *, space=b"RGB ", extra=()):
    """Build a profile with the given tags and nothing else; layout of ICC.1:2022, header and tag table."""
    tags = [*curves, *extra]
    head = bytearray(128)
    head[16:20], head[36:40] = space, b"acsp"
    place = 132 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags:
        table += struct.pack(">4sII", name, place + len(body), len(data))
        body += data
    return bytes(head) + table + body


def curve(*values):
    return b"curv" + bytes(4) + struct.pack(f">I{len(values)}H", len(values), *values)


def para(kind, *values):
    fixed = [round(65536 * value) for value in values]
    return b"para" + bytes(4) + struct.pack(f">HH{len(values)}i", kind, 0, *fixed)


def rgb(tag):
    return [(name, tag) for name in (b"rTRC", b"gTRC", b"bTRC")]


def test_the_librarys_srgb_profile_holds_the_srgb_curve():
    """Made by Little CMS through Pillow; IEC 61966-2-1:1999 to the rounding of a profile's numbers."""
    data = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = read_icc_profile(data)
    assert found.description == "sRGB built-in"
    assert found.colour_space == "RGB"
    for transfer in found.curves:
        table = reflectance_table(transfer, 8).reflectance
        np.testing.assert_allclose(table, reflectance_table(Transfer.srgb(), 8).reflectance, atol=3e-5)


@pytest.mark.parametrize("space", ["rgb", "gray"])
def test_a_power_curve_made_by_the_library(space):
    found = read_icc_profile(imagecodecs.cms_profile(space, gamma=1.8))
    assert len(found.curves) == (3 if space == "rgb" else 1)
    table = reflectance_table(found.curves[0], 8).reflectance
    np.testing.assert_allclose(table, np.linspace(0, 1, 256) ** 1.8, atol=2e-3)


@pytest.mark.parametrize(
    ("tag", "light"),
    [
        (curve(), lambda v: v),
        (curve(0x0240), lambda v: v**2.25),
        (curve(0, 16384, 65535), lambda v: np.interp(v, [0, 0.5, 1], [0, 16384 / 65535, 1])),
        (para(0, 2.0), lambda v: v**2),
        (para(1, 2.0, 1.25, -0.25), lambda v: np.where(v >= 0.2, np.maximum(1.25 * v - 0.25, 0) ** 2, 0.0)),
        (
            para(2, 2.0, 1.0, -0.25, 0.0625),
            lambda v: np.where(v >= 0.25, np.maximum(v - 0.25, 0) ** 2, 0.0) + 0.0625,
        ),
        (para(3, 2.0, 1.0, 0.0, 0.25, 0.25), lambda v: np.where(v >= 0.25, v**2, 0.25 * v)),
        (
            para(4, 2.0, 0.75, 0.125, 0.25, 0.25, 0.125, 0.0625),
            lambda v: np.where(v >= 0.25, (0.75 * v + 0.125) ** 2 + 0.125, 0.25 * v + 0.0625),
        ),
    ],
    ids=["identity", "gamma", "table", "type 0", "type 1", "type 2", "type 3", "type 4"],
)
def test_each_kind_of_curve(tag, light):
    """Formulas of ICC.1:2022, curveType and parametricCurveType."""
    found = read_icc_profile(profile(rgb(tag)))
    fraction = np.linspace(0.0, 1.0, 256)
    for transfer in found.curves:
        table = reflectance_table(transfer, 8).reflectance
        np.testing.assert_allclose(table, np.clip(light(fraction), 0.0, 1.0), atol=1e-5)


def test_old_and_new_descriptions():
    old = b"desc" + bytes(4) + struct.pack(">I", 9) + b"Scanner 7\0"
    text = "Scanner 8".encode("utf-16-be")
    new = b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text
    for tag, name in ((old, "Scanner 7"), (new, "Scanner 8")):
        assert read_icc_profile(profile(rgb(curve()), extra=[(b"desc", tag)])).description == name


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (profile(rgb(curve())[:2]), "no curve for each channel"),
        (profile(rgb(curve()), extra=[(b"A2B0", b"mft2")]), "table of colours"),
        (profile([], space=b"CMYK"), "CMYK"),
        (profile(rgb(curve(65535, 0))), "do not rise"),
        (profile(rgb(para(9, 1.0))), "damaged"),
        (profile(rgb(b"text" + bytes(20))), "damaged"),
        (profile(rgb(b"curv" + bytes(4) + struct.pack(">I", 60_000) + bytes(40))), "damaged"),
    ],
)
def test_why_a_profile_gives_no_curves(data, reason):
    found = read_icc_profile(data)
    assert found.curves == ()
    assert reason in found.why_no_curves


def test_damaged_profiles_never_do_harm():
    whole = profile(rgb(curve(0, 30000, 65535)), extra=[(b"desc", b"desc" + bytes(20))])
    rng = np.random.default_rng(5)
    for _ in range(500):
        damaged = bytearray(whole[: rng.integers(1, len(whole) + 1)])
        for place in rng.integers(0, len(damaged), 3):
            damaged[place] = rng.integers(0, 256)
        found = read_icc_profile(bytes(damaged))
        assert found is None or len(found.curves) in (0, 1, 3)
    assert read_icc_profile(b"") is None

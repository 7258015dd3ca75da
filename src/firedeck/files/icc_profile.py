"""The little that a measurement needs from an embedded colour profile: its name and its curves.

Source of the layout: ICC.1:2022 (profile version 4.4, the text of ISO 15076-1), clauses on the
profile header, the tag table, curveType, parametricCurveType and multiLocalizedUnicodeType;
ICC.1:2001-04 for textDescriptionType of older profiles. Colour management libraries apply
profiles but do not hand out these curves, hence this small reader.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from firedeck.errors import FiredeckError
from firedeck.kernel.transfer import Transfer

__all__ = ["IccProfile", "read_icc_profile"]

_CURVE_TAGS = {"RGB": ("rTRC", "gTRC", "bTRC"), "GRAY": ("kTRC",)}
#: Number of parameters of each function type, and where they stand among g a b c d e f.
_FUNCTION_PARAMETERS = {0: "g", 1: "gab", 2: "gabc", 3: "gabcd", 4: "gabcdef"}
_MAX_TAGS = 256
_MAX_TABLE = 65_536


@dataclass(frozen=True)
class IccProfile:
    """What an embedded colour profile says about the code values.

    Attributes
    ----------
    description : str
        The profile's own name for itself; empty if it has none.
    colour_space : str
        ``RGB``, ``GRAY``, ``CMYK`` and so on.
    curves : tuple of Transfer
        Encoding of each channel; empty if the profile does not state it as a curve.
    why_no_curves : str
        Reason in plain words when `curves` is empty.
    """

    description: str
    colour_space: str
    curves: tuple[Transfer, ...] = field(default=())
    why_no_curves: str = ""


def read_icc_profile(data: bytes) -> IccProfile | None:
    """Read a profile's name and curves.

    Parameters
    ----------
    data : bytes
        Whole profile as embedded.

    Returns
    -------
    IccProfile or None
        None if this is not a colour profile or is damaged beyond its header.
    """
    if len(data) < 132 or data[36:40] != b"acsp":
        return None
    space = data[16:20].decode("latin-1").strip()
    try:
        tags = _tag_table(data)
        description = _description(tags.get("desc", b""))
    except (struct.error, UnicodeDecodeError):
        return None
    curves, reason = _curves(tags, space)
    return IccProfile(description, space, curves, reason)


def _tag_table(data: bytes) -> Mapping[str, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    tags: dict[str, bytes] = {}
    for index in range(min(count, _MAX_TAGS)):
        name, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * index)
        if offset + size <= len(data):
            tags[name.decode("latin-1")] = data[offset : offset + size]
    return tags


def _description(tag: bytes) -> str:
    if tag[:4] == b"desc":
        (length,) = struct.unpack_from(">I", tag, 8)
        return _tidy(tag[12 : 12 + length].decode("latin-1"))
    if tag[:4] == b"mluc":
        length, offset = struct.unpack_from(">II", tag, 20)
        return _tidy(tag[offset : offset + length].decode("utf-16-be"))
    return ""


def _tidy(text: str) -> str:
    """Keep the printable part of the first 80 characters: it will be shown in reports."""
    return "".join(sign for sign in text[:80] if sign.isprintable()).strip()


def _curves(tags: Mapping[str, bytes], space: str) -> tuple[tuple[Transfer, ...], str]:
    names = _CURVE_TAGS.get(space)
    if names is None:
        return (), f"it describes {space or 'unnamed'} values, not red-green-blue or grey ones"
    if "A2B0" in tags:
        return (), "it describes the scanner by a table of colours, not by one curve per channel"
    if any(name not in tags for name in names):
        return (), "it has no curve for each channel"
    try:
        return tuple(_curve(tags[name]) for name in names), ""
    except (struct.error, FiredeckError):
        return (), "its curves are damaged or do not rise from black to white"


def _curve(tag: bytes) -> Transfer:
    if tag[:4] == b"para":
        return _parametric_curve(tag)
    if tag[:4] != b"curv":
        raise struct.error("neither a curve nor a parametric curve")
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return Transfer.linear()
    if count == 1:
        return Transfer.from_gamma(struct.unpack_from(">H", tag, 12)[0] / 256.0)
    if count > min(_MAX_TABLE, (len(tag) - 12) // 2):
        raise struct.error("the table is longer than its tag")
    table = np.frombuffer(tag, ">u2", count, 12) / 65535.0
    return Transfer.from_table(table.tolist())


def _parametric_curve(tag: bytes) -> Transfer:
    (kind,) = struct.unpack_from(">H", tag, 8)
    names = _FUNCTION_PARAMETERS.get(kind)
    if names is None:
        raise struct.error("unknown function type")
    raw = struct.unpack_from(f">{len(names)}i", tag, 12)
    given = dict(zip(names, (part / 65536.0 for part in raw), strict=True))
    if kind == 0:
        return Transfer.from_gamma(given["g"])
    if kind in (1, 2):
        # Constant below -b/a, where the power's base would turn negative.
        floor = given.get("c", 0.0)
        start = -given["b"] / given["a"] if given["a"] else 0.0
        return Transfer.from_parameters(given["g"], given["a"], given["b"], 0.0, start, floor, floor)
    return Transfer.from_parameters(*(given.get(name, 0.0) for name in "gabcdef"))

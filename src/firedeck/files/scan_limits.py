"""Limits and words that the readers of every scan format share."""

from __future__ import annotations

__all__ = ["BAND_BYTES", "DAMAGED", "LARGE_PIECE", "MAX_PIECE", "MAX_PIXELS", "MAX_SHRINK"]

#: What to do about a file whose inside does not hang together.
DAMAGED = "copy the file again from where it was scanned, or scan the sheet again as TIFF"
#: Largest picture taken for a scan [pixel].
MAX_PIXELS = 4_000_000_000
#: Largest piece that is decoded at once [byte].
MAX_PIECE = 2**31
#: A piece larger than this is inflated row by row if it can be [byte].
LARGE_PIECE = 32_000_000
#: Times that decoded data may be larger than stored data; deflate cannot exceed 1032, and no real
#: scan comes near it.
MAX_SHRINK = 1500
#: Size of a band of rows with all their samples, as stored, that bounds memory [byte].
BAND_BYTES = 4_000_000

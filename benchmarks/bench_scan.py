"""Reading the green channel of 16-bit colour scans: firedeck's stream beside a whole-file read.

Run as a module for a table, ``python -m benchmarks.bench_scan``; a collector calls `figures`. Each read
runs in a fresh process, whose memory before the first read is taken off its peak. The files lie in the
page cache, so that what is timed is the reading and not the disk. Both readers add up the channel, and
their sums must agree.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.process_cost import peak_megabytes
from benchmarks.reading_prints import ROOT
from benchmarks.rows import at_most

#: Rows and columns of an A3 sheet's part at 600 dpi, and of the same at 1200 dpi [pixel].
SMALL, LARGE = (5460, 8240), (10_920, 16_480)
ROUNDS = 4
#: Rows of a strip of the compressed files.
STRIP = 20
PLAIN: dict[str, Any] = {}
DEFLATE: dict[str, Any] = {
    "compression": "zlib",
    "compressionargs": {"level": 4},
    "predictor": 2,
    "rowsperstrip": STRIP,
}
LZW: dict[str, Any] = {"compression": "lzw", "predictor": 2, "rowsperstrip": STRIP}
#: Goals for 45 megapixels [s].
SECONDS = {"uncompressed": 0.4, "deflate": 1.0, "LZW": 2.0}
#: Goals for memory over the process's own, and for how much more four times the pixels may take [MB].
MEGABYTES, GROWTH = 50.0, 15.0
AGAINST = "whole-file read by tifffile"


def main() -> None:
    """Print the table, or, as one of the fresh processes, read one file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--read", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--by", choices=READERS, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.read:
        print(json.dumps(_measure(options.read, options.by)))
        return
    for row in figures():
        mark = "met" if row["met"] else "MISSED"
        shown = f"{row['name']:48} {row['value']:7.3g} {row['unit']:5} goal {row['goal']:9} {mark:7}"
        print(f"{shown} {row['against']}")


def figures() -> list[dict[str, Any]]:
    """Measure everything; one entry per figure.

    Returns
    -------
    list of dict
        ``name``, ``value``, ``unit``, ``goal``, ``met``, ``against`` (what the figure is compared
        with) and ``ratio`` (how many times better than that, or None).
    """
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as folder:
        for name, storage in (("uncompressed", PLAIN), ("deflate", DEFLATE), ("LZW", LZW)):
            path = Path(folder) / f"{name}.tif"
            _write(path, SMALL, storage)
            ours = _small_rows(rows, name, path)
            path.unlink()
            if name == "LZW":
                continue
            _write(path, LARGE, storage)
            rows.append(_growth_row(name, ours["megabytes"], _fresh(path, "firedeck")["megabytes"]))
            path.unlink()
    return rows


def _small_rows(rows: list[dict[str, Any]], name: str, path: Path) -> dict[str, Any]:
    ours, theirs = _fresh(path, "firedeck"), _fresh(path, "tifffile")
    if ours["sum"] != theirs["sum"]:
        raise RuntimeError(f"the two readers disagree on the {name} file")
    for key, unit, goal in (("seconds", "s", SECONDS[name]), ("megabytes", "MB", MEGABYTES)):
        what = "time" if key == "seconds" else "memory"
        against, ratio = f"{AGAINST}: {theirs[key]:.3g} {unit}", theirs[key] / ours[key]
        name_of = f"45 megapixels {name}, green: {what}"
        rows.append(at_most(name_of, ours[key], unit, goal, against=against, ratio=ratio))
    return ours


def _growth_row(name: str, small: float, large: float) -> dict[str, Any]:
    against = f"its own at 45 megapixels: {small:.3g} MB, at 180: {large:.3g} MB"
    name_of = f"180 megapixels {name}: memory more than at 45"
    return at_most(name_of, large - small, "MB", GROWTH, against=against)


def _write(path: Path, shape: tuple[int, int], storage: dict[str, Any]) -> None:
    import tifffile

    tifffile.imwrite(
        path, _sheet(shape), photometric="rgb", resolution=(600, 600), resolutionunit=2, **storage
    )


def _sheet(shape: tuple[int, int]) -> np.ndarray:
    """Draw a soft pattern with the grain of a real scan, about 7 of 16 bits."""
    rng = np.random.default_rng(1)
    across = np.cos(np.linspace(0.0, 90.0, shape[1]))[None, :, None] * np.array([0.9, 0.93, 0.96])
    grain = rng.normal(0.0, 150.0, (8 * STRIP, shape[1], 3))
    sheet = np.empty((*shape, 3), np.uint16)
    for top in range(0, shape[0], STRIP):
        rows = sheet[top : top + STRIP]
        down = np.sin(np.arange(top, top + rows.shape[0]) / 91.0)[:, None, None]
        shift = int(rng.integers(0, 7 * STRIP))
        rows[:] = 40_000 + 15_000 * down * across + grain[shift : shift + rows.shape[0]]
    return sheet


def _fresh(path: Path, reader: str) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.bench_scan", "--read", str(path), "--by", reader]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _measure(path: Path, reader: str) -> dict[str, Any]:
    read = READERS[reader]
    _prepare(reader)
    before = peak_megabytes()
    seconds = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        total = read(path)
        seconds.append(time.perf_counter() - start)
    return {"seconds": min(seconds), "megabytes": peak_megabytes() - before, "sum": total}


def _prepare(reader: str) -> None:
    """Load what the reader loads, so that libraries do not count as memory for pixels."""
    import imagecodecs
    import tifffile

    imagecodecs.lzw_decode(imagecodecs.lzw_encode(bytes(100)))
    imagecodecs.deflate_decode(imagecodecs.deflate_encode(bytes(100)))
    if reader == "firedeck":
        from firedeck.files.tiff_scan import read_tiff

        assert callable(read_tiff)
    assert callable(tifffile.imread)


def _read_firedeck(path: Path) -> int:
    from firedeck.files.scan_file import open_scan

    return sum(int(block.values.sum(dtype=np.uint64)) for block in open_scan(path).strips((1,)))


def _read_tifffile(path: Path) -> int:
    import tifffile

    return int(tifffile.imread(path)[..., 1].sum(dtype=np.uint64))


READERS = {"firedeck": _read_firedeck, "tifffile": _read_tifffile}


if __name__ == "__main__":
    main()

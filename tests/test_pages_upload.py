"""A large scan brought in through a browser: progress is shown, the server stays small, all of it comes."""

from __future__ import annotations

import filecmp

import psutil
import pytest
import tifffile

from tests.support import chromium, pages

#: Most that the server's memory may grow by while the file comes in [bytes].
GROWTH = 60_000_000

ROWS, COLUMNS = 4500, 10_000


@pytest.fixture
def scan(tmp_path):
    """A colour scan of 135 MB, most of it a hole on disk."""
    path = tmp_path / "large scan.tif"
    picture = tifffile.memmap(path, shape=(ROWS, COLUMNS, 3), dtype="uint8", photometric="rgb")
    for row in range(0, ROWS, 500):
        picture[row] = row % 251
    picture.flush()
    assert path.stat().st_size > 134_000_000
    return path


def test_a_large_scan_comes_in_whole_and_the_server_stays_small(tmp_path, scan):
    folder = tmp_path / "bench"
    folder.mkdir()
    shares, held = [], []
    with pages.spawned(folder) as (address, server), chromium.browser() as browser:
        process = psutil.Process(server.pid)
        page = browser.new_page()
        bad = chromium.watched(page.context)
        page.goto(address)
        page.evaluate(
            """() => { window.shares = [];
            new MutationObserver(() => {
              const bar = document.querySelector('#uploads progress');
              if (bar) window.shares.push(bar.value);
            }).observe(document.getElementById('uploads'), { subtree: true, childList: true, attributes: true,
              characterData: true }); }"""
        )
        before = process.memory_info().rss
        page.locator("#files").set_input_files(str(scan))
        target = folder / scan.name
        while not target.exists():
            held.append(process.memory_info().rss)
            shares = page.evaluate("window.shares || []") or shares
            page.wait_for_timeout(60)
        page.locator("li", has_text=scan.name).first.wait_for()
        page.get_by_text("Scans and pictures").wait_for()
        held.append(process.memory_info().rss)
    assert bad == []
    assert filecmp.cmp(scan, target, shallow=False)
    assert shares == sorted(shares)
    assert len({share for share in shares if 0 < share < 1}) >= 3
    assert max(held) - before < GROWTH
    target.unlink()
    scan.unlink()

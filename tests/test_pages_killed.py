"""A server that is killed: nothing half done is seen afterwards, and the user is told what to do again."""

from __future__ import annotations

import http.client
import os
import subprocess
import sys
import time
from urllib.parse import urlsplit

import pytest

from firedeck.web.unfinished import clear_unfinished
from tests.support import pages


def begun(folder):
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


def test_a_server_killed_during_an_upload_leaves_nothing_half_visible(tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()
    with pages.spawned(folder) as (address, _):
        where = urlsplit(address)
        wire = http.client.HTTPConnection(where.hostname, where.port, timeout=30)
        wire.putrequest("PUT", "/import/half.tif")
        wire.putheader("Origin", address)
        wire.putheader("Content-Length", "1000000")
        wire.endheaders(b"x" * 400_000)
        end = time.monotonic() + 30
        while not begun(folder):
            assert time.monotonic() < end
            time.sleep(0.02)
    wire.close()
    assert not (folder / "half.tif").exists()
    with pages.served(folder) as again:
        where = urlsplit(again)
        wire = http.client.HTTPConnection(where.hostname, where.port, timeout=30)
        wire.request("GET", "/")
        text = wire.getresponse().read().decode()
        wire.close()
    assert "a file that was being brought in" in text
    assert "half.tif" not in text
    assert begun(folder) == []


@pytest.fixture
def gone():
    """Number of a process that has ended."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    return ended.pid


def test_drafts_of_dead_processes_go_and_what_they_replaced_comes_back(tmp_path, gone):
    for name in (f".a-report.{gone}.draft", f".a-report.{gone}.old", f".b-report.{os.getpid()}.draft"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "reading.json").write_text(name)
    assert clear_unfinished(tmp_path) == ("a-report",)
    assert (tmp_path / "a-report" / "reading.json").read_text() == f".a-report.{gone}.old"
    assert begun(tmp_path) == [f".b-report.{os.getpid()}.draft"]

"""A server that is killed: nothing half done is seen afterwards, and the user is told what to do again."""

from __future__ import annotations

import http.client
import json
import os
import subprocess
import sys
import time
from urllib.parse import urlsplit

import psutil
import pytest

from firedeck.web.unfinished import clear_unfinished
from tests.support import pages

#: What a job needs is loaded before it begins, which takes a while on a slow machine [s].
PATIENCE = 120


def begun(folder):
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


def told_again(folder):
    """Start the pages again and return what the bench page says."""
    with pages.served(folder) as again:
        where = urlsplit(again)
        wire = http.client.HTTPConnection(where.hostname, where.port, timeout=30)
        wire.request("GET", "/")
        text = wire.getresponse().read().decode()
        wire.close()
    return text


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
    text = told_again(folder)
    assert "Cut short and cleared away: half.tif." in text
    assert text.count("half.tif") == 1, "told as cut short, not listed as a scan"
    assert begun(folder) == []


def begin(address, job):
    where = urlsplit(address)
    wire = http.client.HTTPConnection(where.hostname, where.port, timeout=30)
    wire.request("POST", "/jobs", body=json.dumps(job), headers={"Origin": address})
    status = wire.getresponse().status
    wire.close()
    assert status == 202


def jobs_of(server):
    """Return the processes that do a server's jobs."""
    found = psutil.Process(server.pid)
    own = found.children()
    return [one for one in found.children(recursive=True) if one not in own]


def test_a_server_killed_during_a_job_tells_which_and_its_worker_ends_too(tmp_path):
    folder = pages.bench(tmp_path / "bench")
    before = sorted(path.name for path in folder.iterdir())
    with pages.spawned(folder) as (address, server):
        begin(address, {"what": "read", "names": ["print-2.toml"]})
        begin(address, {"what": "lay", "names": ["print-1.toml"]})
        end = time.monotonic() + PATIENCE
        # The worker is a child's child: what it is begun from is the server's.
        while not jobs_of(server):
            assert time.monotonic() < end
            time.sleep(0.02)
        every = psutil.Process(server.pid).children(recursive=True)
    _, alive = psutil.wait_procs(every, timeout=60)
    assert alive == []
    assert [name for name in sorted(path.name for path in folder.iterdir()) if name[0] != "."] == before
    text = told_again(folder)
    for title in ("Reading print-2", "Looking at the scans of print-1"):
        assert title in text.partition("Cut short and cleared away: ")[2].partition("</p>")[0]
    assert sorted(path.name for path in folder.iterdir()) == before


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

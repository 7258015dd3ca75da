"""Pages served for tests, over a bench with one small print that was read."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from firedeck.web.app import create_app
from firedeck.web.lines import Limits
from firedeck.web.serving import server_of
from tests.support import small_print
from tests.support.once import made_once


def _make(folder: Path) -> None:
    small_print.bench_files(folder)
    shutil.copytree(small_print.report(), folder / "print-1-report")


def bench(folder: Path) -> Path:
    """Copy a bench with print 1 read and print 2 not read into a folder of the test's own."""
    # The times of the scans must not change: they tell whether a reading is still that of its scans.
    shutil.copytree(made_once("pages-bench", _make), folder, dirs_exist_ok=True)
    return folder


@contextmanager
def served(
    folder: Path,
    *,
    largest_import: int | None = None,
    patience: float | None = None,
    limits: Limits | None = None,
) -> Iterator[str]:
    """Serve the pages over a folder and yield their address without a slash."""
    app = create_app(folder)
    if largest_import is not None:
        app.state.largest_import = largest_import
    if patience is not None:
        app.state.patience = patience
    server = server_of(app, limits)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + 30
    while not server.started:
        if time.monotonic() > end:
            raise TimeoutError("the pages did not come up")
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(20)


@contextmanager
def spawned(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Serve the pages in a process of their own, ended if need be by force; yield address and process."""
    start = "import sys; from pathlib import Path; from firedeck.web.serving import serve; "
    start += "serve(Path(sys.argv[1]), tell=lambda address: print(address, flush=True))"
    command = [sys.executable, "-c", start, str(folder)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    try:
        line = ""
        while "http://" not in line:
            line = server.stdout.readline()
            if not line:
                raise ConnectionError("the server ended")
        yield line[line.index("http://") :].split()[0].rstrip("/"), server
    finally:
        server.kill()
        server.wait()
        server.stdout.close()

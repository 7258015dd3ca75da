"""The command that serves the pages: its address, its end, its refusals."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request

from typer.testing import CliRunner

from firedeck.cli import EXIT_CODES, app


def test_pages_are_served_until_stopped(tmp_path):
    start = "from firedeck.cli import main; main()"
    command = [sys.executable, "-c", start, "serve", str(tmp_path), "--no-browser"]
    # A session of its own: the key that interrupts reaches all its processes, as in a terminal.
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as process:
        try:
            assert process.stdout is not None
            address = re.search(r"http://127\.0\.0\.1:\d+/", process.stdout.readline())[0]
            with urllib.request.urlopen(address, timeout=60) as answer:
                assert answer.status == 200
                assert "Nothing here yet" in answer.read().decode()
            order = json.dumps({"what": "example", "names": []}).encode()
            asked = urllib.request.Request(
                f"{address}jobs", data=order, headers={"Origin": address.rstrip("/")}
            )
            with urllib.request.urlopen(asked, timeout=60) as answer:
                assert answer.status == 202
            os.killpg(process.pid, signal.SIGINT)
            _, told = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode in (0, 130)
    assert process.returncode in EXIT_CODES
    assert "Traceback" not in told
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_none_is_refused(tmp_path):
    result = CliRunner().invoke(app, ["serve", str(tmp_path / "none"), "--no-browser"])
    assert result.exit_code == 2
    assert "no such folder" in result.output


def test_a_port_that_is_taken_is_refused(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = CliRunner().invoke(app, ["serve", str(tmp_path), "--no-browser", "--port", port])
    assert result.exit_code == 2
    assert "cannot be listened on" in result.output

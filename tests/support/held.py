"""Jobs of the pages that stop at their first word: none ends before a slow browser has cancelled it."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import TracebackType
from typing import Any

import pytest

from firedeck.web import jobs as book
from firedeck.web.worker_start import start_worker


class _Channel:
    """What a job tells; with its first word its process is stopped."""

    def __init__(self, process: BaseProcess, channel: Connection) -> None:
        self._process, self._channel, self._stopped = process, channel, False

    def __enter__(self) -> None:
        self._channel.__enter__()

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._channel.__exit__(kind, fault, trace)

    def recv(self) -> Any:
        told = self._channel.recv()
        if not self._stopped:
            _send(self._process, signal.SIGSTOP)
            self._stopped = True
        return told


def _send(process: BaseProcess, what: signal.Signals) -> None:
    assert process.pid is not None
    with suppress(ProcessLookupError):
        os.kill(process.pid, what)


@contextmanager
def jobs() -> Iterator[None]:
    """Stop every job that a server in this process begins, until it is asked to end."""

    def start(what: str, folder: Path, names: Sequence[str]) -> tuple[BaseProcess, _Channel]:
        process, channel = start_worker(what, folder, names)
        return process, _Channel(process, channel)

    def end(process: BaseProcess) -> None:
        end_job(process)
        _send(process, signal.SIGCONT)

    end_job = book._end
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(book, "start_worker", start)
        patch.setattr(book, "_end", end)
        yield

"""Processes for jobs, begun by one that has loaded all that they need."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence
from multiprocessing import Pipe, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from firedeck.web.worker import main

__all__ = ["start_worker"]

#: Loaded before the first job, and never again: a job that loaded it by itself would begin seconds later.
_LOADED = "firedeck.web.worker_loads"


def start_worker(what: str, folder: Path, names: Sequence[str]) -> tuple[BaseProcess, Connection]:
    """Start a job in a process of its own.

    Parameters
    ----------
    what : str
        A key of `firedeck.web.worker.JOBS`.
    folder : Path
        The bench.
    names : sequence of str
        Names of files in it.

    Returns
    -------
    BaseProcess
        The process, which ends when the connection is closed.
    Connection
        What the job tells comes from it.

    Raises
    ------
    OSError
        If the system has no process or no memory to give, or the process that jobs are begun from has ended.
    """
    own, others = Pipe()
    with others:
        try:
            return _begin(others, what, folder, names), own
        except EOFError as fault:
            own.close()
            raise ChildProcessError(errno.ECHILD, "what begins it has ended") from fault
        except OSError:
            own.close()
            raise


def _begin(channel: Connection, what: str, folder: Path, names: Sequence[str]) -> BaseProcess:
    """Start the process that has the other end of the server's connection."""
    arguments = (channel, dict(os.environ), what, str(folder), tuple(names))
    # Elsewhere the system's own libraries may not bear to be divided, and every job loads all for itself.
    if sys.platform == "linux":
        context = get_context("forkserver")
        context.set_forkserver_preload([_LOADED])
        process: BaseProcess = context.Process(target=main, args=arguments, daemon=True)
    else:
        process = get_context("spawn").Process(target=main, args=arguments, daemon=True)
    process.start()
    return process

"""What a piece of work costs the process that does it: time by the clock, processor time, memory."""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from types import TracebackType

__all__ = ["Cost", "peak_megabytes"]


class Cost:
    """Measures the work done inside a ``with`` block.

    Attributes
    ----------
    seconds : float
        Time by the clock [s].
    processor : float
        Processor time of all threads, user and system together [s].
    """

    def __init__(self) -> None:
        self.seconds = 0.0
        self.processor = 0.0

    def __enter__(self) -> Cost:
        self._start = time.perf_counter(), _processor_seconds()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.seconds = time.perf_counter() - self._start[0]
        self.processor = _processor_seconds() - self._start[1]


def _processor_seconds() -> float:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


def peak_megabytes() -> float:
    """Return the peak resident memory of this process [MB].

    Linux hands `ru_maxrss` of the parent on to the child it starts; the status file does not.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(text for text in status.read_text().splitlines() if text.startswith("VmHWM"))
        return int(line.split()[1]) * 1024 / 1e6
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6

"""Long work beside the server: one worker process at a time, in the order asked for.

The server keeps every job's state, so a page that is loaded again finds its job where it is.
"""

from __future__ import annotations

import threading
import uuid
from collections import deque
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Literal

from firedeck.errors import FiredeckError
from firedeck.web.unfinished import note_under_way
from firedeck.web.worker_start import start_worker

__all__ = ["Job", "JobBook"]

State = Literal["waiting", "running", "done", "failed", "cancelled"]

#: A worker that does not end when asked to is ended after this time [s].
_PATIENCE = 5.0

#: Jobs that wait and jobs that are remembered, at most.
_MOST_WAITING = 16
_MOST_KEPT = 60

#: How work needs less memory, where it ended without a word.
_LEANER = {
    "read": "it may have run out of memory; end other programs, then try again",
    "condense": "it may have run out of memory; end other programs, or take larger elements in the"
    " prediction, then try again",
}


@dataclass
class Job:
    """One job.

    Attributes
    ----------
    what : str
        A key of `firedeck.web.worker.JOBS`.
    names : tuple of str
        Files that it works on.
    title : str
        What it does, in words.
    target : str
        Page to open when it is done.
    key : str
        Its own key.
    state : str
        ``waiting``, ``running``, ``done``, ``failed`` or ``cancelled``.
    step : str
        What is being done.
    share : float
        Share done [1].
    fault : dict, optional
        Message, place and remedy where it failed.
    picture : str
        Name of a picture that shows why.
    """

    what: str
    names: tuple[str, ...]
    title: str
    target: str
    key: str = field(default_factory=lambda: uuid.uuid4().hex[:12])
    state: State = "waiting"
    step: str = "waiting"
    share: float = 0.0
    fault: dict[str, str] | None = None
    picture: str = ""

    @property
    def ended(self) -> bool:
        """Whether nothing more will happen to it."""
        return self.state in ("done", "failed", "cancelled")

    def plain(self) -> dict[str, Any]:
        """Return the job as plain data for its page."""
        return {**{name: value for name, value in vars(self).items() if name != "names"}, "names": self.names}


class JobBook:
    """All jobs of a server.

    Parameters
    ----------
    folder : Path
        Folder that the workers work in.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._jobs: dict[str, Job] = {}
        self._waiting: deque[Job] = deque()
        self._change = threading.Condition()
        self._process: BaseProcess | None = None
        self._closed = False
        self._runner: threading.Thread | None = None

    def add(self, job: Job) -> Job:
        """Take a job on; the same work that is still under way is not begun twice.

        Raises
        ------
        FiredeckError
            If too many wait already.
        """
        with self._change:
            for other in self._jobs.values():
                if not other.ended and (other.what, other.names) == (job.what, job.names):
                    return other
            if len(self._waiting) >= _MOST_WAITING:
                raise FiredeckError(
                    "too many jobs are waiting", remedy="wait for some of them, or cancel them"
                )
            self._jobs[job.key] = job
            self._waiting.append(job)
            self._forget()
            self._note()
            if self._runner is None:
                self._runner = threading.Thread(target=self._run, daemon=True)
                self._runner.start()
            self._change.notify_all()
            return job

    def _forget(self) -> None:
        ended = [key for key, job in self._jobs.items() if job.ended]
        for key in ended[: max(0, len(self._jobs) - _MOST_KEPT)]:
            del self._jobs[key]

    def _note(self) -> None:
        """Keep in the folder what is under way, so that it can be told after a server that was killed."""
        note_under_way(self.folder, [job.title for job in self._jobs.values() if not job.ended])

    def get(self, key: str) -> Job | None:
        """Return a job, or None where there is none of that key."""
        return self._jobs.get(key)

    def all(self) -> list[Job]:
        """Return all jobs, the newest first."""
        return list(reversed(self._jobs.values()))

    def cancel(self, job: Job) -> None:
        """Stop a job; what it had begun to write is cleared away."""
        with self._change:
            if job.ended:
                return
            running = job.state == "running"
            job.state, job.step = "cancelled", "cancelled"
            if not running:
                self._waiting.remove(job)
            elif self._process is not None:
                _end(self._process)
            self._note()

    def close(self) -> None:
        """Stop everything, for the server's end."""
        with self._change:
            self._closed = True
            self._waiting.clear()
            note_under_way(self.folder, [])
            working = self._process is not None
            if self._process is not None:
                _end(self._process)
            self._change.notify_all()
        # What is only being loaded for a job has nothing to clear away, and ends with the server.
        if working and self._runner is not None:
            self._runner.join(2 * _PATIENCE)

    def _run(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: self._waiting or self._closed)
                if self._closed:
                    return
                job = self._waiting.popleft()
                job.state, job.step = "running", "starting"
            try:
                # The first job waits here until what it needs is loaded, and others are answered meanwhile.
                process, channel = start_worker(job.what, self.folder, job.names)
            except OSError as fault:
                self._could_not_start(job, fault)
                continue
            with self._change:
                self._process = process
                if self._closed or job.state != "running":
                    _end(process)
            self._follow(job, process, channel)

    def _could_not_start(self, job: Job, fault: OSError) -> None:
        reason = (fault.strerror or type(fault).__name__).lower()
        with self._change:
            if job.state == "running":
                job.state, job.step = "failed", "stopped"
                job.fault = {
                    "message": f"the work could not be started ({reason})",
                    "where": "",
                    "remedy": "end other programs, or start the pages anew, then try again",
                }
            self._note()

    def _follow(self, job: Job, process: BaseProcess, channel: Connection) -> None:
        with channel:
            try:
                while True:
                    self._hear(job, channel.recv())
            except (EOFError, OSError):
                process.join()
        code = process.exitcode
        with self._change:
            self._process = None
            if job.state == "running":
                job.state = "done" if code == 0 else "failed"
                job.step, job.share = ("done", 1.0) if code == 0 else ("stopped", job.share)
            if job.state == "failed" and job.fault is None:
                job.fault = {
                    "message": "the work ended without a word",
                    "where": "",
                    "remedy": _LEANER.get(job.what, "it may have run out of memory; try again"),
                }
            if not self._closed:
                self._note()

    def _hear(self, job: Job, heard: dict[str, Any]) -> None:
        with self._change:
            if job.state != "running":
                return
            for name in ("step", "share", "fault", "picture"):
                if name in heard:
                    setattr(job, name, heard[name])


def _end(process: BaseProcess) -> None:
    process.terminate()
    timer = threading.Timer(_PATIENCE, process.kill)
    timer.daemon = True
    timer.start()

"""One job in a process of its own, which tells progress and outcome as it goes.

A process can be stopped at any moment, keeps the server quick and gives its memory back.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Mapping, Sequence
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from firedeck.errors import FiredeckError

__all__ = ["JOBS", "main", "work"]

#: Called with what has to be told: ``step`` and ``share``, ``fault``, or the name of a ``picture``.
Say = Callable[[dict[str, Any]], None]

#: Called with what is being done and the share done of it [1].
Tell = Callable[[str, float], None]


class Teller:
    """Tells what is being done and the share done of it, and what else has to be said.

    Parameters
    ----------
    say : callable
        Called with every message.
    """

    def __init__(self, say: Say) -> None:
        self.say = say
        self._furthest = 0.0

    def __call__(self, what: str, share: float) -> None:
        """Tell a step; the share [1] never falls: a step within may begin anew, the whole does not."""
        self._furthest = max(self._furthest, share)
        self.say({"step": what, "share": round(self._furthest, 3)})


def _read(folder: Path, names: list[str], tell: Teller) -> None:
    """Read one print and write its report."""
    from firedeck.film.registered import RegistrationError
    from firedeck.study.bench import Bench
    from firedeck.study.prints.laying import laying_of
    from firedeck.study.prints.output import write_reading, write_refusal
    from firedeck.study.prints.reading import read_print
    from firedeck.study.prints.stored_laying import write_laying

    bench = Bench(folder)
    bench.check_inside(names[0])
    record, out = bench.existing(names[0]), bench.report_to_write(names[0])
    try:
        reading = read_print(record, progress=lambda what, share: tell(what, 0.5 * share))
    except RegistrationError as refusal:
        _lay(folder, names, lambda what, share: tell(what, 0.5 + 0.4 * share))
        drawn = write_refusal(record, refusal, out)
        if drawn is not None:
            tell.say({"picture": drawn.name})
        raise
    write_reading(reading, out, progress=lambda what, share: tell(what, 0.5 + 0.5 * share))
    write_laying(laying_of(reading), bench.place(f"{names[0].removesuffix('.toml')}-laying"))


def _lay(folder: Path, names: list[str], tell: Tell) -> None:
    """Find sheet and holes on the scans of a test, and keep how they lie for its page."""
    from firedeck.study.bench import Bench
    from firedeck.study.prints.laying import look_at_scans
    from firedeck.study.prints.stored_laying import write_laying

    bench = Bench(folder)
    bench.check_inside(names[0])
    place = bench.place(f"{names[0].removesuffix('.toml')}-laying")
    write_laying(look_at_scans(bench.existing(names[0]), progress=tell), place)


def _compare(folder: Path, names: list[str], tell: Teller) -> None:
    """Read two prints and write their comparison."""
    from firedeck.study.bench import Bench
    from firedeck.study.prints.output import write_comparison
    from firedeck.study.prints.reading import compare_readings, read_print

    bench = Bench(folder)
    readings = []
    for place, name in enumerate(names):
        bench.check_inside(name)
        start = 0.4 * place

        def part(what: str, share: float, name: str = name, start: float = start) -> None:
            tell(f"{name}: {what}", start + 0.4 * share)

        readings.append(read_print(bench.existing(name), progress=part))
    tell("writing the comparison", 0.85)
    write_comparison(compare_readings(*readings), bench.comparison_of(*names))


def _calibrate(folder: Path, names: list[str], tell: Teller) -> None:
    """Calibrate a film from the scan of its pieces, write the curve into its batch, and the report."""
    from firedeck.film.pieces import PiecesError
    from firedeck.study.bench import Bench
    from firedeck.study.prints.calibrating import calibrate_film
    from firedeck.study.prints.found_pieces import write_pieces_refusal
    from firedeck.study.prints.output import write_calibration

    bench = Bench(folder)
    bench.check_calibration_inside(names[0])
    record, out = bench.existing(names[0]), bench.calibration_of(names[0])
    refused = bench.place(f"{out.name}-refused.png")
    refused.unlink(missing_ok=True)
    try:
        result = calibrate_film(record, progress=tell)
    except PiecesError as refusal:
        tell("drawing what was found", 0.9)
        tell.say({"picture": write_pieces_refusal(record, refusal, out).name})
        raise
    tell("drawing the report", 0.95)
    write_calibration(result, out)


def _condense(folder: Path, names: list[str], tell: Teller) -> None:
    """Condense head and block of a prediction, on its own gasket or on another, into the cache."""
    from firedeck.study.bench import Bench
    from firedeck.study.cache import cache_folder, cache_store
    from firedeck.study.clamp.condensing import TellingStore
    from firedeck.study.clamp.opened import open_joint

    bench = Bench(folder)
    bench.check_prediction_inside(names[0])
    gasket = names[1] if len(names) > 1 else ""
    store = TellingStore(cache_store(), tell)
    open_joint(bench.existing(names[0]), gasket, store, progress=tell)
    store.check_kept(str(cache_folder()))


def _example(folder: Path, names: list[str], tell: Teller) -> None:
    """Write the files of the invented engine into the folder."""
    from firedeck.study.bench import Bench
    from firedeck.web.example import lay_out_example

    del names
    lay_out_example(Bench(folder), progress=tell)


#: What a worker can do.
JOBS: dict[str, Callable[[Path, list[str], Teller], None]] = {
    "read": _read,
    "lay": _lay,
    "compare": _compare,
    "calibrate": _calibrate,
    "condense": _condense,
    "example": _example,
}


def work(what: str, folder: Path, names: Sequence[str], say: Say) -> int:
    """Do one job.

    Parameters
    ----------
    what : str
        A key of `JOBS`.
    folder : Path
        The bench.
    names : sequence of str
        Names of files in it.
    say : callable
        Called with every message: ``step`` and ``share``, ``fault``, or the name of a ``picture``.

    Returns
    -------
    int
        0 where it was done.
    """
    try:
        JOBS[what](folder, list(names), Teller(say))
    except FiredeckError as fault:
        say({"fault": {"message": fault.message, "where": fault.where, "remedy": fault.remedy}})
        return 2
    except Exception as fault:  # whatever it is, a person is told in plain words
        traceback.print_exc()
        message = f"firedeck has a fault of its own ({type(fault).__name__}) and stopped"
        say(
            {
                "fault": {
                    "message": message,
                    "where": "",
                    "remedy": "the details stand in the terminal that runs the pages; please pass them on",
                }
            }
        )
        return 3
    return 0


def main(
    server: Connection, environment: Mapping[str, str], what: str, folder: str, names: tuple[str, ...]
) -> None:
    """Do one job as a process of a server.

    Parameters
    ----------
    server : Connection
        The other end is the server's: messages go there, and the work stops when it is closed.
    environment : mapping
        Variables of the environment, the server's; this process may have been begun by another.
    what, folder, names
        As for `work`.
    """
    # Stopped from outside, the draft of a report must still be cleared away. A key that interrupts the
    # server reaches this process too, and is the server's business.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.clear()
    os.environ.update(environment)
    threading.Thread(target=_end_with, args=(server,), daemon=True).start()
    sys.exit(work(what, Path(folder), names, server.send))


def _end_with(server: Connection) -> None:
    """Stop, with all drafts cleared away, when the server is gone."""
    try:
        server.recv()  # a server says nothing
    except (EOFError, OSError):
        os.kill(os.getpid(), signal.SIGTERM)

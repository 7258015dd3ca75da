"""What jobs need, loaded once by the process that all of a server's jobs are begun from.

Nothing else takes this module in: it settles how many threads linear algebra may have, before that is loaded,
and what interrupts.
"""

# ruff: noqa: E402, F401 - loaded for others, in an order that matters

import os
import signal

# A key that interrupts the server reaches this process too, and is the server's business.
signal.signal(signal.SIGINT, signal.SIG_IGN)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from firedeck.kernel.circle import fit_circle
from firedeck.study.bench import Bench
from firedeck.study.clamp.condensing import TellingStore
from firedeck.study.clamp.opened import open_joint
from firedeck.study.prints.calibrating import calibrate_film
from firedeck.study.prints.laying import look_at_scans
from firedeck.study.prints.output import write_reading
from firedeck.study.prints.reading import read_print
from firedeck.study.prints.stored_laying import write_laying

# The first kernel that is called, whichever it is, has the compiler's own tables loaded.
fit_circle(np.eye(4, 2), (0.0, 0.0, 1.0), 1)

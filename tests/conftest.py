"""What every test shares: no window for pictures, and no clock on generated cases."""

from __future__ import annotations

import os

import hypothesis

os.environ["MPLBACKEND"] = "Agg"

# The first case of a law may wait for a kernel to be compiled. Where CI is set, hypothesis takes its
# own profile of that name: the same cases at every run, no deadline.
hypothesis.settings.register_profile("firedeck", deadline=None)
if not os.environ.get("CI"):
    hypothesis.settings.load_profile("firedeck")

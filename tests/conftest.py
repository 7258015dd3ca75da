"""What every test shares: no window for pictures, no clock on generated cases, what is dear made once."""

from __future__ import annotations

import os

import hypothesis
import pytest

from tests.support import once

os.environ["MPLBACKEND"] = "Agg"

# The first case of a law may wait for a kernel to be compiled. Where CI is set, hypothesis takes its
# own profile of that name: the same cases at every run, no deadline.
hypothesis.settings.register_profile("firedeck", deadline=None)
if not os.environ.get("CI"):
    hypothesis.settings.load_profile("firedeck")


@pytest.fixture(scope="session", autouse=True)
def _made_once(tmp_path_factory):
    """Let all workers of this run share what is dear to make."""
    own = tmp_path_factory.getbasetemp()
    once.share_in((own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "made-once")


#: Files that take longest, by the start of their names: begun first, they leave no processor idle at the end.
_LONG = (
    *("test_cli", "test_pages", "test_scenario", "test_truth", "test_calculix"),
    *("test_plain_reading", "test_masks", "test_volume_mesh"),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first, in the order named.

    The pages come after the commands, so that no two workers begin by waiting for the same bench.
    """
    items.sort(key=lambda item: _place(item.path.name))


def _place(name: str) -> int:
    return next((place for place, start in enumerate(_LONG) if name.startswith(start)), len(_LONG))

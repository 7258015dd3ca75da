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
_LONG = ("test_pages", "test_cli", "test_calculix", "test_breach", "test_contact", "test_truth")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first."""
    items.sort(key=lambda item: not item.path.name.startswith(_LONG))

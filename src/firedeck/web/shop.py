"""What all pages of one server share: the bench, its jobs, the readings that are open, the templates."""

from __future__ import annotations

import functools
import re
import threading
from collections import OrderedDict
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from starlette.requests import Request
from starlette.responses import HTMLResponse

from firedeck import __version__
from firedeck.errors import FiredeckError
from firedeck.study.bench import Bench
from firedeck.study.editing.drafts import Drafts
from firedeck.study.editing.state_changes import States
from firedeck.study.prints.stored_reading import StoredReading
from firedeck.web.clamp_book import ClampBook
from firedeck.web.jobs import JobBook
from firedeck.web.modules import module_links
from firedeck.web.unfinished import clear_unfinished

__all__ = ["SIGNS", "Shop", "shop_of"]

#: Readings kept open at once; each holds its record, the map itself stays on disk.
_MOST_OPEN = 3

#: Signs that go with the words of a verdict, so that colour is never alone.
SIGNS = {"holds": "✓", "marginal": "△", "gives": "✕", "not shown": "?"}


class Shop:
    """Everything behind the pages of one folder.

    Parameters
    ----------
    folder : Path
        The bench.
    """

    def __init__(self, folder: Path) -> None:
        self.bench = Bench(folder)
        self.cut_short = clear_unfinished(self.bench.folder)
        self.jobs = JobBook(self.bench.folder)
        self.clamps = ClampBook(self.bench)
        self.drafts = Drafts(self.bench)
        self.states = States()
        self._open: OrderedDict[tuple[str, int], StoredReading] = OrderedDict()
        self._lock = threading.Lock()
        places = resources.files("firedeck.web").joinpath("templates")
        self.templates = jinja2.Environment(
            loader=jinja2.FunctionLoader(lambda name: places.joinpath(name).read_text(encoding="utf-8")),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.filters["sign"] = lambda state: SIGNS.get(state, "")
        self.templates.filters["slug"] = lambda text: re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
        self.templates.globals.update(
            version=__version__, bench_name=self.bench.folder.name, module_links=module_links
        )

    def reading(self, record: str) -> StoredReading:
        """Open the reading of a film test, or return it where it is open already.

        Raises
        ------
        FiredeckError
            If the test was not read.
        """
        report = self.bench.report_of(record)
        if report is None:
            raise FiredeckError(
                "this print was not read yet", where=record, remedy="read it from the bench page"
            )
        key = (record, (report / "reading.json").stat().st_mtime_ns)
        with self._lock:
            if key not in self._open:
                for old in [known for known in self._open if known[0] == record]:
                    del self._open[old]
                self._open[key] = StoredReading(report)
                while len(self._open) > _MOST_OPEN:
                    self._open.popitem(last=False)
            self._open.move_to_end(key)
            return self._open[key]

    def page(self, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:  # noqa: ANN401 - whatever a template shows
        """Return a page."""
        text = self._template(template).render(**values)
        return HTMLResponse(text, status_code=status)

    @functools.cache  # noqa: B019 - a server has one of these, for as long as it runs
    def _template(self, name: str) -> jinja2.Template:
        return self.templates.get_template(name)


def shop_of(request: Request) -> Shop:
    """Return what the request's server shares."""
    shop = request.app.state.shop
    assert isinstance(shop, Shop)
    return shop

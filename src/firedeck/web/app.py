"""The application: which address leads where, and how a fault is told."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib import resources
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from firedeck.errors import FiredeckError
from firedeck.web import (
    against_pages,
    bench_pages,
    calibration_pages,
    clamp_pages,
    editing_pages,
    film_pages,
    imports,
    job_pages,
    lay_pages,
    record_pages,
)
from firedeck.web.guard import PATIENCE, Guard
from firedeck.web.shop import Shop, shop_of

__all__ = ["create_app"]


def create_app(folder: Path) -> Starlette:
    """Return the application over a bench folder.

    Parameters
    ----------
    folder : Path
        The bench.

    Returns
    -------
    Starlette
        The application.

    Raises
    ------
    FiredeckError
        If there is no such folder.
    """
    shop = Shop(folder)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        yield
        shop.jobs.close()

    static = str(resources.files("firedeck.web").joinpath("static"))
    app = Starlette(
        routes=[
            *bench_pages.ROUTES,
            *film_pages.ROUTES,
            *against_pages.ROUTES,
            *lay_pages.ROUTES,
            *editing_pages.ROUTES,
            *clamp_pages.ROUTES,
            *record_pages.ROUTES,
            *calibration_pages.ROUTES,
            *job_pages.ROUTES,
            *imports.ROUTES,
            Route("/cautions", _cautions),
            Mount("/static", StaticFiles(directory=static)),
        ],
        middleware=[Middleware(Guard)],
        exception_handlers={FiredeckError: _fault, HTTPException: _missing},
        lifespan=lifespan,
    )
    app.state.shop = shop
    app.state.largest_import = imports.LARGEST_IMPORT
    app.state.patience = PATIENCE
    return app


def _cautions(request: Request) -> Response:
    from firedeck.report.cautions import FASTENER_CAUTIONS, duty_limits_section, limits_section

    sections = {"Reading a print": limits_section(), "Cylinder pressure": duty_limits_section()}
    return shop_of(request).page("cautions.html.j2", sections=sections, fasteners=FASTENER_CAUTIONS)


def _fault(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, FiredeckError)
    return _tell(request, 422, fault.message, fault.where, fault.remedy)


def _missing(request: Request, fault: Exception) -> Response:
    assert isinstance(fault, HTTPException)
    text = "there is no such page here" if fault.status_code == 404 else str(fault.detail)
    return _tell(request, fault.status_code, text, "", "start from the bench page")


def _tell(request: Request, status: int, message: str, where: str, remedy: str) -> Response:
    if "text/html" in request.headers.get("accept", ""):
        return shop_of(request).page(
            "fault.html.j2", status=status, message=message, where=where, remedy=remedy
        )
    told = {"message": message, "where": where, "remedy": remedy}
    return JSONResponse({"fault": told}, status_code=status)

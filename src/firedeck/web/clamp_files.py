"""What the clamp page hands out as files: pictures, tables, and a read print beside the predicted one."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.drawing.beside_picture import beside_figure
from firedeck.drawing.picture_file import save
from firedeck.errors import FiredeckError
from firedeck.study.clamp.answer import TABLES, answer_columns, answer_of
from firedeck.study.clamp.beside import stored_beside
from firedeck.study.clamp.opened import OpenJoint
from firedeck.study.clamp.pictures import PICTURES, PRINT_PICTURES, draw_clamp
from firedeck.study.columns import Columns, as_rows, plain
from firedeck.study.prediction.beside import PrintBeside, beside_columns
from firedeck.web.clamp_asked import asked_joint, asked_setting, asked_step
from firedeck.web.shop import Shop, shop_of

__all__ = ["ROUTES", "read_prints"]

_IMAGES = {".png": "image/png", ".svg": "image/svg+xml"}


def _picture(request: Request) -> Response:
    name = Path(request.path_params["name"])
    if name.stem not in PICTURES | PRINT_PICTURES or name.suffix not in _IMAGES:
        raise HTTPException(404)
    opened, doubts = asked_joint(request)
    setting = asked_setting(request, opened)
    if name.stem in PRINT_PICTURES:
        # The print takes no answer of its own: it is that of the tightening alone.
        shown = answer_of(opened, setting, quick=True)
    else:
        shown = answer_of(opened, setting, level="check", step=asked_step(request))
    return _drawn(draw_clamp(opened, shown, name.stem, doubts), name)


def _drawn(figure: Figure, name: Path) -> Response:
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / name.name
        save(figure, path)
        return Response(path.read_bytes(), media_type=_IMAGES[name.suffix])


def _table(request: Request) -> Response:
    name = Path(request.path_params["name"])
    if name.stem not in TABLES or name.suffix != ".csv":
        raise HTTPException(404)
    opened, doubts = asked_joint(request)
    shown = answer_of(opened, asked_setting(request, opened), level="check", step=asked_step(request))
    return _listed(answer_columns(opened, shown, name.stem, doubts), name)


def _listed(columns: Columns, name: Path) -> Response:
    from firedeck.files.table_file import write_table

    if not columns:
        raise FiredeckError("this table has no rows for this joint")
    with tempfile.TemporaryDirectory() as scratch:
        stem = Path(scratch) / name.stem
        write_table(stem, columns, units={})
        text = stem.with_suffix(".csv").read_bytes()
    return Response(text, media_type="text/csv; charset=utf-8")


def read_prints(shop: Shop, opened: OpenJoint) -> list[dict[str, Any]]:
    """Return the read prints of a joint's gasket on its deck."""
    found = []
    prediction = opened.files.prediction
    for test in shop.bench.tests():
        if not test.report:
            continue
        record = shop.bench.check_inside(test.file.name)
        if (record.deck, record.gasket) == (prediction.deck, prediction.gasket):
            found.append(
                {
                    "stem": test.file.stem,
                    "title": test.file.title,
                    "headline": test.headline,
                    "current": test.current,
                }
            )
    return found


def _pair(request: Request) -> PrintBeside:
    shop = shop_of(request)
    opened, _ = asked_joint(request)
    stem = request.path_params["test"]
    if stem not in {one["stem"] for one in read_prints(shop, opened)}:
        raise HTTPException(404)
    return stored_beside(opened, asked_setting(request, opened), shop.reading(f"{stem}.toml"))


def _beside(request: Request) -> Response:
    name = Path(request.path_params["name"])
    known = name.stem == "beside" and name.suffix in (*_IMAGES, ".csv", ".json")
    if not known:
        raise HTTPException(404)
    pair = _pair(request)
    if name.suffix in _IMAGES:
        return _drawn(beside_figure(pair.predicted.plan, [(pair.name, pair.curves)]), name)
    columns = beside_columns([pair])
    if name.suffix == ".csv":
        return _listed(columns, name)
    return JSONResponse({"rows": plain(as_rows(columns))})


ROUTES = [
    Route("/clamp/{prediction}/picture/{name}", _picture),
    Route("/clamp/{prediction}/table/{name}", _table),
    Route("/clamp/{prediction}/print/{test}/{name}", _beside),
]

"""Files brought into the bench: written to disk as they come, whatever their size."""

from __future__ import annotations

import uuid

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from firedeck.errors import FiredeckError
from firedeck.files.definition_file import LARGEST_FILE
from firedeck.web.shop import shop_of
from firedeck.web.unfinished import DRAFT_START

__all__ = ["LARGEST_IMPORT", "ROUTES"]

#: Largest file that may be brought in [bytes]; a 16-bit colour scan of A3 at 1200 dpi fits.
LARGEST_IMPORT = 2_000_000_000

#: So much of a file's name is in its draft's name, to be told if the server is killed [characters].
_TOLD = 50


async def _bring(request: Request) -> Response:
    shop = shop_of(request)
    name = request.path_params["name"]
    target = shop.bench.new_file(name, replace="replace" in request.query_params)
    limit = LARGEST_FILE if target.suffix.lower() == ".toml" else request.app.state.largest_import
    told = request.headers.get("content-length", "0")
    if not told.isdigit() or int(told) > limit:
        raise _too_large(limit)
    # The name begins with a point: it is no file of the bench before it is whole.
    draft = shop.bench.folder / f"{DRAFT_START}{uuid.uuid4().hex[:8]}-{target.name[:_TOLD]}"
    try:
        size = 0
        with draft.open("xb") as file:
            async for part in request.stream():
                size += len(part)
                if size > limit:
                    raise _too_large(limit)
                file.write(part)
        shop.bench.new_file(name, replace="replace" in request.query_params)
        draft.replace(target)
    except OSError as fault:
        reason = (fault.strerror or type(fault).__name__).lower()
        raise FiredeckError(
            f"the file cannot be written ({reason})", where=name, remedy="check rights and space"
        ) from fault
    except ClientDisconnect:
        return Response(status_code=400)
    finally:
        draft.unlink(missing_ok=True)
    return JSONResponse({"name": target.name, "size": size}, status_code=201)


def _too_large(limit: int) -> HTTPException:
    return HTTPException(413, f"files of more than {limit / 1e6:.0f} MB are not taken")


ROUTES = [Route("/import/{name}", _bring, methods=["PUT"])]

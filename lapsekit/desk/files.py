"""The desk's own style, scripts and fonts."""

from functools import cache
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get
from lapsekit.web.static import StaticFile, static_files


@cache
def _known() -> dict[str, StaticFile]:
    return static_files([Path(__file__).parent / "static"])


def _file(asked: Asked) -> Response:
    known = _known().get(asked.named["name"])
    if known is None:
        raise HTTPException(404)
    if asked.etag == known.mark:
        return Response(status_code=304, headers=known.head())
    return Response(known.content, media_type=known.kind, headers=known.head())


ROUTES = (get("/static/{name}", _file),)

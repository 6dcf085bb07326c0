"""The desk's own style, scripts and fonts: a fixed list, read once; no request names a file."""

import hashlib
from functools import cache
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get
from lapsekit.resources import shared_folder

_STATIC = Path(__file__).parent / "static"
_KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}


@cache
def _known() -> dict[str, tuple[bytes, str, str]]:
    """Content, kind and mark of each file, by its name."""
    fonts = (shared_folder("site_template") / "fonts").glob("*.woff2")
    found = {}
    for path in sorted([*_STATIC.iterdir(), *fonts]):
        if path.suffix in _KINDS:
            content = path.read_bytes()
            mark = f'"{hashlib.sha256(content).hexdigest()[:16]}"'
            found[path.name] = (content, _KINDS[path.suffix], mark)
    return found


def _file(asked: Asked) -> Response:
    known = _known().get(asked.named["name"])
    if known is None:
        raise HTTPException(404)
    content, kind, mark = known
    headers = {"etag": mark, "cache-control": "no-cache"}
    if asked.etag == mark:
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=kind, headers=headers)


ROUTES = (get("/static/{name}", _file),)

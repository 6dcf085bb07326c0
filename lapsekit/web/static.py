"""Files that a server gives out: a fixed list, read once; no request names a file on the disk."""

import hashlib
from dataclasses import dataclass
from functools import cache, partial
from http import HTTPStatus
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from lapsekit.resources import shared_folder

_KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}


@dataclass(frozen=True)
class StaticFile:
    """Content of a file, its media type, and a mark that changes with it."""

    content: bytes
    kind: str
    mark: str

    def head(self) -> dict[str, str]:
        """What browsers are told: to ask each time whether it is still that one."""
        return {"etag": self.mark, "cache-control": "no-cache"}


def static_route(folder: Path) -> Route:
    """The route to a folder's files and the almanac's fonts, which are read when first asked for.

    A name that is none of theirs is answered as not found.
    """
    known = cache(partial(_files, folder))

    async def answer(request: Request) -> Response:
        file = known().get(request.path_params["name"])
        if file is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        if request.headers.get("if-none-match") == file.mark:
            return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=file.head())
        return Response(file.content, media_type=file.kind, headers=file.head())

    return Route("/static/{name}", answer)


def _files(folder: Path) -> dict[str, StaticFile]:
    """Styles, scripts and pictures of a folder, and the almanac's fonts, by their names."""
    fonts = (shared_folder("site_template") / "fonts").glob("*.woff2")
    found = {}
    for path in sorted([*folder.iterdir(), *fonts]):
        if path.suffix in _KINDS:
            content = path.read_bytes()
            mark = f'"{hashlib.sha256(content).hexdigest()[:16]}"'
            found[path.name] = StaticFile(content, _KINDS[path.suffix], mark)
    return found

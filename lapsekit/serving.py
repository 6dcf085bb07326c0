"""A preview of the site on this machine only."""

import errno
import re
import sys
from collections.abc import Callable
from functools import partial
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import IO

from lapsekit.errors import SiteError

_RANGE = re.compile(r"bytes=(\d+)-(\d*)")
_TRIES = 20


class _Preview(SimpleHTTPRequestHandler):
    """Serves files, and parts of files, which browsers need to seek in a film."""

    protocol_version = "HTTP/1.1"
    extensions_map = SimpleHTTPRequestHandler.extensions_map | {
        ".atom": "application/atom+xml",
        ".avif": "image/avif",
        ".ics": "text/calendar",
        ".vtt": "text/vtt",
        ".wasm": "application/wasm",
        ".woff2": "font/woff2",
        ".mp4": "video/mp4",
        ".js": "text/javascript",
    }
    _left: int | None = None

    def send_head(self) -> IO[bytes] | None:
        self._left = None
        wanted = _RANGE.fullmatch(self.headers.get("Range", ""))
        path = Path(self.translate_path(self.path))
        if wanted is None or not path.is_file():
            return super().send_head()
        size = path.stat().st_size
        first = int(wanted[1])
        last = min(int(wanted[2] or size - 1), size - 1)
        if first > last:
            self.send_error(HTTPStatus.REQUESTED_RANGE_NOT_SATISFIABLE)
            return None
        file = path.open("rb")
        file.seek(first)
        self._left = last - first + 1
        self.send_response(HTTPStatus.PARTIAL_CONTENT)
        self.send_header("Content-Type", self.guess_type(str(path)))
        self.send_header("Content-Range", f"bytes {first}-{last}/{size}")
        self.send_header("Content-Length", str(self._left))
        self.end_headers()
        return file

    def copyfile(self, source: IO[bytes], outputfile: IO[bytes]) -> None:
        if self._left is None:
            return super().copyfile(source, outputfile)
        while self._left and (block := source.read(min(self._left, 1 << 16))):
            outputfile.write(block)
            self._left -= len(block)
        return None

    def end_headers(self) -> None:
        self.send_header("Accept-Ranges", "bytes")
        self.send_header("Cache-Control", "no-cache")
        super().end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing for each request."""


class _Server(ThreadingHTTPServer):
    def handle_error(self, *_: object) -> None:
        """Keep quiet about a browser that hung up, which players do when they seek."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(*_)


def open_server(folder: Path, port: int) -> ThreadingHTTPServer:
    """A server of `folder` on the loopback address, not yet running.

    Parameters
    ----------
    folder : pathlib.Path
        The site.
    port : int
        Port to try first; the next ones follow if it is taken. 0 for any free one.

    Raises
    ------
    SiteError
        If there is no site, or no port is free.
    """
    if not (folder / "index.html").is_file():
        raise SiteError(f"{folder}: no site there yet; run lapsekit site first")
    handler = partial(_Preview, directory=str(folder))
    for candidate in range(port, min(port + _TRIES, 65536)):
        try:
            return _Server(("127.0.0.1", candidate), handler)
        except OSError as error:
            if error.errno not in {errno.EADDRINUSE, errno.EACCES}:
                raise
    raise SiteError(f"no free port from {port} to {port + _TRIES - 1}; name another with --port")


def serve(folder: Path, port: int, tell: Callable[[str], None]) -> None:
    """Serve `folder` on loopback until interrupted; `tell` is given the address to open."""
    with open_server(folder, port) as server:
        tell(f"http://127.0.0.1:{server.server_address[1]}/")
        server.serve_forever()

"""A folder of a WebDAV server (RFC 4918): files are put beside, then moved over the old ones.

Most programs replace a file there in place, and a reader may meet half a page. Here a page is whole
at every moment as far as the server's own MOVE is.
"""

import secrets
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import wraps
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote, urlsplit
from xml.etree import ElementTree

from lapsekit import settings
from lapsekit.errors import MissingExtra, TransferError
from lapsekit.places.deadlines import Deadline
from lapsekit.places.fetching import fetch_each
from lapsekit.safely import PART, leads_out

if TYPE_CHECKING:
    import httpx

CONNECT_S, ANSWER_S = 20.0, 60.0
_CHUNK = 1 << 16
_DAV = "{DAV:}"
_ASK = (
    b'<?xml version="1.0"?><propfind xmlns="DAV:"><prop><resourcetype/><getcontentlength/></prop>'
    b"</propfind>"
)
_MARK = 8
_MOST_DEEP = 40  # folders in folders; a server could make up ever more


def _connected(method: Callable) -> Callable:
    """Open a connection for a call, and limit its time, unless a call around it has done so."""

    @wraps(method)
    def call(self: "WebDav", *given, **named):
        if self._client is not None:
            return method(self, *given, **named)
        client = _client(self._model.user, self._password)
        with client as self._client, Deadline(self._model.time_limit_s) as self._deadline:
            try:
                return method(self, *given, **named)
            finally:
                self._client = self._deadline = None

    return call


class WebDav:
    """A folder of a WebDAV server.

    Parameters
    ----------
    model : settings.FarTable
        Its target is the folder's address.
    password : str or None
        Of `model.user`.
    """

    caution = ""

    def __init__(self, model: settings.FarTable, password: str | None):
        self._model = model
        self._base = f"{str(model.target).rstrip('/')}/"
        self._password = password
        self._client: httpx.Client | None = None
        self._deadline: Deadline | None = None
        self._made: set[str] = set()
        self._looked_into: dict[str, dict[str, int | None]] = {}

    def __str__(self) -> str:
        return str(self._model.target)

    @_connected
    def read(self, name: str) -> bytes | None:
        """Content of a file there; None if there is none."""
        answer = self._ask("GET", name, allowed=(404, 405))
        return answer.content if answer.status_code == 200 else None

    @_connected
    def send(self, root: Path, names: Sequence[str]) -> None:
        """Put files there, each beside and then in its place."""
        for name in names:
            self._make_folder(PurePosixPath(name).parent)
            path = PurePosixPath(name)
            part = str(path.with_name(f"{PART}{secrets.token_hex(_MARK // 2)}-{path.name}"))
            try:
                size = (root / name).stat().st_size
            except OSError as error:
                raise TransferError(f"{root / name}: {error.strerror}") from error
            self._ask("PUT", part, content=self._slowly(root / name),
                      headers={"Content-Length": str(size)})  # fmt: skip
            self._ask("MOVE", part, headers={"Destination": self._url(name), "Overwrite": "T"})

    @_connected
    def fetch(self, names: Sequence[str], into: Path) -> None:
        """Bring files back; those that are gone stay away."""
        fetch_each(self.read, names, into)

    @_connected
    def sizes(self, names: Sequence[str]) -> dict[str, int | None]:
        """Bytes of those of these files that are there: one question for each of their folders.

        What breaks off goes on from there when it is tried again: over a poor line, the hundreds of
        questions that a season takes would never all be answered in one go.
        """
        there: dict[str, int | None] = {}
        for folder in sorted({str(PurePosixPath(name).parent) for name in names}):
            if folder not in self._looked_into:
                self._looked_into[folder] = self._inside(folder)[0]
            for name, size in self._looked_into[folder].items():
                there[str(PurePosixPath(folder) / name)] = size
        self._looked_into.clear()
        return {name: there[name] for name in names if name in there}

    @_connected
    def differing(self, root: Path, names: Sequence[str]) -> list[str]:
        """Those of a folder's files whose content there is another, or that are not there."""
        try:
            return [name for name in names if self.read(name) != (root / name).read_bytes()]
        except OSError as error:
            raise TransferError(f"{error.filename}: {error.strerror}") from error

    @_connected
    def listed(self, folder: str) -> list[str]:
        """All files in a folder there and in those inside."""
        inside = PurePosixPath(folder)
        if len(inside.parts) > _MOST_DEEP:
            raise TransferError(f"{self}: lists folders in folders without end")
        files, folders = self._inside(folder)
        found = [str(inside / name) for name in files if not name.startswith(PART)]
        return sorted([*found, *(f for name in folders for f in self.listed(str(inside / name)))])

    @_connected
    def top(self) -> list[str]:
        """What lies at the top there."""
        files, folders = self._inside(".")
        return sorted([*files, *folders])

    @_connected
    def remove(self, names: Sequence[str]) -> None:
        """Delete files; those that are gone already are no fault."""
        for name in names:
            self._ask("DELETE", name, allowed=(404,))

    @_connected
    def tidy(self, names: Collection[str]) -> None:
        """Delete what was put beside and never moved."""
        for folder in {str(PurePosixPath(name).parent) for name in names}:
            for file in self._inside(folder)[0]:
                own = file.removeprefix(PART)[_MARK + 1 :] if file.startswith(PART) else ""
                if str(PurePosixPath(folder) / own) in names:
                    self.remove([str(PurePosixPath(folder) / file)])

    def _url(self, name: str) -> str:
        return self._base if name == "." else self._base + quote(name)

    def _ask(self, method: str, name: str, allowed: Collection[int] = (), **more):
        import httpx

        try:
            seen = {"trace": self._deadline.watch}
            answer = self._client.request(method, self._url(name), extensions=seen, **more)
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            self._require_time()
            raise TransferError(f"{self}: {error or type(error).__name__}") from error
        except OSError as error:
            raise TransferError(f"{error.filename or self}: {error.strerror}") from error
        self._require_time()  # an answer that was cut off may look like a short one
        if answer.status_code >= 400 and answer.status_code not in allowed:
            hint = "; check user and password_file" if answer.status_code in (401, 403) else ""
            told = f"{self}: {method} {name} was answered {answer.status_code}"
            raise TransferError(f"{told} {answer.reason_phrase}{hint}")
        return answer

    def _require_time(self) -> None:
        if self._deadline.is_over:
            limit_s = self._model.time_limit_s
            raise TransferError(f"{self}: the transfer did not end within {limit_s:g} s")

    def _make_folder(self, folder: PurePosixPath) -> None:
        """Make a folder and those around it; one that is there already answers 405."""
        for part in [*reversed(folder.parents), folder]:
            if str(part) not in self._made:
                self._ask("MKCOL", f"{part}/" if str(part) != "." else ".", allowed=(405, 409, 301))
                self._made.add(str(part))

    def _inside(self, folder: str) -> tuple[dict[str, int | None], list[str]]:
        """Sizes of the files and names of the folders in a folder; none where there is none."""
        name = folder if folder == "." else f"{folder}/"
        answer = self._ask("PROPFIND", name, (404, 405), content=_ASK, headers={"Depth": "1"})
        if answer.status_code != 207:
            return {}, []
        files, folders = {}, []
        own = unquote(urlsplit(self._url(name)).path).rstrip("/")
        try:
            responses = ElementTree.fromstring(answer.content).iter(f"{_DAV}response")
            for response in responses:
                path = urlsplit(response.findtext(f"{_DAV}href", "")).path.rstrip("/")
                inside = unquote(path.rsplit("/", 1)[-1])
                is_folder = response.find(f".//{_DAV}collection") is not None
                if unquote(path) == own or not _is_name(inside):
                    continue
                if is_folder:
                    folders.append(inside)
                else:
                    size = response.findtext(f".//{_DAV}getcontentlength") or ""
                    files[inside] = int(size) if size.isdecimal() else None
        except ElementTree.ParseError as error:
            raise TransferError(f"{self}: its list of {folder} cannot be read ({error})") from error
        return files, folders

    def _slowly(self, file: Path) -> Iterator[bytes]:
        """A file in pieces, no faster than the bandwidth allowed."""
        limit, sent, began = self._model.bandwidth_kb_s, 0, time.monotonic()
        with file.open("rb") as opened:
            while piece := opened.read(_CHUNK):
                yield piece
                sent += len(piece)
                if limit:
                    ahead = sent / (limit * 1000) - (time.monotonic() - began)
                    self._deadline.pause(ahead)
                    self._require_time()


def _is_name(name: str) -> bool:
    """Whether a server's name of a file or folder is one, and leads nowhere else."""
    return name != "." and "/" not in name and not leads_out(name)


def _client(user: str | None, password: str | None) -> "httpx.Client":
    try:
        import httpx
    except ImportError as error:
        raise MissingExtra('to = "webdav"', "webdav") from error
    auth = None if user is None else httpx.BasicAuth(user, password or "")
    limits = httpx.Timeout(ANSWER_S, connect=CONNECT_S)
    return httpx.Client(auth=auth, timeout=limits, follow_redirects=False)

"""Stands before every request: host, method, origin, session, size, rate; tells browsers the rest.

What is refused, and why:

- a ``Host`` that is not one of ours: a name that somebody pointed at this machine would make a
  browser take their page for ours (DNS rebinding);
- a change (POST) that comes from a page of another origin, by ``Origin`` and by Fetch Metadata, or
  without the token that the session's own forms hold;
- whatever another site tries to read or to embed (Fetch Metadata; Cross-Origin-Resource-Policy);
- bodies above a limit, counted as they come, and those that take too long;
- too many requests of one address.
"""

import asyncio
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from lapsekit.web.limits import Rate, Seconds
from lapsekit.web.sessions import Session, Sessions

FORM_TOKEN = "form_token"
TOKEN_HEADER = b"x-form-token"

POLICY = (
    "default-src 'none'; img-src 'self' blob:; media-src 'self' blob:; style-src 'self'; "
    "font-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
"""No script and no style but our own files; nothing from elsewhere; no page of ours in a frame."""

_HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)
_FOR_A_YEAR = (b"strict-transport-security", b"max-age=31536000")
_METHODS = ("GET", "HEAD", "POST")


class Refused(Exception):
    """A request that is not answered; `status`, and a sentence for whoever asks."""

    def __init__(self, status: HTTPStatus, why: str):
        super().__init__(why)
        self.status = status


@dataclass(frozen=True, kw_only=True)
class Rules:
    """What a server lets through.

    Attributes
    ----------
    hosts : frozenset of str
        Values of ``Host`` that are ours, in small letters: ``127.0.0.1:8010``.
    is_secure : bool
        Whether browsers reach it over TLS: cookies are bound to it then.
    cookie : str
        Name of the session's cookie.
    largest_body : callable
        Largest body in bytes of a request to a path.
    body_time_s : float
        How long a body may take.
    proxies : frozenset of str
        Addresses of machines whose ``X-Forwarded-For`` is believed.
    opened_signed_in : bool
        Whether a new session may do everything: where there is no password.
    unsigned : tuple of str
        Paths that are answered to those who are not signed in: a path, or a folder with its ``/``.
    sign_in : str
        Where others are sent.
    """

    hosts: frozenset[str]
    is_secure: bool
    cookie: str
    largest_body: Callable[[str], int]
    body_time_s: float = 120.0
    proxies: frozenset[str] = frozenset()
    opened_signed_in: bool = True
    unsigned: tuple[str, ...] = ()
    sign_in: str = "/sign-in"

    def is_open(self, path: str) -> bool:
        """Whether a path is answered to those who are not signed in."""
        return any(
            path == each or (each.endswith("/") and path.startswith(each)) for each in self.unsigned
        )


@dataclass
class Guard:
    """ASGI middleware around an application.

    The application finds the session in ``scope["state"]["session"]``, the address of whoever asks
    in ``scope["state"]["who"]``, and calls ``scope["state"]["sign_in"]()`` once a password was
    right: the old session ends then, and a new one begins under a new token, so that a token that
    somebody else planted before is worth nothing.
    """

    app: Callable
    rules: Rules
    sessions: Sessions
    clock: Seconds = time.monotonic
    rate: Rate = field(init=False)

    def __post_init__(self) -> None:
        self.rate = Rate(burst=240, per_second=20, clock=self.clock)

    async def __call__(self, scope, receive, send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = _one_each(scope["headers"])
        answer = _Answer(send, self.rules)
        try:
            await self._let_through(scope, headers, receive, answer)
        except Refused as refused:
            if not answer.began:
                await answer.refuse(refused)

    async def _let_through(self, scope, headers, receive, answer) -> None:
        who = self._address(scope, headers)
        self._check(scope, headers, who)
        token = _cookie(headers, self.rules.cookie)
        session = self.sessions.find(token)
        if session is None:
            token, session = self.sessions.begin(self.rules.opened_signed_in)
            answer.give(token)
        if not session.is_signed_in and not self.rules.is_open(scope["path"]):
            await answer.send_to(self.rules.sign_in, scope)
            return
        body = _Body(receive, self.rules, scope, headers, self.clock)
        if scope["method"] == "POST":
            await body.check_token(session)

        def sign_in() -> Session:
            self.sessions.end(token)
            new, fresh = self.sessions.begin(True)
            answer.give(new)
            return fresh

        def sign_out() -> None:
            self.sessions.end(token)
            answer.take_back()

        state = {"session": session, "who": who, "sign_in": sign_in, "sign_out": sign_out}
        scope = {**scope, "state": {**scope.get("state", {}), **state}}
        await self.app(scope, body.receive, answer)

    def _address(self, scope, headers) -> str:
        """Who asks: behind a proxy that is ours, the last address that it saw."""
        near = (scope.get("client") or ("unknown", 0))[0]
        told = headers.get(b"x-forwarded-for", b"").decode("latin-1").split(",")[-1].strip()
        return told if near in self.rules.proxies and told else near

    def _check(self, scope, headers, who: str) -> None:
        if headers.get(b"host", b"").decode("latin-1").lower() not in self.rules.hosts:
            raise Refused(
                HTTPStatus.MISDIRECTED_REQUEST,
                "This server does not go by the name in that address.",
            )
        if scope["method"] not in _METHODS:
            raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, "Only GET, HEAD and POST are answered.")
        if not self.rate.allows(who):
            raise Refused(HTTPStatus.TOO_MANY_REQUESTS, "Too many requests; wait a few seconds.")
        if scope["method"] == "POST" and not self._is_own(headers):
            raise Refused(HTTPStatus.FORBIDDEN, "That change came from a page of another site.")
        site, mode = (headers.get(name, b"") for name in (b"sec-fetch-site", b"sec-fetch-mode"))
        if site in (b"cross-site", b"same-site") and mode != b"navigate":
            raise Refused(HTTPStatus.FORBIDDEN, "Other sites may not read from here.")

    def _is_own(self, headers) -> bool:
        """Whether a change comes from a page of ours, as far as the browser says."""
        if headers.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
            return False
        origin = headers.get(b"origin")
        if origin is None:
            return True
        told = urlsplit(origin.decode("latin-1").lower())
        scheme = "https" if self.rules.is_secure else "http"
        return told.scheme == scheme and told.netloc in self.rules.hosts


class _Body:
    """A request's body: counted, timed, and looked through for the form's token first."""

    def __init__(self, receive, rules: Rules, scope, headers, clock: Seconds):
        self._receive, self._clock = receive, clock
        self._limit = rules.largest_body(scope["path"])
        self._until = clock() + rules.body_time_s
        self._came, self._held = 0, []
        self._headers = headers
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or int(length) > self._limit:
            raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, self._too_large)

    @property
    def _too_large(self) -> str:
        return f"More than {self._limit / 1e6:.3g} MB are not taken."

    async def receive(self):
        """The next piece: what was held back first."""
        return self._held.pop(0) if self._held else await self._next()

    async def _next(self):
        try:
            left = max(0.0, self._until - self._clock())
            message = await asyncio.wait_for(self._receive(), left or 0.001)
        except TimeoutError as error:
            if self._is_whole:  # only waiting for the browser to hang up
                return {"type": "http.disconnect"}
            raise Refused(HTTPStatus.REQUEST_TIMEOUT, "That took too long to arrive.") from error
        if message["type"] == "http.request":
            self._came += len(message.get("body", b""))
            self._is_whole = not message.get("more_body", False)
            if self._came > self._limit:
                raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, self._too_large)
        return message

    _is_whole = False

    async def check_token(self, session: Session) -> None:
        """Refuse a change without the session's token, in a header or at the head of its form.

        A form of pictures is large: its token has to be the first of its fields.
        """
        told = self._headers.get(TOKEN_HEADER)
        if told is None:
            message = await self._next()
            self._held.append(message)
            told = _token_in(message.get("body", b""), self._headers.get(b"content-type", b""))
            while told is None and message.get("more_body") and self._came < 4096:
                message = await self._next()
                self._held.append(message)
                whole = b"".join(each.get("body", b"") for each in self._held)
                told = _token_in(whole, self._headers.get(b"content-type", b""))
        if not session.knows((told or b"").decode("latin-1")):
            raise Refused(
                HTTPStatus.FORBIDDEN,
                "This page is from an earlier session; open it again, and then send it once more.",
            )


def _token_in(body: bytes, kind: bytes) -> bytes | None:
    """The form's token at the head of a body; None while it is not (wholly) there."""
    if kind.startswith(b"multipart/form-data"):
        name, found, rest = body.partition(b'name="' + FORM_TOKEN.encode() + b'"')
        if not found or name.count(b"\r\n\r\n"):
            return None
        value, ended, _ = rest.partition(b"\r\n\r\n")[2].partition(b"\r\n")
        return value if ended else None
    for pair in body[:4096].split(b"&"):
        key, _, value = pair.partition(b"=")
        if key == FORM_TOKEN.encode():
            return value
    return None


class _Answer:
    """What goes back: our headers on every answer, and cookies."""

    def __init__(self, send, rules: Rules):
        self._send, self._rules = send, rules
        self._cookie: bytes | None = None
        self.began = False

    async def __call__(self, message) -> None:
        if message["type"] == "http.response.start":
            self.began = True
            message = {**message, "headers": self._headers(message.get("headers", ()))}
        await self._send(message)

    def _headers(self, own: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        told = {name.lower(): value for name, value in own if name.lower() != b"set-cookie"}
        told.setdefault(b"cache-control", b"no-store")
        ours = [*_HEADERS, *([_FOR_A_YEAR] if self._rules.is_secure else [])]
        found = [*(told | dict(ours)).items()]
        return found + ([(b"set-cookie", self._cookie)] if self._cookie else [])

    def give(self, token: str) -> None:
        """Give a browser its session's token."""
        self._cookie = self._told(token, "")

    def take_back(self) -> None:
        """Take it back."""
        self._cookie = self._told("", "; Max-Age=0")

    def _told(self, token: str, more: str) -> bytes:
        how = "Path=/; HttpOnly; SameSite=Strict" + ("; Secure" if self._rules.is_secure else "")
        return f"{self._rules.cookie}={token}; {how}{more}".encode()

    async def refuse(self, refused: Refused) -> None:
        """A refusal, as plain text."""
        await self._whole(refused.status, f"{refused}\n".encode())

    async def send_to(self, path: str, scope) -> None:
        """To the page where one signs in; what is asked for by a script is refused."""
        if scope["method"] == "POST":
            await self._whole(HTTPStatus.FORBIDDEN, b"Sign in first.\n")
            return
        await self._whole(HTTPStatus.SEE_OTHER, b"", (b"location", path.encode()))

    async def _whole(self, status: HTTPStatus, body: bytes, *more: tuple[bytes, bytes]) -> None:
        kind = (b"content-type", b"text/plain; charset=utf-8")
        headers = [kind, *more, (b"connection", b"close")]
        await self({"type": "http.response.start", "status": int(status), "headers": headers})
        await self._send({"type": "http.response.body", "body": body})


def _one_each(headers: Iterable[tuple[bytes, bytes]]) -> dict[bytes, bytes]:
    """Headers by name; of those that must be one and come twice, nothing is believed."""
    found: dict[bytes, bytes] = {}
    for name, value in headers:
        if name in (b"host", b"origin", b"content-length") and name in found:
            value = b"\x00"
        elif name in (b"x-forwarded-for", b"cookie") and name in found:
            value = found[name] + (b", " if name == b"x-forwarded-for" else b"; ") + value
        found[name] = value
    return found


def _cookie(headers: dict[bytes, bytes], name: str) -> str | None:
    try:
        found = SimpleCookie(headers.get(b"cookie", b"").decode("latin-1")).get(name)
    except CookieError:
        return None
    return found.value if found else None

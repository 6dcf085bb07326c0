"""Stands before every request: host, method, origin, session, size, rate; tells browsers the rest.

What is refused, and why:

- a ``Host`` that is not one of ours: a name that somebody pointed at this machine would make a
  browser take their page for ours (DNS rebinding);
- whoever comes past the proxy, where there is one: TLS ends there;
- a change (POST) that comes from a page of another origin, by ``Origin`` and by Fetch Metadata, or
  without the token that the session's own forms hold;
- whatever another site tries to read or to embed (Fetch Metadata; Cross-Origin-Resource-Policy);
- bodies above a limit, counted as they come, and those that take too long;
- too many requests of one address.
"""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlencode, urlsplit

from lapsekit.web.answers import POLICY, Answer, RefusalPage
from lapsekit.web.bodies import FORM_TOKEN, Body
from lapsekit.web.limits import Rate, Seconds, whose
from lapsekit.web.refusals import Refused
from lapsekit.web.sessions import Session, Sessions
from lapsekit.web.signed import SignedSessions

__all__ = ["FORM_TOKEN", "POLICY", "Guard", "Refused", "Rules"]

_METHODS = ("GET", "HEAD", "POST")
_FROM_ELSEWHERE = (b"cross-site", b"same-site")


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
        Addresses of machines whose ``X-Forwarded-For`` is believed; where there are any, nobody
        else is answered.
    opened_signed_in : bool
        Whether a new session may do everything: where there is no password.
    unsigned : tuple of str
        Paths that are answered to those who are not signed in: a path, or a folder with its ``/``.
    sign_in : str
        Where others are sent.
    refusal_page : callable or None
        Makes the page that tells a refusal; by default it is plain text.
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
    refusal_page: RefusalPage | None = None

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
    sessions: Sessions | SignedSessions
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
        rules, headers = self.rules, _one_each(scope["headers"])
        answer = Answer(send, rules.cookie, rules.is_secure, rules.refusal_page)
        limit = rules.largest_body(scope["path"])
        body = Body(receive, limit, rules.body_time_s, headers, self.clock)
        try:
            await self._let_through(scope, headers, body, answer)
        except Refused as refused:
            await self._refuse(refused, body, answer)
        except Exception:
            if body.is_broken_off:  # nobody is there any more
                return
            if not answer.began:
                await self._refuse(_fault(), body, answer)
            raise
        else:
            if body.refusal is not None:
                await self._refuse(body.refusal, body, answer)

    async def _refuse(self, refused: Refused, body: Body, answer: Answer) -> None:
        if not answer.began and not body.is_broken_off:
            await body.throw_away()
            await answer.refuse(refused)

    async def _let_through(self, scope, headers, body: Body, answer: Answer) -> None:
        who = self._address(scope, headers)
        self._check(scope, headers, who)
        body.check_length()
        token = _cookie(headers, self.rules.cookie)
        session = self.sessions.find(token)
        if session is None and _comes_by_link(headers):
            await answer.step_in(scope)
            return
        if session is None:
            token, session = self.sessions.begin(self.rules.opened_signed_in)
            answer.give(token)
        if not session.is_signed_in and not self.rules.is_open(scope["path"]):
            await answer.send_to(f"{self.rules.sign_in}{_wanted(scope)}", scope)
            return
        if scope["method"] == "POST":
            await body.check_token(session)
        state = {"who": who, "session": session, **self._doors(token, answer)}
        scope = {**scope, "state": {**scope.get("state", {}), **state}}
        scope["scheme"] = "https" if self.rules.is_secure else "http"  # as browsers see it

        async def receive_rest():
            try:
                return await body.receive()
            except Refused:
                answer.is_held_back = True  # whatever the application makes of it
                raise

        await self.app(scope, receive_rest, answer)

    def _doors(self, token: str | None, answer: Answer) -> dict[str, Callable]:
        def sign_in() -> Session:
            self.sessions.end(token)
            new, fresh = self.sessions.begin(True)
            answer.give(new)
            return fresh

        def sign_out() -> None:
            self.sessions.end(token)
            answer.take_back()

        return {"sign_in": sign_in, "sign_out": sign_out}

    def _address(self, scope, headers) -> str:
        """Who asks: behind a proxy that is ours, the last address that it saw."""
        near = (scope.get("client") or ("unknown", 0))[0]
        if not self.rules.proxies:
            return whose(near)
        if near not in self.rules.proxies:
            raise Refused(HTTPStatus.FORBIDDEN, "This server answers its proxy alone.")
        told = headers.get(b"x-forwarded-for", b"").decode("latin-1").split(",")[-1].strip()
        return whose(told or near)

    def _check(self, scope, headers, who: str) -> None:
        if headers.get(b"host", b"").decode("latin-1").lower() not in self.rules.hosts:
            raise Refused(
                HTTPStatus.MISDIRECTED_REQUEST,
                "This server does not go by the name in that address.",
            )
        if not scope["path"].startswith("/"):
            raise Refused(HTTPStatus.BAD_REQUEST, "The address has to begin with a slash.")
        if scope["method"] not in _METHODS:
            raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, "Only GET, HEAD and POST are answered.")
        if not self.rate.allows(who):
            raise Refused(HTTPStatus.TOO_MANY_REQUESTS, "Too many requests; wait a few seconds.")
        if scope["method"] == "POST" and not self._is_own(headers):
            raise Refused(HTTPStatus.FORBIDDEN, "That change came from a page of another site.")
        if headers.get(b"sec-fetch-site") in _FROM_ELSEWHERE and not _opens_page(headers):
            raise Refused(HTTPStatus.FORBIDDEN, "Other sites may not read from here.")

    def _is_own(self, headers) -> bool:
        """Whether a change comes from a page of ours, as far as the browser says."""
        if headers.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
            return False
        origin = headers.get(b"origin")
        if origin is None:
            return True
        try:
            told = urlsplit(origin.decode("latin-1").lower())
        except ValueError:
            return False
        scheme = "https" if self.rules.is_secure else "http"
        host = headers.get(b"host", b"").decode("latin-1").lower()
        return told.scheme == scheme and told.netloc == host


def _fault() -> Refused:
    told = "That went wrong inside lapsekit; what was saved before is safe."
    return Refused(HTTPStatus.INTERNAL_SERVER_ERROR, told)


def _opens_page(headers) -> bool:
    """Whether a browser opens a page in a window of its own, by what it says."""
    mode, where = headers.get(b"sec-fetch-mode", b""), headers.get(b"sec-fetch-dest", b"document")
    return mode == b"navigate" and where == b"document"


def _comes_by_link(headers) -> bool:
    return headers.get(b"sec-fetch-site") in _FROM_ELSEWHERE and _opens_page(headers)


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


def _wanted(scope) -> str:
    """The page that was asked for, as a query: it is gone to after signing in."""
    query = scope["query_string"].decode("latin-1")
    asked = f"{scope['path']}?{query}" if query else scope["path"]
    return "" if asked == "/" else f"?{urlencode({'to': asked})}"

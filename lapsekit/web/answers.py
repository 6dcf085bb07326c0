"""What goes back: our headers on every answer, cookies, refusals."""

from collections.abc import Callable, Iterable
from html import escape
from http import HTTPStatus

from lapsekit.web.refusals import Refused

POLICY = (
    "default-src 'none'; img-src 'self' blob:; media-src 'self' blob:; style-src 'self'; "
    "font-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
"""No script and no style but our own files; nothing from elsewhere; no page of ours in a frame."""

HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
)
_FOR_A_YEAR = (b"strict-transport-security", b"max-age=31536000")
_PLAIN, _PAGE = b"text/plain; charset=utf-8", b"text/html; charset=utf-8"

RefusalPage = Callable[[Refused], str]
"""Makes a page that tells a refusal."""


class Answer:
    """The way back of one request.

    Parameters
    ----------
    send : callable
        The server's.
    cookie : str
        Name of the session's cookie.
    is_secure : bool
        Whether browsers reach us over TLS.
    refusal_page : callable or None
        By default refusals are plain text.

    Attributes
    ----------
    began : bool
        Something was sent already.
    is_held_back : bool
        Set by the guard: what the application says is not sent any more.
    """

    def __init__(self, send, cookie: str, is_secure: bool, refusal_page: RefusalPage | None = None):
        self._send, self._name, self._is_secure = send, cookie, is_secure
        self._refusal_page = refusal_page
        self._cookie: bytes | None = None
        self.began = False
        self.is_held_back = False

    async def __call__(self, message) -> None:
        """Send a message of the application's, with our headers."""
        if self.is_held_back and not self.began:
            return
        if message["type"] == "http.response.start":
            self.began = True
            message = {**message, "headers": self._headers(message.get("headers", ()))}
        await self._send(message)

    def _headers(self, own: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        told = {name.lower(): value for name, value in own if name.lower() != b"set-cookie"}
        told.setdefault(b"cache-control", b"no-store")
        ours = [*HEADERS, *([_FOR_A_YEAR] if self._is_secure else [])]
        found = [*(told | dict(ours)).items()]
        return found + ([(b"set-cookie", self._cookie)] if self._cookie else [])

    def give(self, token: str) -> None:
        """Give a browser its session's token."""
        self._cookie = self._told(token, "")

    def take_back(self) -> None:
        """Take it back."""
        self._cookie = self._told("", "; Max-Age=0")

    def _told(self, token: str, more: str) -> bytes:
        how = "Path=/; HttpOnly; SameSite=Strict" + ("; Secure" if self._is_secure else "")
        return f"{self._name}={token}; {how}{more}".encode()

    async def refuse(self, refused: Refused) -> None:
        """A refusal; the connection ends with it."""
        self._cookie, self.is_held_back = None, False
        close = (b"connection", b"close")
        if self._refusal_page is None:
            await self._whole(refused.status, f"{refused}\n".encode(), _PLAIN, close)
        else:
            page = self._refusal_page(refused).encode()
            await self._whole(refused.status, page, _PAGE, close)

    async def send_to(self, path: str, scope) -> None:
        """To the page where one signs in; what is asked for by a script is refused."""
        if scope["method"] == "POST":
            await self._whole(
                HTTPStatus.FORBIDDEN, b"Sign in first.\n", _PLAIN, (b"connection", b"close")
            )
            return
        await self._whole(HTTPStatus.SEE_OTHER, b"", _PLAIN, (b"location", path.encode()))

    async def step_in(self, scope) -> None:
        """A page that only goes on to itself.

        Whoever follows a link of another site comes without our cookie, which is kept from such
        requests; answered with a new session they would lose the one that they have.
        """
        path = scope.get("raw_path", b"/").decode("latin-1").rpartition("/")[2]
        query = scope.get("query_string", b"").decode("latin-1")
        here = escape(f"./{path}" + (f"?{query}" if query else ""), quote=True)
        page = (
            '<!doctype html><html lang="en"><meta charset="utf-8"><title>…</title>'
            f'<meta http-equiv="refresh" content="0; url={here}"><p><a href="{here}">→</a>'
        )
        await self._whole(HTTPStatus.OK, page.encode(), _PAGE)

    async def _whole(
        self, status: HTTPStatus, body: bytes, kind: bytes, *more: tuple[bytes, bytes]
    ) -> None:
        length = (b"content-length", str(len(body)).encode())
        headers = [(b"content-type", kind), length, *more]
        await self({"type": "http.response.start", "status": int(status), "headers": headers})
        await self._send({"type": "http.response.body", "body": body})

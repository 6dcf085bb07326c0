"""A request's body: counted as it comes, timed, and looked through for the form's token first."""

import asyncio
import time
from collections.abc import Mapping
from contextlib import suppress
from http import HTTPStatus

from lapsekit.web.limits import Seconds
from lapsekit.web.refusals import Refused
from lapsekit.web.sessions import Session

FORM_TOKEN = "form_token"
TOKEN_HEADER = b"x-form-token"
_LONGEST_HEAD = 4096
_MOST_THROWN_AWAY = 128_000_000
_THROWING_AWAY_S = 30.0


class Body:
    """What a request brings along.

    Parameters
    ----------
    receive : callable
        The server's.
    limit : int
        Largest body in bytes.
    time_s : float
        How long it may take.
    headers : mapping of bytes to bytes
    clock : callable

    Attributes
    ----------
    refusal : Refused or None
        Why no more of it is taken. What the application makes of that is not sent.
    is_broken_off : bool
        Whoever sent it hung up in the middle.
    """

    def __init__(
        self,
        receive,
        limit: int,
        time_s: float,
        headers: Mapping[bytes, bytes],
        clock: Seconds = time.monotonic,
    ):
        self._receive, self._clock = receive, clock
        self._limit, self._time_s, self._until = limit, time_s, clock() + time_s
        self._headers = headers
        self._came, self._held = 0, []
        self._is_whole = False
        self.refusal: Refused | None = None
        self.is_broken_off = False

    def check_length(self) -> None:
        """Refuse a declared length above the limit, before anything is read."""
        length = self._headers.get(b"content-length", b"0")
        if not length.isdigit() or len(length) > 15 or int(length) > self._limit:
            raise self._too_large()

    def _too_large(self) -> Refused:
        told = f"More than {self._limit / 1e6:.3g} MB are not taken."
        return self._no(Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, told))

    def _no(self, refusal: Refused) -> Refused:
        self.refusal = refusal
        return refusal

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
            told = "That took too long to arrive."
            raise self._no(Refused(HTTPStatus.REQUEST_TIMEOUT, told)) from error
        if message["type"] == "http.request":
            self._came += len(message.get("body", b""))
            self._is_whole = not message.get("more_body", False)
            if self._came > self._limit:
                raise self._too_large()
        else:
            self.is_broken_off = not self._is_whole
        return message

    async def throw_away(self) -> None:
        """Let what still comes run out, within bounds: a browser reads no answer before that."""
        until = time.monotonic() + min(self._time_s, _THROWING_AWAY_S)
        came = 0
        with suppress(TimeoutError):
            while not self._is_whole and came <= _MOST_THROWN_AWAY:
                left = max(0.001, until - time.monotonic())
                message = await asyncio.wait_for(self._receive(), left)
                if message["type"] != "http.request":
                    return
                came += len(message.get("body", b""))
                self._is_whole = not message.get("more_body", False)

    async def check_token(self, session: Session) -> None:
        """Refuse a change without the session's token, in a header or at the head of its form.

        A form of pictures is large: its token has to be the first of its fields.
        """
        told = self._headers.get(TOKEN_HEADER)
        if told is None:
            told = await self._token_at_head()
        if not session.knows((told or b"").decode("latin-1")):
            raise Refused(
                HTTPStatus.FORBIDDEN,
                "This page is from an earlier session; open it again, and then send it once more.",
            )

    async def _token_at_head(self) -> bytes | None:
        kind, whole, told = self._headers.get(b"content-type", b""), b"", None
        while told is None and not self._is_whole and len(whole) < _LONGEST_HEAD:
            message = await self._next()
            self._held.append(message)
            if message["type"] != "http.request":
                break
            whole += message.get("body", b"")
            told = token_in(whole, kind, self._is_whole)
        return told


def token_in(body: bytes, kind: bytes, is_whole: bool) -> bytes | None:
    """The form's token at the head of a body; None while it is not (wholly) there.

    Parameters
    ----------
    body : bytes
        What came so far.
    kind : bytes
        Its media type.
    is_whole : bool
        Whether that is all.
    """
    if kind.startswith(b"multipart/form-data"):
        name, found, rest = body.partition(b'name="' + FORM_TOKEN.encode() + b'"')
        if not found or name.count(b"\r\n\r\n"):
            return None
        value, ended, _ = rest.partition(b"\r\n\r\n")[2].partition(b"\r\n")
        return value if ended else None
    *pairs, last = body[:_LONGEST_HEAD].split(b"&")
    for pair in [*pairs, *([last] if is_whole else [])]:
        key, _, value = pair.partition(b"=")
        if key == FORM_TOKEN.encode():
            return value
    return None

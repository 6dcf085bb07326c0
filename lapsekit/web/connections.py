"""Connections: so many in all and from one address, and none that keeps us waiting for a request.

With `serving.py` the only module that imports uvicorn.
"""

from collections import Counter
from typing import ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from lapsekit.web.answers import HEADERS
from lapsekit.web.limits import whose

HEAD_TIME_S = 20.0
MOST, MOST_OF_ONE = 256, 64
"""A school class behind one address has to have room."""


class Connection(H11Protocol):
    """One connection; who asks for nothing in time is hung up on."""

    head_time_s = HEAD_TIME_S
    proxies: frozenset[str] = frozenset()
    open_now: ClassVar[Counter[str]] = Counter()
    _deadline = None
    _who = ""

    def connection_made(self, transport) -> None:
        """Take it, or hang up where there are too many."""
        super().connection_made(transport)
        near = self.client[0] if self.client else "unknown"
        self._who = whose(near)
        self.open_now[self._who] += 1
        most = MOST if near in self.proxies else MOST_OF_ONE
        if self.open_now[self._who] > most or self.open_now.total() > MOST:
            transport.abort()
        self._wait_for_head()

    def connection_lost(self, exc) -> None:
        """Forget it."""
        self._stop_waiting()
        self.open_now[self._who] -= 1
        if self.open_now[self._who] <= 0:
            del self.open_now[self._who]
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came; the head of a request has to be whole in time."""
        super().data_received(data)
        if self.cycle is None or self.cycle.response_complete:
            self._wait_for_head()
        else:
            self._stop_waiting()

    def on_response_complete(self) -> None:
        """From here on the time for keeping alive runs."""
        self._stop_waiting()
        super().on_response_complete()

    def send_400_response(self, msg: str) -> None:
        """Refuse what is not HTTP, with our headers too."""
        kind = (b"content-type", b"text/plain; charset=utf-8")
        headers = [kind, (b"connection", b"close"), (b"cache-control", b"no-store"), *HEADERS]
        for event in (
            h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
            h11.Data(data=f"{msg}\n".encode("ascii")),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event))
        self.transport.close()

    def _wait_for_head(self) -> None:
        if self._deadline is None:
            self._deadline = self.loop.call_later(self.head_time_s, self._hang_up)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _hang_up(self) -> None:
        self.transport.abort()


def connections(proxies: frozenset[str], head_time_s: float) -> type[Connection]:
    """A server's kind of connection, with a count of its own."""
    told = {"proxies": proxies, "head_time_s": head_time_s, "open_now": Counter()}
    return type("Connection", (Connection,), told)

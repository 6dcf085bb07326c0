"""A limit for a conversation as a whole, however slowly the far side goes on talking."""

import socket
import threading
from collections.abc import Mapping
from contextlib import suppress
from typing import Self

_OPENED = ("connection.connect_tcp.complete", "connection.start_tls.complete")


class Deadline:
    """Shuts the connections of a conversation once its time is over.

    A limit between two bytes alone lets a server that sends one a minute hold on for ever. Use it
    as a context manager, and give `watch` to httpx as the extension ``trace``.

    Parameters
    ----------
    limit_s : float
        Seconds from entering.
    """

    def __init__(self, limit_s: float):
        self._over = threading.Event()
        self._sockets: list[socket.socket] = []
        self._timer = threading.Timer(limit_s, self._shut_all)
        self._timer.daemon = True

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()

    @property
    def is_over(self) -> bool:
        """Whether the time is over."""
        return self._over.is_set()

    def pause(self, wait_s: float) -> None:
        """Wait so long, but not beyond the end."""
        self._over.wait(max(0.0, wait_s))

    def watch(self, event: str, facts: Mapping) -> None:
        """Keep a connection in mind that was opened."""
        if event in _OPENED:
            self._sockets.append(facts["return_value"].get_extra_info("socket"))
            if self.is_over:
                self._shut_all()

    def _shut_all(self) -> None:
        self._over.set()
        for each in list(self._sockets):
            with suppress(OSError):  # closed meanwhile
                # The plain one: that of a TLS connection would pull the rug from under its reader
                socket.socket.shutdown(each, socket.SHUT_RDWR)

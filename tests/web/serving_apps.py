"""Servers of ours on real sockets, raw requests, and a desk of a drawn season."""

import json
import re
import socket
import ssl
import threading
import time
from contextlib import contextmanager

from lapsekit.desk.app import Reach, make_app
from lapsekit.web import serving

PASSWORD = "seven beans in a row"


@contextmanager
def on_socket(app, *, certificate=None, key=None, proxies=frozenset(), host="127.0.0.1", **more):
    """`app(port)` answering on a thread; its port."""
    with serving.bound(host, 0) as listening:
        port = listening.getsockname()[1]
        server = serving.server(app(port), certificate, key, proxies, **more)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        try:
            while not server.started:
                assert thread.is_alive()
                time.sleep(0.01)
            yield port
        finally:
            server.should_exit = True
            thread.join(10)


def desk_app(folder, *, names=(), **reach):
    """What `on_socket` serves: the desk of a season folder."""

    def make(port):
        hosts = serving.local_names("127.0.0.1", port, tuple(names))
        return make_app(folder, Reach(hosts=hosts, port=port, **reach))

    return make


class Reply:
    """An answer, taken apart."""

    def __init__(self, data):
        head, _, body = data.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        self.status = int(first.split()[1]) if first else None
        self.headers = {}
        for line in lines:
            name, _, value = line.partition(": ")
            assert name.lower() not in self.headers, f"{name} twice"
            self.headers[name.lower()] = value
        is_cut = self.headers.get("transfer-encoding") == "chunked"
        self.body = _joined(body) if is_cut else body

    @property
    def text(self):
        return self.body.decode()

    @property
    def cookie(self):
        return self.headers.get("set-cookie", "").split(";")[0]

    @property
    def token(self):
        return re.search(r'name="form[-_]token" (?:value|content)="([^"]+)"', self.text)[1]


def _joined(body):
    pieces = []
    while body:
        length, _, body = body.partition(b"\r\n")
        pieces.append(body[: int(length, 16)])
        body = body[int(length, 16) + 2 :]
    return b"".join(pieces)


def raw(port, data, *, wait=10, context=None):
    """Send bytes, read until the server hangs up."""
    with socket.create_connection(("127.0.0.1", port), timeout=wait) as plain:
        pieces = []
        wrapped = context.wrap_socket(plain, server_hostname="127.0.0.1") if context else plain
        try:
            wrapped.sendall(data)
            while piece := wrapped.recv(65536):
                pieces.append(piece)
        except (BrokenPipeError, ConnectionResetError):
            pass
        finally:
            wrapped.close()
        return Reply(b"".join(pieces)) if pieces else None


def ask(port, method, path, headers=(), body=None, *, host=None, context=None, **more):
    """One request with exactly these headers, beside Host and what a body needs."""
    lines = [f"{method} {path} HTTP/1.1", f"Host: {host or f'127.0.0.1:{port}'}"]
    lines += [f"{name}: {value}" for name, value in headers]
    if body is not None:
        lines.append(f"Content-Length: {len(body)}")
    head = "\r\n".join([*lines, "Connection: close", "", ""])
    return raw(port, head.encode("latin-1") + (body or b""), context=context, **more)


def form(**fields):
    """A form's body and its header."""
    from urllib.parse import urlencode

    kind = ("Content-Type", "application/x-www-form-urlencoded")
    return {"headers": [kind], "body": urlencode(fields).encode()}


def post(port, path, cookie, token, headers=(), host=None, context=None, **fields):
    """Send a form as a page of ours does."""
    told = {**({} if token is None else {"form_token": token}), **fields}
    sent = form(**told)
    more = [*sent["headers"], *([("Cookie", cookie)] if cookie else []), *headers]
    return ask(port, "POST", path, more, sent["body"], host=host, context=context)


def trusting(certificate):
    """TLS that trusts this certificate alone."""
    return ssl.create_default_context(cafile=str(certificate))


def facts(reply):
    """What a JSON answer holds."""
    return json.loads(reply.text)

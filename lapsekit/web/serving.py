"""A server on an address of this machine. With `connections.py` the only one that knows uvicorn."""

import asyncio
import errno
import logging
import socket
import ssl
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lapsekit.errors import MissingExtra, SettingsError

TRIES = 20


def is_loopback(host: str) -> bool:
    """Whether only this machine can ask at an address."""
    return host in ("127.0.0.1", "::1", "localhost")


def bound(host: str, port: int, tries: int = TRIES) -> socket.socket:
    """A socket that listens at `port`, or at one of the next if it is taken; 0 for any free one.

    Parameters
    ----------
    host : str
    port : int
    tries : int
        How many ports are tried: 1 where a proxy expects that very one.

    Raises
    ------
    SettingsError
        If the address is not this machine's, or no port is free.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for candidate in range(port, min(port + tries, 65536)):
        found = socket.socket(family, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((host, candidate))
            found.listen(64)
        except OSError as error:
            found.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise SettingsError(f"--host {host}: {error.strerror}") from error
        except OverflowError as error:
            raise SettingsError(f"--port {port}: there is no such port") from error
        else:
            return found
    where = str(port) if tries == 1 else f"from {port} to {port + tries - 1}"
    raise SettingsError(f"no free port {where}; name another with --port")


def serve(server: Any, listening: socket.socket) -> None:
    """Serve until interrupted; a signal that comes before the first request ends it as well."""
    work = server.serve(sockets=[listening])
    try:
        asyncio.run(work)
    finally:
        work.close()  # one that was never begun would be warned of


def server(
    app: Callable,
    certificate: Path | None = None,
    key: Path | None = None,
    proxies: frozenset[str] = frozenset(),
    head_time_s: float = 20.0,
) -> Any:
    """A uvicorn server of an application; `serve` runs it.

    Parameters
    ----------
    app : callable
        ASGI.
    certificate, key : pathlib.Path, optional
        PEM files, for TLS.
    proxies : frozenset of str
        Addresses from which as many connections are taken as there are.
    head_time_s : float
        How long the head of a request may take.

    Raises
    ------
    MissingExtra
        Without uvicorn.
    SettingsError
        If certificate and key cannot be used.
    """
    try:
        import uvicorn

        from lapsekit.web.connections import connections
    except ImportError as error:
        raise MissingExtra("a server", "desk") from error
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)  # strangers' mistakes fill no log
    config = uvicorn.Config(
        app,
        http=connections(proxies, head_time_s),
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=32 * 1024,
        ssl_certfile=certificate and str(certificate),
        ssl_keyfile=key and str(key),
    )
    try:
        config.load()
    except (OSError, ssl.SSLError) as error:
        told = f"--certificate {certificate}, --key {key}: cannot be used ({error}); both have"
        raise SettingsError(f"{told} to be PEM files, the key without a passphrase") from error
    return uvicorn.Server(config)


def local_names(host: str, port: int, names: tuple[str, ...] = ()) -> frozenset[str]:
    """Values of ``Host`` by which a server is reached.

    Parameters
    ----------
    host : str
        The address it listens at; ``0.0.0.0`` is all of this machine's.
    port : int
    names : tuple of str
        Further names, as a proxy or a router gives them.
    """
    own = {"127.0.0.1", "localhost", "[::1]"} if is_loopback(host) else {_bracketed(host)}
    if host in ("0.0.0.0", "::"):
        name = socket.gethostname().lower()
        own = {"127.0.0.1", "localhost", "[::1]", name, f"{name}.local", *_own_addresses()}
    with_port = {f"{each.lower()}:{port}" for each in own}
    bare = {each.lower() for each in (*names, *(own if port in (80, 443) else ()))}
    return frozenset(with_port | bare | {f"{each.lower()}:{port}" for each in names})


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _own_addresses() -> set[str]:
    """The machine's addresses in its network, without asking anybody."""
    found = set()
    for family, far in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((far, 9))  # sends nothing: only the way is looked up
                found.add(_bracketed(probe.getsockname()[0]))
            except OSError:
                continue
    return found

"""How the long-running process speaks: lines on a terminal, entries with fields in the journal.

Under systemd an entry goes to the journal by its own protocol (a datagram of ``FIELD=value``
lines), so that ``journalctl -o json`` shows the camera, the frame and the kind of event apart. Both
the journal's socket and the service manager's are used as systemd documents them.
"""

import os
import re
import socket
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from typing import Protocol

_JOURNAL = "/run/systemd/journal/socket"
INFO, WARNING, ERROR = 6, 4, 3
_SECRETS = (
    (re.compile(r"(://)[^\s\"']*@"), r"\1***@"),
    (re.compile(r"(?i)(authorization:\s*\w+\s+)\S+"), r"\1***"),
    (
        re.compile(
            r"(?i)((?:pass(?:word|wd)?|token|secret|key)\s*[=:]\s*)(\"[^\"]*\"|'[^']*'|\S+)"
        ),
        r"\1***",
    ),
    (re.compile(r"\b[A-Z]{4}(?:-[A-Z]{4}){3}\b|\[ref-\w+\]"), "***"),
)


class Tell(Protocol):
    """Takes a line of text about what happened, how grave it is, and fields beside it."""

    def __call__(self, line: str, priority: int = INFO, **fields: str) -> None:
        """Say it."""
        ...


def without_secrets(text: str) -> str:
    """`text` with secrets struck out: ``://user:word@``, ``password=word``, take-down codes."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


def speaker(now: Callable[[], datetime], say: Callable[[str], None]) -> Tell:
    """Speaks to the journal where the output goes there, and by `say`, with the time, elsewhere.

    Parameters
    ----------
    now : callable
        The present instant, in the season's zone.
    say : callable
        Prints a line.
    """
    to_journal = "JOURNAL_STREAM" in os.environ

    def tell(line: str, priority: int = INFO, **fields: str) -> None:
        line = without_secrets(line)
        told = {"MESSAGE": line, "PRIORITY": str(priority), "SYSLOG_IDENTIFIER": "lapsekit"}
        told |= {f"LAPSEKIT_{k.upper()}": without_secrets(str(v)) for k, v in fields.items()}
        if not (to_journal and _sent(_JOURNAL, _entry(told))):
            say(f"{now():%Y-%m-%d %H:%M:%S} {line}")

    return tell


def _sent(address: str, datagram: bytes) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as far, suppress(OSError):
        far.connect(address)
        far.sendall(datagram)
        return True
    return False


def _entry(fields: dict[str, str]) -> bytes:
    """Fields as the journal's protocol wants them; those with line breaks carry their length."""
    parts = []
    for name, value in fields.items():
        data = value.encode(errors="backslashreplace")
        if b"\n" in data:
            parts.append(name.encode() + b"\n" + len(data).to_bytes(8, "little") + data + b"\n")
        else:
            parts.append(name.encode() + b"=" + data + b"\n")
    return b"".join(parts)


def notify(state: str) -> bool:
    """Tell the service manager a state (``READY=1``, ``WATCHDOG=1``); False without one."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return False
    return _sent("\0" + address[1:] if address[0] == "@" else address, state.encode())

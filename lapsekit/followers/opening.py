"""A stranger's bytes -> a clean picture: opened by a process that can do nothing else.

`lapsekit.followers.opener` decodes; what comes back are bare pixels, whose number is checked
against width and height. They are encoded here, so that no byte of a received file, and no
metadata, can get into what is kept. A process that crashes, hangs, floods or babbles is a refusal.
"""

import os
import selectors
import shutil
import signal
import struct
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from lapsekit.errors import FollowerError, MissingExtra
from lapsekit.followers import reasons
from lapsekit.followers.confining import BWRAP, SECCOMP, WALL_S, can_filter
from lapsekit.language.words import ENGLISH

AT_ONCE = 2
"""Pictures opened at once by one process of ours; each may take `confining.MEMORY_MB`."""

_CHUNK_BYTES = 1 << 18
_KEPT = ("LANG", "LC_ALL", "LD_LIBRARY_PATH", "PATH", "PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV")
"""All that the process gets of the environment, which may hold secrets."""

_slots = threading.BoundedSemaphore(AT_ONCE)


class Refused(FollowerError):
    """Bytes that no picture is kept of; `code` is one of `lapsekit.followers.reasons`."""

    def __init__(self, code: int):
        super().__init__(reasons.sentence(code, ENGLISH))
        self.code = code


@dataclass(frozen=True)
class Opened:
    """A picture's pixels.

    Attributes
    ----------
    width, height : int
        In px.
    pixels : bytes
        sRGB, row by row, three bytes a pixel.
    taken_on : date or None
        Day of its EXIF date, as its camera had it.
    """

    width: int
    height: int
    pixels: bytes
    taken_on: date | None


@cache
def confinement() -> str:
    """What confines the process that opens pictures: "seccomp", "bubblewrap", or "" for nothing.

    Each is tried once: a library may be there, and the kernel or a container forbid what it does.
    """
    if sys.platform != "linux":
        return ""
    if _filter_works():
        return SECCOMP
    return BWRAP if _bwrap_works() else ""


def require_confinement() -> str:
    """The same; refuses where there is nothing.

    Raises
    ------
    MissingExtra
        Limits of memory and time alone are not enough for files that anybody may send.
    """
    by = confinement()
    if not by:
        raise MissingExtra(
            "opening strangers' pictures needs a process that can reach neither files nor network; "
            "here is neither seccomp (Debian: libseccomp2) nor bubblewrap (Debian: bubblewrap). It",
            "followers",
        )
    return by


def open_picture(data: bytes, largest_side_px: int) -> Opened:
    """Decode a picture in a process of its own.

    Parameters
    ----------
    data : bytes
        Anything.
    largest_side_px : int
        What the picture is reduced to, if it is larger.

    Raises
    ------
    Refused
        If there is no usable picture in it; says why to whoever sent it.
    MissingExtra
        If nothing on this machine confines such a process.
    """
    from lapsekit.followers.opener import ASKED, HEAD, MAGIC, MOST_BYTES

    by = require_confinement()
    if len(data) > MOST_BYTES:
        raise Refused(reasons.TOO_HEAVY)
    asked = ASKED.pack(MAGIC, largest_side_px, len(data)) + data
    most = HEAD.size + 3 * largest_side_px**2
    with _slots:
        said = answer_of(command(by), asked, most)
    return _checked(said, largest_side_px)


def answer_of(command: list[str], asked: bytes, most_bytes: int, time_limit_s: float = WALL_S):
    """What a process answers on its standard output; it never outlives this.

    Raises
    ------
    Refused
        If it ends by anything but exit code 0, is late, or answers more than `most_bytes`.
    """
    try:
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd="/",
            env=_environment(),
            start_new_session=True,
            bufsize=0,
        )
    except OSError as error:
        raise FollowerError(
            f"{command[0]}: cannot be started ({error.strerror}); no picture can be opened. Check "
            "that the machine has memory and room for another process"
        ) from error
    try:
        said = _talked(process, asked, most_bytes, time.monotonic() + time_limit_s)
        code = process.wait(5)
    except subprocess.TimeoutExpired:
        raise Refused(reasons.TOO_LONG) from None
    finally:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        process.stdin.close()
        process.stdout.close()
    if code in (-signal.SIGXCPU, -signal.SIGALRM, -signal.SIGKILL):
        raise Refused(reasons.TOO_LONG)
    if code:
        raise Refused(reasons.BROKE)
    return said


def _environment() -> dict[str, str]:
    """For the process: no secrets, and no threads that would each take of its memory."""
    kept = {name: os.environ[name] for name in _KEPT if name in os.environ}
    return kept | {"OPENBLAS_NUM_THREADS": "1"}


def _talked(process: subprocess.Popen[bytes], asked: bytes, most: int, deadline: float) -> bytes:
    """Told and heard at the same time, since a pipe holds little."""
    left, said = memoryview(asked), bytearray()
    os.set_blocking(process.stdin.fileno(), False)
    with selectors.DefaultSelector() as waiting:
        waiting.register(process.stdin, selectors.EVENT_WRITE)
        waiting.register(process.stdout, selectors.EVENT_READ)
        while process.stdout in {key.fileobj for key in waiting.get_map().values()}:
            ready = waiting.select(max(0.0, deadline - time.monotonic()))
            if time.monotonic() >= deadline:
                raise subprocess.TimeoutExpired(process.args, 0)
            for key, _ in ready:
                if key.fileobj is process.stdin:
                    left = _told(process, left)
                    if not left:
                        waiting.unregister(process.stdin)
                        process.stdin.close()
                    continue
                part = os.read(key.fd, _CHUNK_BYTES)
                said += part
                if not part:
                    waiting.unregister(process.stdout)
            if len(said) > most:
                raise Refused(reasons.BROKE)
    return bytes(said)


def _told(process: subprocess.Popen[bytes], left: memoryview) -> memoryview:
    try:
        return left[os.write(process.stdin.fileno(), left[:_CHUNK_BYTES]) :]
    except BrokenPipeError:  # it has heard enough, or is gone
        return left[:0]


def _checked(said: bytes, largest_side_px: int) -> Opened:
    from lapsekit.followers.opener import HEAD, LEAST_SIDE_PX, MAGIC

    if len(said) < HEAD.size:
        raise Refused(reasons.BROKE)
    magic, code, width, height, day = HEAD.unpack(said[: HEAD.size])
    if magic != MAGIC or code == reasons.NOT_CONFINED:
        raise Refused(reasons.BROKE)
    if code != reasons.FINE:
        raise Refused(code if code < reasons.BROKE else reasons.BROKE)
    pixels = said[HEAD.size :]
    if not (0 < max(width, height) <= largest_side_px and len(pixels) == 3 * width * height > 0):
        raise Refused(reasons.BROKE)
    if max(width, height) < LEAST_SIDE_PX:
        raise Refused(reasons.TOO_SMALL)
    return Opened(width, height, pixels, _day(day))


def _day(told: bytes) -> date | None:
    try:
        return date.fromisoformat(told.decode("ascii").strip("\0"))
    except ValueError:
        return None


def command(by: str, module: str = "opener") -> list[str]:
    """How a module of this package is run on its own, confined.

    Parameters
    ----------
    by : {"seccomp", "bubblewrap"}
    module : str
    """
    # -P: a folder that somebody else made must not bring modules with it.
    run = [sys.executable, "-P", "-m", f"lapsekit.followers.{module}", by]
    return run if by == SECCOMP else [*_namespaces(), *run]


def _namespaces() -> list[str]:
    """bubblewrap: no network, no other process, and of the disk only programs, read-only."""
    package = Path(__file__).resolve().parents[1]
    shown = ["/usr", "/lib", "/lib32", "/lib64", "/bin", sys.prefix, sys.base_prefix, package]
    files = [Path("/etc/ld.so.cache"), *map(Path, shown)]
    bound = (str(part) for file in files for part in ("--ro-bind-try", file, file))
    return [
        *("bwrap", "--unshare-all", "--die-with-parent", "--new-session", "--cap-drop", "ALL"),
        *(*bound, "--remount-ro", "/"),
    ]


def _filter_works() -> bool:
    """Whether the process that opens pictures can be confined by the filter: one is, for nothing.

    It is asked nothing, so that it answers once it is confined, and ends.
    """
    from lapsekit.followers.opener import HEAD, MAGIC

    if not can_filter():
        return False
    try:
        magic, code, *_ = HEAD.unpack(answer_of(command(SECCOMP), b"", HEAD.size))
    except (Refused, struct.error):
        return False
    return magic == MAGIC and code != reasons.NOT_CONFINED


def _bwrap_works() -> bool:
    if shutil.which("bwrap") is None:
        return False
    probe = [*_namespaces(), sys.executable, "-c", ""]
    try:
        return subprocess.run(probe, capture_output=True, timeout=20, check=False).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False

"""Cameras whose reading may hang, or needs a heavy library, are read in a process of their own.

A read that hangs in the kernel or waits for a network, or a fault in a library, then ends that
process and never the long-running one, which loads no such library. The process is told by its
standard input what to read, passwords included: nobody sees them in a list of processes. It gives
the picture on its standard output, and what there is to say on lines of its standard error.
"""

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from datetime import datetime
from importlib import import_module
from pathlib import Path

from lapsekit.cameras import Shot
from lapsekit.cameras.running import Said, run_program
from lapsekit.errors import CameraError

ATTEMPTS = 2
_AGAIN_AFTER_S = 1.0
_MARGIN = 0.1
"""Share of the time limit that is left to say what is wrong before the process is ended."""

_TOLD, _NOTE = "lapsekit: ", "lapsekit note: "
_READERS = {
    "usb": ("lapsekit.cameras.usb", "read_usb", ATTEMPTS),
    "rtsp": ("lapsekit.cameras.rtsp", "read_rtsp", ATTEMPTS),
    "http": ("lapsekit.cameras.http", "read_http", 1),  # it has no device to open anew
}

Note = Callable[[str], None]
Reader = Callable[[dict, float, Note], bytes]
"""Takes the camera's settings, until when it has time (monotonic seconds), and who is told what
the camera did not do as asked; gives a picture file. Raises `CameraError`."""


def take_apart(wanted: dict, name: str, time_limit_s: float, now: datetime, late: str = "") -> Shot:
    """Read one picture in a process of its own.

    Parameters
    ----------
    wanted : dict
        The camera's settings, plain, with ``kind`` and what else its reader needs.
    name : str
        What messages call the camera.
    time_limit_s : float
        Seconds after which the process is ended.
    now : datetime
        When the picture was asked for, which counts as when it was taken.
    late : str
        What messages say behind `name` when it is late, if that is not about a cable.

    Raises
    ------
    CameraError
        If there is no picture; says what to check.
    """
    wanted = wanted | {"until": time.monotonic() + time_limit_s * (1 - _MARGIN)}
    # -P: a folder that somebody else made must not bring modules with it.
    command = [sys.executable, "-P", "-m", __name__]
    told = json.dumps(wanted).encode()
    said = run_program(command, name, time_limit_s, Path("/"), told, late)
    if said.code or not said.out:
        raise CameraError(_reason(said, name))
    return Shot(said.out, now, notes=tuple(_lines(said, _NOTE)))


def _lines(said: Said, begin: str) -> list[str]:
    lines = said.complaint.splitlines()
    return [line.removeprefix(begin) for line in lines if line.startswith(begin)]


def _reason(said: Said, name: str) -> str:
    told = _lines(said, _TOLD)
    if told:
        return told[-1]
    last = said.complaint.splitlines()[-1:] or ["no message"]
    return f"{name}: the process that reads it ended with code {said.code}: {last[0][:300]}"


def main() -> None:
    """Read what standard input asks for; the picture goes to standard output."""
    wanted = json.loads(sys.stdin.buffer.read())
    # Ends by itself if whoever asked is gone; even while a library waits.
    signal.setitimer(signal.ITIMER_REAL, max(1.0, 1.2 * (wanted["until"] - time.monotonic()) + 1))
    # What libraries print must not get into the picture.
    given = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    module, reader, attempts = _READERS[wanted["kind"]]
    try:
        picture = attempted(getattr(import_module(module), reader), wanted, _note, attempts)
    except CameraError as error:
        sys.exit(_TOLD + " ".join(str(error).split()))
    with os.fdopen(given, "wb") as out:
        out.write(picture)


def _note(text: str) -> None:
    print(_NOTE + text, file=sys.stderr, flush=True)


def attempted(read: Reader, wanted: dict, note: Note, attempts: int = ATTEMPTS) -> bytes:
    """A picture at the first attempt or, opened anew, at the next, while there is time."""
    until = wanted["until"]
    for left in reversed(range(attempts)):
        now = time.monotonic()
        try:
            return read(wanted, now + (until - now) / (left + 1), note)
        except CameraError:
            if not left or time.monotonic() + _AGAIN_AFTER_S >= until:
                raise
            time.sleep(_AGAIN_AFTER_S)
    raise AssertionError("an attempt gives a picture or raises")


if __name__ == "__main__":
    main()

"""A program run for one picture: with an end, a bound on what it says, and nothing left behind."""

import os
import selectors
import signal
import subprocess
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from lapsekit.errors import CameraError

MOST_BYTES = 64 << 20
"""No still picture is larger; a program that never stops talking must not fill the memory."""

_COMPLAINT_BYTES = 1 << 16
_CHUNK_BYTES = 1 << 16
_DYING_S = 5.0
_LOOK_AGAIN_S = 0.01
_HANGS = "hangs in the kernel; unplug the camera, or start the machine anew"
_left_behind: dict[str, subprocess.Popen[bytes]] = {}  # by name: killed, but held by the kernel


@dataclass(frozen=True)
class Said:
    """What a program that ended by itself left.

    Attributes
    ----------
    code : int
        Its exit code; negative for the signal that ended it.
    out : bytes
        Its standard output, whole.
    complaint : str
        The end of its standard error.
    """

    code: int
    out: bytes
    complaint: str


def run_program(
    command: Sequence[str],
    name: str,
    time_limit_s: float,
    folder: Path,
    told: bytes = b"",
    late: str = "",
) -> Said:
    """Run a program in a process group of its own, which is ended as a whole when it is late.

    What it started and left behind is ended too, however the program itself ends.

    Parameters
    ----------
    command : sequence of str
        Program and arguments; no shell is used.
    name : str
        What messages call it.
    time_limit_s : float
        Seconds after which the program, and what it started, is ended.
    folder : pathlib.Path
        Where it runs.
    told : bytes
        What it finds on its standard input; at most 4 kB, so that a pipe holds it.
    late : str
        What messages say behind `name` when it is late, if that is not about a cable.

    Returns
    -------
    Said

    Raises
    ------
    CameraError
        If it cannot be started, is late, or gives more than 64 MB.
    """
    deadline = time.monotonic() + time_limit_s
    if name in _left_behind and _left_behind[name].poll() is None:
        raise CameraError(f"{name} still {_HANGS}")  # another one would only hang beside it
    _left_behind.pop(name, None)
    process = _started(command, name, folder)
    try:
        _tell(process, told)
        streams = _listened(process, name, deadline)
        _wait(process, deadline)
        _ended(process)  # what it left behind, with its output elsewhere
    except subprocess.TimeoutExpired as error:
        if not _ended(process):
            _left_behind[name] = process
            raise CameraError(f"{name} {_HANGS}") from error
        late = late or (
            f"did not end within {time_limit_s:g} s; check the cable, whether another program "
            "holds the camera, and whether time_limit_s allows for the exposure"
        )
        raise CameraError(f"{name} {late}") from error
    except BaseException:
        _ended(process)
        raise
    finally:
        for pipe in (process.stdout, process.stderr):
            pipe.close()
    return Said(process.returncode, streams[0], streams[1].decode(errors="replace").strip())


def _started(command: Sequence[str], name: str, folder: Path) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=folder,
            start_new_session=True,
            bufsize=0,
        )
    except (FileNotFoundError, PermissionError, NotADirectoryError) as error:
        raise CameraError(
            f"{name} cannot be started ({error.strerror}: {error.filename}); check that it is "
            "installed, and that you may run it"
        ) from error
    except (OSError, ValueError, subprocess.SubprocessError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CameraError(
            f"{name} cannot be started ({reason}); check the command, and whether the machine has "
            "memory and room for another process"
        ) from error


def _tell(process: subprocess.Popen[bytes], told: bytes) -> None:
    with suppress(BrokenPipeError), process.stdin:  # it need not want to know
        process.stdin.write(told)


def _listened(process: subprocess.Popen[bytes], name: str, deadline: float) -> tuple[bytes, bytes]:
    """Standard output and the end of standard error, once both are closed."""
    out, complaint = bytearray(), bytearray()
    with selectors.DefaultSelector() as waiting:
        waiting.register(process.stdout, selectors.EVENT_READ, out)
        waiting.register(process.stderr, selectors.EVENT_READ, complaint)
        while waiting.get_map():
            ready = waiting.select(max(0.0, deadline - time.monotonic()))
            if not ready and time.monotonic() >= deadline:
                raise subprocess.TimeoutExpired(process.args, 0)
            for key, _ in ready:
                part = os.read(key.fd, _CHUNK_BYTES)
                key.data.extend(part)
                if not part:
                    waiting.unregister(key.fileobj)
            del complaint[:-_COMPLAINT_BYTES]
            if len(out) > MOST_BYTES:
                raise CameraError(
                    f"{name} gave more than {MOST_BYTES >> 20} MB; it has to give one still "
                    "picture, not a stream"
                )
    return bytes(out), bytes(complaint)


def _wait(process: subprocess.Popen[bytes], deadline: float) -> None:
    """Until the program ended. It is not reaped, so that its number stays that of its group."""
    how = os.WEXITED | os.WNOWAIT | os.WNOHANG
    while os.waitid(os.P_PID, process.pid, how) is None:
        if time.monotonic() >= deadline:
            raise subprocess.TimeoutExpired(process.args, 0)
        time.sleep(_LOOK_AGAIN_S)


def _ended(process: subprocess.Popen[bytes]) -> bool:
    """Kill the process with all it started; whether the kernel let go of it."""
    with suppress(ProcessLookupError, PermissionError):  # it ended, and what it started too
        os.killpg(process.pid, signal.SIGKILL)
    try:
        process.wait(_DYING_S)
    except subprocess.TimeoutExpired:
        return False
    return True

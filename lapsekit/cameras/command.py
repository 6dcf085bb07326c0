"""A camera behind any program that makes one picture."""

import os
import signal
import subprocess
import tempfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from lapsekit.cameras import Shot
from lapsekit.errors import CameraError


class Command:
    """Runs a program and takes the picture it writes.

    Parameters
    ----------
    command : sequence of str
        Program and arguments; no shell is used. Where an argument holds ``{file}`` the program
        is expected to write the picture there, otherwise to its standard output.
    time_limit_s : float
        Seconds after which the program, and what it started, is ended.
    folder : pathlib.Path
        Where it runs.
    """

    def __init__(self, command: Sequence[str], time_limit_s: float, folder: Path):
        self._command = command
        self._time_limit_s = time_limit_s
        self._folder = folder

    def take(self, now: datetime) -> Shot:
        """Run the program once; the picture counts as taken when it was asked for."""
        with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
            file = Path(scratch, "frame")
            told = self._run([part.replace("{file}", str(file)) for part in self._command])
            data = file.read_bytes() if file.is_file() else told
        if not data:
            raise CameraError(f"{self._name} ended without a picture; try the command by hand")
        return Shot(data, now)

    @property
    def _name(self) -> str:
        return f"the camera command {self._command[0]!r}"

    def _run(self, command: list[str]) -> bytes:
        try:
            process = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                cwd=self._folder,
                start_new_session=True,
            )
        except OSError as error:
            raise CameraError(
                f"{self._name} cannot be started ({error.strerror}); check that it is installed"
            ) from error
        with process:
            try:
                out, complaint = process.communicate(timeout=self._time_limit_s)
            except subprocess.TimeoutExpired as error:
                os.killpg(process.pid, signal.SIGKILL)
                raise CameraError(
                    f"{self._name} did not end within {self._time_limit_s:g} s; check the cable "
                    "and whether another program holds the camera"
                ) from error
        if process.returncode:
            last = complaint.decode(errors="replace").strip()[-300:] or "no message"
            raise CameraError(f"{self._name} failed with code {process.returncode}: {last}")
        return out

"""A camera behind any program that makes one picture."""

import tempfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from lapsekit.cameras import Shot
from lapsekit.cameras.running import run_program
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
        name = f"the camera command {self._command[0]!r}"
        data = picture_of(self._command, name, self._time_limit_s, self._folder)
        if not data:
            raise CameraError(f"{name} ended without a picture; try the command by hand")
        return Shot(data, now)


def picture_of(command: Sequence[str], name: str, time_limit_s: float, folder: Path) -> bytes:
    """What a program writes to ``{file}``, or else to its standard output.

    Raises
    ------
    CameraError
        As `run_program`; and if the program ends with a code other than 0.
    """
    with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
        file = Path(scratch, "frame")
        whole = [part.replace("{file}", str(file)) for part in command]
        said = run_program(whole, name, time_limit_s, folder)
        if said.code:
            last = said.complaint[-300:] or "no message"
            raise CameraError(f"{name} failed with code {said.code}: {last}")
        return file.read_bytes() if file.is_file() else said.out

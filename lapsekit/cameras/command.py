"""A camera behind any program that makes one picture."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from lapsekit.cameras import Shot
from lapsekit.cameras.running import MOST_BYTES, run_program
from lapsekit.cameras.scratch import scratch
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
    has_privacy : bool
        Whether areas of its pictures are to be blacked out: they must not touch a disk before.
    """

    def __init__(
        self, command: Sequence[str], time_limit_s: float, folder: Path, has_privacy: bool = False
    ):
        self._command = command
        self._time_limit_s = time_limit_s
        self._folder = folder
        self._has_privacy = has_privacy

    def take(self, now: datetime) -> Shot:
        """Run the program once; the picture counts as taken when it was asked for."""
        name = f"the camera command {self._command[0]!r}"
        data = self._written(name)
        if not data:
            raise CameraError(f"{name} ended without a picture; try the command by hand")
        return Shot(data, now)

    def _written(self, name: str) -> bytes:
        """What the program writes to ``{file}``, or else to its standard output."""
        if not any("{file}" in part for part in self._command):
            return output_of(self._command, name, self._time_limit_s, self._folder)
        with scratch(name, self._has_privacy) as place:
            file = place / "frame"
            whole = [part.replace("{file}", str(file)) for part in self._command]
            said = output_of(whole, name, self._time_limit_s, self._folder)
            return _read(file, name) if file.is_file() else said


def output_of(command: Sequence[str], name: str, time_limit_s: float, folder: Path) -> bytes:
    """What a program writes to its standard output.

    Raises
    ------
    CameraError
        As `run_program`; and if the program ends with a code other than 0.
    """
    said = run_program(command, name, time_limit_s, folder)
    if said.code:
        last = said.complaint[-300:] or "no message"
        raise CameraError(f"{name} failed with code {said.code}: {last}")
    return said.out


def _read(file: Path, name: str) -> bytes:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise CameraError(
                f"{name} wrote more than {MOST_BYTES >> 20} MB; it has to write one still picture"
            )
        return file.read_bytes()
    except OSError as error:
        raise CameraError(
            f"{name} wrote a picture that cannot be read ({error.strerror}); check with which "
            "permissions it writes, and the disk"
        ) from error

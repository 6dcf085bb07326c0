"""One process at a time asks a camera for a picture, whichever of ours it is.

The desk looks through a camera while it is aimed; the long-running process and ``lapsekit capture``
take frames; a check asks each for one. Many devices can be open once only, and two that ask at once
get half a picture or none. Whoever asks holds ``.camera-NAME`` of the season folder for as long as
one picture takes; the kernel lets go of it if the process dies.
"""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path

from lapsekit.cameras import Camera, Shot
from lapsekit.errors import CameraBusy

WAIT_S = 30.0
"""Nearly all cameras have given a picture, or none, by then."""

_LOOK_EVERY_S = 0.05


class Alone:
    """A camera that is asked while no other process asks it.

    Parameters
    ----------
    camera : Camera
    name : str
        Its name in season.toml.
    season_folder : pathlib.Path
    wait_s : float
        How long to wait for others.
    """

    def __init__(self, camera: Camera, name: str, season_folder: Path, wait_s: float = WAIT_S):
        self.camera = camera
        self._name, self._folder, self._wait_s = name, season_folder, wait_s

    def take(self, now: datetime) -> Shot:
        """As the camera's own; waits for others first, and that time is added to `now`.

        Raises
        ------
        CameraBusy
            If another process has not let go of it after so long.
        CameraError
            If there is no picture.
        """
        with alone_with(self._name, self._folder, self._wait_s) as waited:
            return self.camera.take(now + waited)


@contextmanager
def alone_with(name: str, season_folder: Path, wait_s: float = WAIT_S) -> Iterator[timedelta]:
    """Hold a camera of a season; gives how long others were waited for.

    Where no such file can be made nobody is waited for: such a disk is told of by whoever files the
    picture.

    Raises
    ------
    CameraBusy
        If others do not let go of it.
    """
    handle = _opened(season_folder / f".camera-{name}")
    if handle is None:
        yield timedelta()
        return
    try:
        yield _wait(handle, name, wait_s)
    finally:
        os.close(handle)


def _opened(file: Path) -> int | None:
    """The lock's file, whoever made it: one that is another user's can be held by reading it."""
    for flags in (os.O_RDWR | os.O_CREAT, os.O_RDONLY):
        with suppress(OSError):
            return os.open(file, flags | os.O_CLOEXEC, 0o644)
    return None


def _wait(handle: int, name: str, wait_s: float) -> timedelta:
    began = time.monotonic()
    waited = timedelta()
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return waited
        except BlockingIOError:
            waited = timedelta(seconds=time.monotonic() - began + _LOOK_EVERY_S)
            if waited.total_seconds() > wait_s:
                raise CameraBusy(
                    f'camera "{name}" is in use by another process of this season, and was not let '
                    f"go of within {wait_s:.0f} s. Close the desk's page for aiming, or wait for "
                    "lapsekit run to take its frame, and try again"
                ) from None
        time.sleep(_LOOK_EVERY_S)

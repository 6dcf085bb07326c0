"""A camera that plays a folder of dated frames again."""

import os
from bisect import bisect_right
from datetime import datetime
from functools import cached_property
from pathlib import Path

from lapsekit.cameras import Shot
from lapsekit.errors import CameraError, NothingNew
from lapsekit.frames.names import read_name


class Replay:
    """Hands out the newest frame that is dated at or before the time asked for, each once.

    The folder is listed once, when the first frame is asked for.

    Parameters
    ----------
    folder : pathlib.Path
        Folder of frames named as lapsekit files them (``20310417T113000Z.jpg``), in any folders
        below it.
    """

    def __init__(self, folder: Path):
        self._folder = folder
        self._last: datetime | None = None

    def take(self, now: datetime) -> Shot:
        """The newest frame up to `now` that was not handed out before."""
        moments = self.moments
        if not moments:
            raise CameraError(f"{self._folder}: no dated frames there to play")
        position = bisect_right([m for m, _ in moments], now)
        if position == 0 or (self._last is not None and moments[position - 1][0] <= self._last):
            raise NothingNew(f"{self._folder}: no new frame up to {now:%Y-%m-%d %H:%M} UTC")
        taken_at, path = moments[position - 1]
        try:
            data = path.read_bytes()
        except OSError as error:
            raise CameraError(f"{path}: cannot be read ({error.strerror})") from error
        self._last = taken_at
        return Shot(data, taken_at)

    @cached_property
    def moments(self) -> list[tuple[datetime, Path]]:
        """Every frame of the folder with its instant, in order of time."""
        return sorted(
            (name.taken_at, Path(folder, file))
            for folder, _, files in os.walk(self._folder, followlinks=True)
            for file in files
            if (name := read_name(file)) is not None
        )

"""How a frame file is named: ``frames/CAMERA/2031-04-17/20310417T113000Z.jpg``.

The folder is the local day, the name the UTC second. A second, different frame of the same
second carries a counter: ``20310417T113000Z-2.jpg``.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import PurePosixPath

FRAMES = "frames"
ASIDE = "aside"
SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}

_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"(?P<stamp>\d{8}T\d{6}Z)(?:-(?P<counter>[2-9]|[1-9]\d+))?(?P<suffix>\.[a-z]+)")


@dataclass(frozen=True)
class FrameName:
    """What a frame file's name says.

    Attributes
    ----------
    taken_at : datetime
        UTC instant, to the second.
    counter : int
        1 for the first frame of that second.
    suffix : str
        File suffix with its dot.
    """

    taken_at: datetime
    counter: int
    suffix: str

    def __str__(self) -> str:
        counter = "" if self.counter == 1 else f"-{self.counter}"
        return f"{stamp(self.taken_at)}{counter}{self.suffix}"


def stamp(taken_at: datetime) -> str:
    """The UTC second of an instant, as names carry it: ``20310417T113000Z``."""
    return f"{taken_at.astimezone(UTC):{_STAMP}}"


def read_stamp(text: str) -> datetime:
    """The instant that :func:`stamp` wrote; a ValueError where it is none."""
    return datetime.strptime(text, _STAMP).replace(tzinfo=UTC)


def read_name(name: str) -> FrameName | None:
    """What `name` says as a frame's file name; None where it is not one."""
    match = _NAME.fullmatch(name)
    if match is None or match["suffix"] not in SUFFIXES.values():
        return None
    try:
        taken_at = read_stamp(match["stamp"])
    except ValueError:
        return None
    return FrameName(taken_at, int(match["counter"] or 1), match["suffix"])


def day_folder(camera: str, day: date) -> PurePosixPath:
    """Folder of one camera's local day, relative to the season folder."""
    return PurePosixPath(FRAMES, camera, day.isoformat())


def aside_folder(camera: str) -> PurePosixPath:
    """Folder of frames whose date cannot be true, relative to the season folder."""
    return PurePosixPath(FRAMES, camera, ASIDE)

"""Frames taken before the machine knew the time: kept apart, and filed once it is known.

Privacy areas are black in them already; the time is written into their EXIF when it is known. They
lie in ``frames/CAMERA/aside`` under the machine's start and the seconds since then
(``BOOT-0000001234.567.jpg``). When the time is known, the name gets the date first
(``BOOT-0000001234.567-20310417T113000Z.jpg``) and then the frame is filed under it, so that a
filing cut off anywhere goes on with the same date. Frames of a start in which the time was never
known stay there: no date is invented for them.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import PurePosixPath

from lapsekit.catalogue import Frame
from lapsekit.errors import PictureError
from lapsekit.frames.finishing import finished
from lapsekit.frames.indexing import described
from lapsekit.frames.inspection import inspect
from lapsekit.frames.names import aside_folder, read_stamp, stamp
from lapsekit.season import Season
from lapsekit.unattended.clock import Machine, SteadyClock, boot_moment

_NAME = re.compile(
    r"(?P<boot>[0-9a-f-]{8,36}|unknown)-(?P<after>\d{10}\.\d{3})"
    r"(?:-(?P<dated>\d{8}T\d{6}Z))?(?P<suffix>\.[a-z]+)"
)


@dataclass(frozen=True)
class WaitingFrame:
    """A frame without a date: which camera took it, in which start of the machine, and when.

    `taken_at` is None until its date is known.
    """

    camera: str
    path: PurePosixPath
    boot_id: str
    since_boot: timedelta
    taken_at: datetime | None
    suffix: str


def keep_waiting(
    season: Season, camera: str, machine: Machine, since_boot: timedelta, data: bytes, suffix: str
) -> str:
    """Keep a frame whose time is not known; its path. Raises as `Archive.store`."""
    name = f"{machine.boot_id}-{since_boot.total_seconds():014.3f}{suffix}"
    return season.archive.put(aside_folder(camera) / name, data)


def waiting_frames(season: Season) -> Iterator[WaitingFrame]:
    """Every frame that waits, in order of camera, start and time."""
    for camera in season.settings.cameras:
        folder = aside_folder(camera)
        for file in sorted((season.folder / folder).glob("*")):
            found = _NAME.fullmatch(file.name)
            if found:
                yield WaitingFrame(
                    camera,
                    folder / file.name,
                    found["boot"],
                    timedelta(seconds=float(found["after"])),
                    read_stamp(found["dated"]) if found["dated"] else None,
                    found["suffix"],
                )


def file_waiting(
    season: Season, clock: SteadyClock, machine: Machine, waiting: WaitingFrame
) -> Frame | None:
    """File one frame, if it has a date or is of this start of the machine, whose time is known.

    It is filed and noted before its copy among the waiting goes: the same frame filed twice is
    filed once.

    Returns
    -------
    Frame or None
        None for a frame of another start, for which no date is known.

    Raises
    ------
    PictureError
        If it is no whole picture (any more); it stays where it is.
    ArchiveError, CatalogueError
        As `capture` does.
    """
    if waiting.taken_at is None and waiting.boot_id == machine.boot_id:
        waiting = _dated(season, waiting, boot_moment(clock, machine, waiting.since_boot))
    return None if waiting.taken_at is None else _filed(season, waiting)


def _dated(season: Season, waiting: WaitingFrame, taken_at: datetime) -> WaitingFrame:
    stem = waiting.path.name.removesuffix(waiting.suffix)
    path = waiting.path.with_name(f"{stem}-{stamp(taken_at)}{waiting.suffix}")
    (season.folder / waiting.path).rename(season.folder / path)
    return replace(waiting, path=path, taken_at=taken_at.replace(microsecond=0))


def _filed(season: Season, waiting: WaitingFrame) -> Frame:
    data = season.archive.read(str(waiting.path))
    try:
        facts = inspect(data)
    except PictureError as error:
        raise PictureError(
            f"{season.folder / waiting.path}: {error}; look at it by hand"
        ) from error
    data = finished(
        data,
        taken_at=waiting.taken_at,
        zone=season.zone,
        camera=waiting.camera,
    )
    kept = season.archive.store(waiting.camera, waiting.taken_at, data, waiting.suffix)
    frame = described(kept, data, season.day_of, "capture", facts)
    season.catalogue.add_frames([frame])
    (season.folder / waiting.path).unlink(missing_ok=True)
    return frame

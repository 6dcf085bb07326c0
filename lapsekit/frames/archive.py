"""The frame files of a season: written once, never changed.

A frame is written under a temporary name in its own folder, synced, linked to its final name
and the folder synced, so that a power cut leaves either the whole frame or none. A name that
is taken is never overwritten: the next counter is tried.
"""

import errno
import hashlib
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath
from zoneinfo import ZoneInfo

from lapsekit.errors import ArchiveError
from lapsekit.frames.names import (
    ASIDE,
    FRAMES,
    FrameName,
    aside_folder,
    day_folder,
    read_name,
)
from lapsekit.safely import PART, part_of, remedy_of
from lapsekit.when import local_day

_LEFT_OVER_AFTER_S = 3600


@dataclass(frozen=True)
class FrameFile:
    """A frame file found in, or put into, the archive.

    Attributes
    ----------
    camera : str
        Camera name.
    path : str
        Path relative to the season folder, with forward slashes.
    name : FrameName
        What the file name says: instant, counter, suffix.
    new : bool
        False if a file of the same content already had the name.
    """

    camera: str
    path: str
    name: FrameName
    new: bool = True


@dataclass(frozen=True)
class DayFolder:
    """A camera's day in the archive.

    Attributes
    ----------
    camera : str
    path : str
        Relative to the season folder, with forward slashes.
    changed_ns : int or None
        When a file last came into it or left it, in nanoseconds since 1970; None where the place
        does not tell.
    """

    camera: str
    path: str
    changed_ns: int | None


def content_hash(data: bytes) -> str:
    """SHA-256 of a frame's bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


class Archive:
    """The ``frames`` folder of one season.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    zone : zoneinfo.ZoneInfo
        Zone whose midnight ends a day.
    """

    def __init__(self, folder: Path, zone: ZoneInfo):
        self._folder = folder
        self._zone = zone

    @property
    def folder(self) -> Path:
        """The season folder."""
        return self._folder

    def store(self, camera: str, taken_at: datetime, data: bytes, suffix: str) -> FrameFile:
        """File one frame under its day.

        Raises
        ------
        ArchiveError
            If the frame could not be written whole (disk full, no permission). Nothing is left
            behind, and nothing that was filed before is touched.
        """
        day = local_day(taken_at, self._zone)
        return self._put(day_folder(camera, day), camera, taken_at, data, suffix)

    def set_aside(self, camera: str, taken_at: datetime, data: bytes, suffix: str) -> FrameFile:
        """Keep a frame whose date cannot be true apart from the others; raises as `store`."""
        return self._put(aside_folder(camera), camera, taken_at, data, suffix)

    def put(self, path: PurePosixPath, data: bytes) -> str:
        """Keep a file under a name of its own below the season folder; its path. Raises as `store`.

        A name that is taken by other content is not touched: it is an `ArchiveError` too.
        """
        folder = self._folder / path.parent
        with _told_by(folder):
            _make_folder(folder)
            with _part_file(folder, data) as part:
                target = self._folder / path
                if not _link(part, target) and target.read_bytes() != data:
                    raise FileExistsError(errno.EEXIST, "the name is taken", str(target))
                _sync_folder(folder)
        return str(path)

    def read(self, path: str) -> bytes:
        """Bytes of the frame at `path`, relative to the season folder.

        Raises
        ------
        ArchiveError
            If the file cannot be read.
        """
        try:
            return (self._folder / path).read_bytes()
        except OSError as error:
            raise ArchiveError(f"{self._folder / path}: cannot be read ({error})") from error

    def files(self) -> Iterator[FrameFile]:
        """Every filed frame, ordered by camera, day and name; what was set aside is left out.

        Raises
        ------
        ArchiveError
            If a folder of the archive cannot be read.
        """
        for folder in self.folders():
            yield from self.files_in(folder)

    def folders(self) -> Iterator[DayFolder]:
        """Every day folder, ordered by camera and day; raises as `files`."""
        for camera in _entries(self._folder / FRAMES):
            for name, changed_ns in _folders(camera):
                if name != ASIDE:
                    path = PurePosixPath(FRAMES, camera.name, name)
                    yield DayFolder(camera.name, str(path), changed_ns)

    def changed_ns(self, folder: DayFolder) -> int | None:
        """When a day folder was changed, looked up now; None where the place does not tell."""
        return (self._folder / folder.path).stat().st_mtime_ns

    def files_in(self, folder: DayFolder) -> list[FrameFile]:
        """The filed frames of a day folder, ordered by name; raises as `files`."""
        found = ((f.name, read_name(f.name)) for f in _entries(self._folder / folder.path))
        return [
            FrameFile(folder.camera, f"{folder.path}/{file}", name)
            for file, name in found
            if name is not None
        ]

    def thin_out(self, paths: Iterable[str]) -> None:
        """Delete frames that are written down as thinned out; those already gone do not matter.

        Raises
        ------
        ArchiveError
            If one could not be deleted.
        """
        folders = set()
        for path in paths:
            file = self._folder / path
            try:
                file.unlink(missing_ok=True)
            except OSError as error:
                raise ArchiveError(f"{file}: cannot be deleted ({error.strerror})") from error
            folders.add(file.parent)
        for folder in folders:
            _sync_folder(folder)

    def remove_leftovers(self, folder: DayFolder) -> bool:
        """Delete temporary files that a write interrupted long ago left; whether none is left now.

        Younger ones may belong to a capture that is under way.
        """
        before = time.time() - _LEFT_OVER_AFTER_S
        found = list((self._folder / folder.path).glob(f"{PART}*"))
        leftovers = [file for file in found if _written(file) < before]
        for file in leftovers:
            file.unlink(missing_ok=True)
        return len(leftovers) == len(found)

    def _put(
        self,
        relative: PurePosixPath,
        camera: str,
        taken_at: datetime,
        data: bytes,
        suffix: str,
    ) -> FrameFile:
        folder = self._folder / relative
        counter = 1
        with _told_by(folder):
            _make_folder(folder)
            with _part_file(folder, data) as part:
                while True:
                    name = FrameName(taken_at.replace(microsecond=0), counter, suffix)
                    file = FrameFile(camera, str(relative / str(name)), name)
                    target = folder / str(name)
                    if _link(part, target):
                        _sync_folder(folder)
                        return file
                    if target.read_bytes() == data:
                        return FrameFile(camera, file.path, name, new=False)
                    counter += 1


@contextmanager
def _told_by(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        remedy = remedy_of(error) or "check the disk"
        raise ArchiveError(
            f"{folder}: the frame was not stored ({error.strerror}): {remedy}. "
            "Frames stored before are untouched."
        ) from error


@contextmanager
def _part_file(folder: Path, data: bytes) -> Iterator[Path]:
    """A synced file of `data` under a temporary name, gone when the block ends."""
    part = part_of(folder / content_hash(data)[:12])
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        yield part
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _link(part: Path, target: Path) -> bool:
    """Give `part` its final name; False if the name is taken. Falls back to a rename."""
    try:
        os.link(part, target)
    except FileExistsError:
        return False
    except OSError as error:
        if error.errno not in {errno.EPERM, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}:
            raise
        if target.exists():  # a card formatted without hard links (FAT, exFAT)
            return False
        part.rename(target)
    return True


def _make_folder(folder: Path) -> None:
    if not folder.is_dir():
        _make_folder(folder.parent)
        folder.mkdir(exist_ok=True)
        _sync_folder(folder.parent)


def _written(file: Path) -> float:
    """When a file was last written, in seconds; endless for one that has just gone."""
    try:
        return file.stat().st_mtime
    except FileNotFoundError:
        return float("inf")


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno != errno.EINVAL:  # some network file systems cannot sync a folder
            raise
    finally:
        os.close(handle)


def _folders(folder: Path) -> list[tuple[str, int]]:
    """Names of the folders in one, in order, and when each was last changed."""
    try:
        with os.scandir(folder) as found:
            there = (e for e in found if not e.name.startswith(".") and e.is_dir())
            return sorted((entry.name, entry.stat().st_mtime_ns) for entry in there)
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        raise ArchiveError(f"{folder}: the folder cannot be read ({error.strerror})") from error


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(p for p in folder.iterdir() if not p.name.startswith("."))
    except FileNotFoundError:
        return []
    except NotADirectoryError:
        return []
    except OSError as error:
        raise ArchiveError(f"{folder}: the folder cannot be read ({error.strerror})") from error

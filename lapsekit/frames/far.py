"""Frames that lie elsewhere: read where they are, listed by their names, never written.

Below its address a place holds what ``frames`` of a season folder would: ``CAMERA/DAY/TIME.jpg``.
fsspec reads it: a folder (``file:///…``), SFTP (``sftp://…``) or S3 (``s3://…``).
"""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from lapsekit.errors import ArchiveError, MissingExtra
from lapsekit.frames.archive import Archive, DayFolder, FrameFile
from lapsekit.frames.names import ASIDE, FRAMES, read_name

_TRIES = 3
_PAUSE_S = 0.5


@dataclass(frozen=True)
class FarFrames:
    """A place that holds frames; it can be sent to another machine, which then reads there.

    Attributes
    ----------
    at : str
        Its address, of kind ``file``, ``sftp`` or ``s3``.
    options : mapping
        What fsspec is told to get in there; it stands in no message.
    """

    at: str
    options: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @classmethod
    def of_folder(cls, folder: Path) -> "FarFrames":
        """The place that a season folder's own frames are."""
        return cls(f"file://{folder.resolve() / FRAMES}")

    def read(self, path: str) -> bytes:
        """Bytes of a frame.

        Parameters
        ----------
        path : str
            As the catalogue has it, ``frames/CAMERA/DAY/NAME``.

        Raises
        ------
        ArchiveError
            If it is not there, or could not be read in three attempts.
        MissingExtra
            If the library for that kind of address is not installed.
        """
        below = path.removeprefix(f"{FRAMES}/")
        for attempt in range(1, _TRIES + 1):
            try:
                system = self._system()
                return system.cat_file(f"{self._root(system)}/{below}")
            except (FileNotFoundError, IsADirectoryError) as error:
                raise ArchiveError(f"{self.at}/{below}: no such file there") from error
            except MissingExtra:
                raise
            except Exception as error:  # each kind of place has errors of its own
                if attempt == _TRIES or isinstance(error, PermissionError):
                    raise _unread(f"{self.at}/{below}", error) from error
                self._forget_connections()
                time.sleep(_PAUSE_S * attempt)
        raise AssertionError("unreachable")

    def files(self) -> Iterator[FrameFile]:
        """Every frame there, ordered by camera, day and name; what was set aside is left out.

        Raises
        ------
        ArchiveError
            If the place cannot be listed, or holds no frame at all: a wrong address must not look
            like a season that lost everything.
        """
        try:
            system = self._system()
            root = self._root(system)
            found = system.find(root)
        except MissingExtra:
            raise
        except Exception as error:
            raise _unread(self.at, error) from error
        listed = list(filter(None, (_frame_file(name, root) for name in found)))
        if not listed:
            raise ArchiveError(
                f"{self.at}: no frame there (CAMERA/DAY/TIME.jpg); check the address"
            )
        yield from sorted(listed, key=lambda file: PurePosixPath(file.path).parts)

    def _system(self) -> Any:
        """The file system, connected; fsspec keeps one for each thread."""
        kind = self._kind()
        told = kind._get_kwargs_from_urls(self.at)
        if self.at.startswith("s3:"):
            told["use_listings_cache"] = False
        return kind(**{**told, **self.options})

    def _kind(self) -> Any:
        try:
            import fsspec

            if self.at.startswith("sftp:"):
                from lapsekit.frames.sftp import KnownSftp

                return KnownSftp
            return fsspec.get_filesystem_class(self.at.split(":")[0])
        except ImportError as error:
            raise MissingExtra(f"reading frames at {self.at}", "cluster") from error

    def _root(self, system: Any) -> str:
        return system._strip_protocol(self.at).rstrip("/")

    def _forget_connections(self) -> None:
        """Connect anew at the next attempt: a connection that broke stays broken."""
        self._kind().clear_instance_cache()


class FarArchive(Archive):
    """The frames of a season that lie elsewhere; the season folder holds all the rest.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    zone : zoneinfo.ZoneInfo
        Zone whose midnight ends a day.
    frames : FarFrames
        Where they lie.
    """

    def __init__(self, folder: Path, zone: ZoneInfo, frames: FarFrames):
        super().__init__(folder, zone)
        self.frames = frames
        self._listed: dict[str, list[FrameFile]] = {}

    def read(self, path: str) -> bytes:
        """Bytes of a frame; raises as `FarFrames.read`."""
        return self.frames.read(path)

    def files(self) -> Iterator[FrameFile]:
        """Every frame there; raises as `FarFrames.files`."""
        return self.frames.files()

    def folders(self) -> Iterator[DayFolder]:
        """Every day folder there, listed at once; raises as `FarFrames.files`."""
        listed: dict[str, list[FrameFile]] = {}
        for file in self.frames.files():
            listed.setdefault(file.path.rpartition("/")[0], []).append(file)
        self._listed = listed
        return iter([DayFolder(files[0].camera, at, None) for at, files in listed.items()])

    def files_in(self, folder: DayFolder) -> list[FrameFile]:
        """Frames of a day folder, as they were when all were listed."""
        return self._listed.get(folder.path, [])

    def changed_ns(self, folder: DayFolder) -> None:
        """Nothing: places differ in what they tell of a folder."""

    def remove_leftovers(self, folder: DayFolder) -> bool:
        """Leave all: whoever writes there looks after it."""
        return True

    def store(self, camera: str, taken_at: datetime, data: bytes, suffix: str) -> NoReturn:
        """Refuse; raises ArchiveError."""
        self._refuse()

    def set_aside(self, camera: str, taken_at: datetime, data: bytes, suffix: str) -> NoReturn:
        """Refuse; raises ArchiveError."""
        self._refuse()

    def put(self, path: PurePosixPath, data: bytes) -> NoReturn:
        """Refuse; raises ArchiveError."""
        self._refuse()

    def thin_out(self, paths: object) -> NoReturn:
        """Refuse; raises ArchiveError."""
        self._refuse()

    def _refuse(self) -> NoReturn:
        raise ArchiveError(
            f"{self.folder}: its frames lie at {self.frames.at} ([frames] at in season.toml), "
            "where lapsekit reads and never writes; add frames, or take them away, where they are "
            "written"
        )


def _frame_file(name: str, root: str) -> FrameFile | None:
    """A file found there as a frame; None where its name says that it is none."""
    parts = name.removeprefix(root).strip("/").split("/")
    if len(parts) != 3 or parts[1] == ASIDE or parts[0].startswith("."):
        return None
    told = read_name(parts[2])
    return told and FrameFile(parts[0], str(PurePosixPath(FRAMES, *parts)), told)


def _unread(where: str, error: Exception) -> ArchiveError:
    kind = type(error).__name__
    return ArchiveError(f"{where}: cannot be read ({kind}: {error}); check address and access")

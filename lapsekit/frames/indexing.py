"""Bring the catalogue into step with the frame files: the files are the truth.

A day's folder says when a file last came into it or left it. Folders that are as they were when
the catalogue was last in step with them are not read again.
"""

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from lapsekit.catalogue import Catalogue, Frame
from lapsekit.errors import ArchiveError, CatalogueError, PictureError
from lapsekit.frames.archive import Archive, DayFolder, FrameFile, content_hash
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.frames.thinned import FRAMES_FILE, THINNED, Thinned
from lapsekit.progress import Track, silent
from lapsekit.when import days_mark, local_day

_BATCH = 200

_STILL_NS = 3_000_000_000
"""A folder changed later than so long ago may change again within one tick of its clock."""


@dataclass
class IndexReport:
    """What indexing did: frames added, forgotten, and files that are no whole picture.

    Frames that were thinned out are not counted as forgotten.
    """

    added: int = 0
    forgotten: int = 0
    unreadable: list[tuple[str, str]] = field(default_factory=list)


def index(
    archive: Archive,
    catalogue: Catalogue,
    zone: ZoneInfo,
    thorough: bool = False,
    rebuild: bool = False,
    track: Track = silent,
) -> IndexReport:
    """Add frame files that the catalogue does not know and forget those that are gone.

    Parameters
    ----------
    archive : Archive
        The season's frame files.
    catalogue : Catalogue
        The catalogue to bring into step.
    zone : zoneinfo.ZoneInfo
        Zone whose midnight ends a day.
    thorough : bool
        Read every folder, whenever it was changed: some disks (FAT, written by other systems) do
        not say that a folder was.
    rebuild : bool
        Forget everything first, so that every file is read again.
    track : Track
        Told about progress.

    Returns
    -------
    IndexReport
        A file that is not a whole picture stays where it is and is listed.
    """
    day_of = partial(local_day, zone=zone)
    if rebuild:
        catalogue.clear()
    _note_thinned(archive.folder, catalogue)
    _redate(catalogue, day_of, zone)
    known = catalogue.folders()
    there = list(archive.folders())
    changed = [f for f in there if thorough or known.get(f.path) != f.changed_ns]
    step = _Step(archive, catalogue, day_of, known)
    for folder in known.keys() - {folder.path for folder in there}:
        step.forget(catalogue.paths_in(folder))
        catalogue.forget_folders([folder])
    for folder in track(changed, len(changed), "indexing"):
        step.read(folder)
    step.store()
    return step.report


class _Step:
    """Folders brought into step one after the other."""

    def __init__(
        self,
        archive: Archive,
        catalogue: Catalogue,
        day_of: Callable[[datetime], date],
        known: Mapping[str, int | None],
    ):
        self.archive, self.catalogue, self.day_of = archive, catalogue, day_of
        self.report = IndexReport()
        self._known = known
        self._found: list[Frame] = []
        self._read: dict[str, int | None] = {}

    def read(self, folder: DayFolder) -> None:
        """Read one folder."""
        is_tidy = self.archive.remove_leftovers(folder)
        changed_ns = (self.archive.folder / folder.path).stat().st_mtime_ns
        files = {file.path: file for file in self.archive.files_in(folder)}
        known = self.catalogue.paths_in(folder.path)
        self.forget(known - files.keys())
        unreadable = len(self.report.unreadable)
        self._found += self._described([files[path] for path in files if path not in known])
        is_still = time.time_ns() - changed_ns > _STILL_NS
        is_whole = len(self.report.unreadable) == unreadable
        changed_ns = changed_ns if is_tidy and is_still and is_whole else None
        if changed_ns != self._known.get(folder.path, -1):
            self._read[folder.path] = changed_ns
        if len(self._found) >= _BATCH or len(self._read) >= _BATCH:
            self.store()

    def _described(self, files: list[FrameFile]) -> Iterator[Frame]:
        for file in files:
            try:
                yield described(file, self.archive.read(file.path), self.day_of, "found")
            except (PictureError, ArchiveError) as error:
                self.report.unreadable.append((file.path, str(error)))

    def forget(self, gone: set[str]) -> None:
        """Forget frames whose files are gone."""
        if gone:
            thinned = self.catalogue.thinned_among(gone)
            self.catalogue.remove_frames(sorted(gone))
            self.report.forgotten += len(gone - thinned)

    def store(self) -> None:
        """Store what was read since the last time."""
        if self._found:
            self.catalogue.add_frames(self._found)
        if self._read:
            with suppress(CatalogueError):  # a full disk: they are read again
                self.catalogue.note_folders(self._read)
        self.report.added += len(self._found)
        self._found, self._read = [], {}


def _note_thinned(folder: Path, catalogue: Catalogue) -> None:
    """Note frames thinned out, if what is written down of them changed since the last time."""
    try:
        stat = (folder / THINNED / FRAMES_FILE).stat()
    except OSError:
        return
    mark = f"{stat.st_size} {stat.st_mtime_ns}"
    if catalogue.noted("thinned read") != mark:
        catalogue.note_thinned((g.frame, g.reasons) for g in Thinned(folder).frames.values())
        catalogue.note("thinned read", mark)


def _redate(catalogue: Catalogue, day_of: Callable[[datetime], date], zone: ZoneInfo) -> None:
    """Date frames anew where the zone's days are others than they were."""
    span = catalogue.span()
    if span is not None:
        mark = days_mark(span[0].year - 1, span[1].year + 1, zone)
        if catalogue.noted("dated by") != mark:
            catalogue.redate(day_of)
            with suppress(CatalogueError):  # a full disk: it is found again
                catalogue.note("dated by", mark)


def described(
    file: FrameFile,
    data: bytes,
    day_of: Callable[[datetime], date],
    arrived_by: str,
    facts: PictureFacts | None = None,
) -> Frame:
    """Catalogue row of a stored frame, of whose picture `facts` may be known already.

    Raises
    ------
    PictureError
        If `data` is not a whole picture.
    """
    facts = facts or inspect(data)
    return Frame(
        camera=file.camera,
        taken_at=file.name.taken_at,
        day=day_of(file.name.taken_at),
        path=file.path,
        sha256=content_hash(data),
        size=len(data),
        width=facts.width,
        height=facts.height,
        arrived_by=arrived_by,
    )

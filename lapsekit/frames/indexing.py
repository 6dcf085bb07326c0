"""Bring the catalogue into step with the frame files: the files are the truth.

A day's folder says when a file last came into it or left it. Folders that are as they were when
the catalogue was last in step with them are not read again.
"""

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from lapsekit.catalogue import Catalogue, Frame
from lapsekit.errors import ArchiveError, CatalogueError, PictureError
from lapsekit.frames.archive import FRAMES, Archive, DayFolder, FrameFile, content_hash
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.frames.thinned import FRAMES_FILE, THINNED, Thinned
from lapsekit.progress import Track, silent
from lapsekit.when import days_mark, local_day

_FEW_DAYS = 6
"""Fewer may be deleted on purpose: what was taken while a bench was set up."""

_BATCH = 200
_FAR_BATCH = 5000
"""New files looked at together on other machines, so that all of them have work."""

_STILL_NS = 3_000_000_000
"""A folder changed later than so long ago may change again within one tick of its clock."""


@dataclass(frozen=True)
class Content:
    """What a frame's bytes say of it."""

    sha256: str
    size: int
    width: int
    height: int

    @classmethod
    def of(cls, data: bytes, facts: PictureFacts | None = None) -> "Content":
        """Look at a frame's bytes; raises PictureError if they are not a whole picture."""
        facts = facts or inspect(data)
        return cls(content_hash(data), len(data), facts.width, facts.height)


#: Looks at frame files, by their paths: for each, in order, its content, or why it is none.
Look = Callable[[list[str]], Iterator[Content | str]]


def looked_at(read: Callable[[str], bytes], paths: Iterable[str]) -> Iterator[Content | str]:
    """What is in frame files, in order; a text where one cannot be used."""
    for path in paths:
        try:
            yield Content.of(read(path))
        except (PictureError, ArchiveError) as error:
            yield str(error)


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
    look: Look | None = None,
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
    look : Look, optional
        Looks at new files; in this process by default.

    Returns
    -------
    IndexReport
        A file that is not a whole picture stays where it is and is listed.

    Raises
    ------
    ArchiveError
        If most of what the catalogue knows is not there, before anything is forgotten.
    """
    day_of = partial(local_day, zone=zone)
    if rebuild:
        catalogue.clear()
    _note_thinned(archive.folder, catalogue)
    _redate(catalogue, day_of, zone)
    known = catalogue.folders()
    there = list(archive.folders())
    if lost := lost_days(known, (folder.path for folder in there)):
        raise ArchiveError(
            f"{archive.folder / FRAMES}: {lost}. Is a disk not mounted, or the folder moved? "
            "Nothing was changed. If they are gone for good, lapsekit index --rebuild forgets "
            "them; then all that is there is measured again"
        )
    changed = [f for f in there if thorough or not _is_known(f, known)]
    step = _Step(archive, catalogue, day_of, known, look)
    for folder in known.keys() - {folder.path for folder in there}:
        step.forget(catalogue.paths_in(folder))
        catalogue.forget_folders([folder])
    for folder in track(changed, len(changed), "indexing"):
        step.read(folder)
    step.store()
    return step.report


def lost_days(known: Iterable[str], there: Iterable[str]) -> str:
    """What is lost where the folders of most of the days that a catalogue knows are not there.

    Empty where few are missing: days may be deleted, and cameras renamed, whose days are there by
    another path.

    Parameters
    ----------
    known, there : iterable of str
        Paths of day folders.
    """
    both = [Counter(path.rpartition("/")[2] for path in paths) for paths in (known, there)]
    days, left = both[0].total(), (both[0] & both[1]).total()
    if days < _FEW_DAYS or 2 * left >= days:
        return ""
    return f"of {days} days' folders with frames that are known, {left or 'none'} can be found"


def _is_known(folder: DayFolder, known: Mapping[str, int | None]) -> bool:
    """Whether a folder is as it was when it was last read; some places do not tell."""
    return folder.changed_ns is not None and known.get(folder.path) == folder.changed_ns


class _Step:
    """Folders brought into step one after the other; their new files are looked at in parts."""

    def __init__(
        self,
        archive: Archive,
        catalogue: Catalogue,
        day_of: Callable[[datetime], date],
        known: Mapping[str, int | None],
        look: Look | None,
    ):
        self.archive, self.catalogue, self.day_of = archive, catalogue, day_of
        self.report = IndexReport()
        self._look = look or partial(looked_at, archive.read)
        self._part = _BATCH if look is None else _FAR_BATCH
        self._known = known
        self._new: list[FrameFile] = []
        self._read: dict[str, int | None] = {}

    def read(self, folder: DayFolder) -> None:
        """Read one folder."""
        is_tidy = self.archive.remove_leftovers(folder)
        changed_ns = self.archive.changed_ns(folder)
        files = {file.path: file for file in self.archive.files_in(folder)}
        known = self.catalogue.paths_in(folder.path)
        self.forget(known - files.keys())
        self._new += [file for path, file in files.items() if path not in known]
        is_still = changed_ns is not None and time.time_ns() - changed_ns > _STILL_NS
        changed_ns = changed_ns if is_tidy and is_still else None
        if changed_ns != self._known.get(folder.path, -1):
            self._read[folder.path] = changed_ns
        if max(len(self._new), len(self._read)) >= self._part:
            self.store()

    def forget(self, gone: set[str]) -> None:
        """Forget frames whose files are gone."""
        if gone:
            thinned = self.catalogue.thinned_among(gone)
            self.catalogue.remove_frames(sorted(gone))
            self.report.forgotten += len(gone - thinned)

    def store(self) -> None:
        """Look at what is new since the last time, and store it; unreadable files wait."""
        found, contents = [], self._look([file.path for file in self._new])
        for file, content in zip(self._new, contents, strict=True):
            if isinstance(content, str):
                self.report.unreadable.append((file.path, content))
                self._read[file.path.rpartition("/")[0]] = None
            else:
                found.append(_row(file, content, self.day_of, "found"))
        if found:
            self.catalogue.add_frames(found)
        if self._read:
            with suppress(CatalogueError):  # a full disk: they are read again
                self.catalogue.note_folders(self._read)
        self.report.added += len(found)
        self._new, self._read = [], {}


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
    return _row(file, Content.of(data, facts), day_of, arrived_by)


def _row(
    file: FrameFile, content: Content, day_of: Callable[[datetime], date], arrived_by: str
) -> Frame:
    return Frame(
        camera=file.camera,
        taken_at=file.name.taken_at,
        day=day_of(file.name.taken_at),
        path=file.path,
        arrived_by=arrived_by,
        **vars(content),
    )

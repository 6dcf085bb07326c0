"""Bring the catalogue into step with the frame files: the files are the truth."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime

from lapsekit.catalogue import Catalogue, Frame
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.frames.archive import Archive, FrameFile, content_hash
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.frames.thinned import Thinned
from lapsekit.progress import Track, silent

_BATCH = 200


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
    day_of: Callable[[datetime], date],
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
    day_of : callable
        Local day of an instant.
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
    """
    report = IndexReport()
    archive.remove_leftovers()
    if rebuild:
        catalogue.clear()
    thinned = Thinned(archive.folder).frames
    noted = catalogue.thinned_paths()
    catalogue.note_thinned((g.frame, g.reasons) for p, g in thinned.items() if p not in noted)
    catalogue.redate(day_of)
    known = catalogue.paths()
    files = list(archive.files())
    gone = known - {f.path for f in files}
    catalogue.remove_frames(sorted(gone))
    report.forgotten = len(gone - thinned.keys())
    new = [f for f in files if f.path not in known]
    batch: list[Frame] = []
    paths = [file.path for file in new]
    found = look(paths) if look else looked_at(archive.read, paths)
    for file, content in track(zip(new, found, strict=True), len(new), "indexing"):
        if isinstance(content, str):
            report.unreadable.append((file.path, content))
            continue
        batch.append(_row(file, content, day_of, "found"))
        if len(batch) == _BATCH:
            catalogue.add_frames(batch)
            report.added += len(batch)
            batch = []
    catalogue.add_frames(batch)
    report.added += len(batch)
    return report


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

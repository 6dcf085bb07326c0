"""Bring the catalogue into step with the frame files: the files are the truth."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime

from lapsekit.catalogue import Catalogue, Frame
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.frames.archive import Archive, FrameFile, content_hash
from lapsekit.frames.inspection import PictureFacts, inspect
from lapsekit.frames.thinned import Thinned
from lapsekit.progress import Track, silent

_BATCH = 200


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
    for file in track(new, len(new), "indexing"):
        try:
            batch.append(described(file, archive.read(file.path), day_of, "found"))
        except (PictureError, ArchiveError) as error:
            report.unreadable.append((file.path, str(error)))
            continue
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

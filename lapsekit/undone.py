"""Which frames are not done by today's settings, found without looking at those that are.

Every frame carries the mark by which it was last found done. By today's settings a camera's frames
of one size and one span between changes of outlines have one such mark: frames that carry another,
or none, are looked at one by one, page by page, and those that are done after all are noted so.
"""

from collections.abc import Iterator
from datetime import date, timedelta

from lapsekit.catalogue import Done, Frame
from lapsekit.ruler import UNREADABLE, Ruler, mark_of

_DAY = timedelta(days=1)


def frames_not_done(ruler: Ruler, note: bool = False) -> tuple[list[Frame], int]:
    """Frames whose rows are missing or of other settings, and the number of the rest.

    Parameters
    ----------
    ruler : Ruler
        Knows the marks of today's settings.
    note : bool
        Whether to note those that are done; the caller holds the season's stage lock then.
    """
    catalogue, waiting, number = ruler.season.catalogue, [], 0
    for camera in sorted(ruler.season.settings.cameras):
        number += catalogue.number_of_frames(camera)
        found = [f for page in _doubtful(ruler, camera) for f in _not_done(ruler, page, note)]
        waiting += sorted(found, key=lambda frame: (frame.taken_at, frame.path))
    return waiting, number - len(waiting)


def _doubtful(ruler: Ruler, camera: str) -> Iterator[list[Frame]]:
    """Pages of frames that carry another mark than today's settings give."""
    catalogue = ruler.season.catalogue
    for group in catalogue.groups(camera):
        for first, last in _spans(ruler, camera):
            frame = _frame_like(camera, first, group)
            if group[0] != _done_mark(ruler, frame):
                yield from catalogue.frames_with(camera, group, first, last)


def _spans(ruler: Ruler, camera: str) -> list[tuple[date, date]]:
    """First and last days of the spans in which a camera's outlines stay the same."""
    starts = {date.min}
    for region in ruler.season.regions.region:
        if region.camera == camera:
            starts |= {outline.valid_from for outline in region.outline}
            starts |= {region.until + _DAY} if region.until else set()
    days = sorted(starts)
    return list(zip(days, [*(day - _DAY for day in days[1:]), date.max], strict=True))


def _frame_like(camera: str, day: date, group: tuple[str, int, int]) -> Frame:
    return Frame(camera, None, day, "", "", 0, *group[1:], "")


def _done_mark(ruler: Ruler, frame: Frame) -> str:
    """Mark of all that there has to be of a frame."""
    return mark_of("done", ruler.screening_mark(frame), sorted(ruler.marks(frame).items()))


def _not_done(ruler: Ruler, page: list[Frame], note: bool) -> list[Frame]:
    there = ruler.season.catalogue.done(page)
    waiting = [frame for frame in page if not _is_done(ruler, frame, there.get(frame.path))]
    if note and len(waiting) < len(page):
        left = {frame.path for frame in waiting}
        done = {f.path: _done_mark(ruler, f) for f in page if f.path not in left}
        ruler.season.catalogue.note_done(done)
    return waiting


def _is_done(ruler: Ruler, frame: Frame, there: Done | None) -> bool:
    if there is None or there.screening_mark != ruler.screening_mark(frame):
        return False
    if there.reasons == (UNREADABLE,) or there.is_lost:
        return True
    return there.marks == ruler.marks(frame)

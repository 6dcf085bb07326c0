"""Which of a day's frames stay when it is thinned out."""

from collections.abc import Collection, Sequence
from datetime import datetime

from lapsekit.catalogue import Frame
from lapsekit.daylight import Window
from lapsekit.frames.choosing import daily_picture


def staying(
    frames: Sequence[Frame],
    *,
    usable: Collection[str],
    named: Collection[str],
    daily_at: datetime,
    window: Window | None,
    a_day: int,
) -> set[str]:
    """Paths of the frames of one camera's day that stay.

    Parameters
    ----------
    frames : sequence of Frame
        All of the day.
    usable : collection of str
        Paths of those that may be used.
    named : collection of str
        Paths of frames that something else names; of these all stay.
    daily_at : datetime
        When the daily picture was due; the one that was taken stays.
    window : Window or None
        In which the day's frames were due; frames within it are taken first.
    a_day : int
        How many usable frames stay at least, if there are so many: one after the other the frame
        that lies furthest in time from those that stay already. Where fewer are usable, others
        make up the number.

    Returns
    -------
    set of str
        Of a day thinned out before, the same again.
    """
    if len(frames) <= a_day:
        return {frame.path for frame in frames}
    good = [f for f in frames if f.path in usable]
    first = daily_picture(good or frames, daily_at)
    kept = [f for f in frames if f is first or f.path in named]
    inside = [f for f in good if window is None or window.first <= f.taken_at <= window.last]
    for pool, counted in ((inside, good), (good, good), (list(frames), list(frames))):
        while sum(f in counted for f in kept) < a_day and (
            left := [f for f in pool if f not in kept]
        ):
            kept.append(_furthest(left, [f for f in kept if f in counted] or kept))
    return {frame.path for frame in kept}


def _furthest(left: Sequence[Frame], kept: Sequence[Frame]) -> Frame:
    """The frame furthest in time from those kept; the earlier of two equally far."""

    def apart_s(frame: Frame) -> float:
        return min(abs((frame.taken_at - k.taken_at).total_seconds()) for k in kept)

    return min(left, key=lambda frame: (-apart_s(frame), frame.taken_at, frame.path))

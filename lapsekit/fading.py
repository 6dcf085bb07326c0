"""How much canopy hangs on saturation: which frame tells of it, and for which days.

It takes two more looks at a frame (`lapsekit.vision.fading`), and changes as slowly as plants do.
So the calendar is cut into spans of a few days; the first day of a span on which a region shows
canopy within its outline, as it then lies, tells for the rest of the span, by its middle frame or
the nearest to it that can be read.
"""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import date, timedelta

from lapsekit.catalogue import Frame, Measurement, Placement
from lapsekit.errors import LapsekitError
from lapsekit.ruler import Ruler
from lapsekit.settings import Region

SPAN_DAYS = 4
"""Days for which one frame tells; spans begin on multiples of it, whenever the season does."""

Told = tuple[str, float]
"""The frame that tells, by its path, and the share."""


class Fading:
    """What a camera's days tell of it.

    Parameters
    ----------
    ruler : Ruler
    days : sequence of datetime.date
        The camera's days, rising.
    fits : callable
        Whether a frame has the size of the camera's view: others tell nothing of other days.
    """

    def __init__(self, ruler: Ruler, days: Sequence[date], fits: Callable[[Frame], bool]):
        self._ruler, self._days, self._fits = ruler, days, fits

    def before(
        self,
        region: Region,
        day: date,
        rows: Mapping[tuple[str, date], Sequence[tuple[Frame, Measurement]]],
    ) -> float | None:
        """What an earlier day of its span tells of a region; None if none does."""
        first = day - timedelta(day.toordinal() % SPAN_DAYS)
        first = max(first, region.outline_on(day).valid_from)
        days = self._days[bisect_left(self._days, first) : bisect_left(self._days, day)]
        told = (
            row.faded_share
            for each in days
            for frame, row in rows[region.name, each]
            if row.faded_share is not None and self._fits(frame)
        )
        return next(told, None)

    def told(
        self,
        regions: Sequence[Region],
        frames: Sequence[Frame],
        placements: Mapping[str, Placement],
    ) -> dict[str, Told]:
        """What a day's frames tell of regions that show canopy in them.

        The middle one tells, or the nearest to it that can be read.
        """
        if not regions:
            return {}
        middle = len(frames) // 2
        try:
            for number in sorted(range(len(frames)), key=lambda each: abs(each - middle)):
                frame = frames[number]
                with suppress(LapsekitError):
                    shares = self._ruler.faded_shares(frame, placements.get(frame.path))
                    return {
                        r.name: (frame.path, shares[r.name]) for r in regions if r.name in shares
                    }
        finally:
            self._ruler.rest()  # telling neighbours apart, next, takes as much memory as looking
        return {}

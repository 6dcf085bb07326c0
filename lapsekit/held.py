"""Daily values of days that were thinned out, as they were worked out from all frames.

Such a value stands as long as nothing that shaped it changed: settings, outlines, heights, and
what the frames that stayed were judged to be. Else the day is worked out from what is left.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import astuple
from datetime import date
from functools import cached_property

from lapsekit.catalogue import Daily, Frame
from lapsekit.frames.thinned import DailyKept, Kept, Thinned
from lapsekit.heights import Heights
from lapsekit.ruler import Ruler, mark_of
from lapsekit.settings import Region


class Held:
    """The values that stand, of one camera's days.

    Parameters
    ----------
    ruler : Ruler
        Knows the marks of today's settings.
    camera : str
    heights : Heights
    """

    def __init__(self, ruler: Ruler, camera: str, heights: Heights):
        self._ruler, self._camera, self._heights = ruler, camera, heights
        self._season = ruler.season
        self._thinned = Thinned(self._season.folder)
        self._regions = [r for r in self._season.regions.region if r.camera == camera]

    def in_place_of(self, rows: Sequence[Daily]) -> list[Daily]:
        """Values of a day, those that stand in the place of what was worked out now."""
        kept = [self.value(self._season.regions.by_name[row.region], row.day) for row in rows]
        return [old.daily if old else new for old, new in zip(kept, rows, strict=True)]

    def value(self, region: Region, day: date) -> DailyKept | None:
        """The value of a region on a day thinned out, if it stands."""
        if (self._camera, day) not in self._thinned.days or not self._is_as_it_was(day):
            return None
        return self._thinned.daily.get((region.name, day, self.mark(region, day)))

    def mark(self, region: Region, day: date) -> str:
        """Mark of all but the frames themselves that shapes a region's value on a day."""
        shown = [(r, r.outline_on(day)) for r in self._regions]
        outlines = [(r.name, outline.points) for r, outline in shown if outline is not None]
        frames = [f for f, _ in self._staying(day)]
        marks = sorted({self._ruler.marks(frame).get(region.name, "") for frame in frames})
        labels = self._ruler.labels_mark(self._camera, [])
        height = astuple(self._heights.correction(region, day))
        return mark_of("held", str(self._season.zone), outlines, marks, labels, height)

    def _staying(self, day: date) -> list[tuple[Frame, tuple[str, ...]]]:
        """Frames of a day that are there and not about to go, with the reasons against them."""
        found = self._season.catalogue.screenings(self._camera, day)
        return [(f, screening.reasons) for f, screening in found if not self._thinned.has(f)]

    @cached_property
    def _kept(self) -> Mapping[date, list[Kept]]:
        """Frames that stayed when a day was thinned out, but for those that went since."""
        found = defaultdict(list)
        for kept in self._thinned.kept.values():
            if kept.camera == self._camera and kept.path not in self._thinned.frames:
                found[kept.day].append(kept)
        return found

    def _is_as_it_was(self, day: date) -> bool:
        """Whether the frames that stayed are all there, no others, and judged as they were."""
        here = {f.path: (f.sha256, reasons) for f, reasons in self._staying(day)}
        return here == {k.path: (k.sha256, k.reasons) for k in self._kept.get(day, ())}

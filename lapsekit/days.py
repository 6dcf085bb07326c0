"""Stage: covers of a day's usable frames -> the day's value of every region.

Days are worked out in order, since plants that meet are told apart by where they stood the day
before, and intervals know how single frames scattered in the fortnight before. A day is done when
all of its regions have their value. Where a frame is added to a day, the fortnight after it is
worked out again, and what comes after that only as far as a day comes out otherwise than it did;
the values that rest on a change are dropped before it is made, so that no stop leaves one behind.
Values of days that were thinned out since stand (`lapsekit.held`), whatever is left would give.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from lapsekit.catalogue import Daily, Frame
from lapsekit.day_values import USUAL_DAYS, DayValues, Rows, UsableFrames
from lapsekit.errors import LapsekitError
from lapsekit.fading import Fading, Told
from lapsekit.frames.choosing import daily_picture
from lapsekit.heights import Heights
from lapsekit.held import Held
from lapsekit.other_sizes import Row
from lapsekit.progress import Track, silent
from lapsekit.ruler import Ruler
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.viewing import in_reference_view
from lapsekit.vision.day import work_out

REMEMBERED_DAYS = 7
"""A division older than this says nothing of where plants stand now."""


def work_out_days(season: Season, ruler: Ruler, track: Track = silent) -> int:
    """Work out daily values that are not there yet; how many of them.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.
    ruler : Ruler
        Gives covers, made again where they are no longer kept.
    track : Track
        Told about progress.
    """
    stored = sum(_Camera(season, ruler, name).work_out(track) for name in season.settings.cameras)
    ruler.rest()
    return stored


class _Camera:
    """The days of one camera."""

    def __init__(self, season: Season, ruler: Ruler, name: str):
        self.season, self.ruler, self.name = season, ruler, name
        self.catalogue, self.shapes = season.catalogue, ruler.shapes
        self.view = ruler.views[name]
        self.regions = [r for r in season.regions.region if r.camera == name]
        self.days = self.catalogue.days_of_camera(name)
        self.mark = ruler.labels_mark(name, [r.name for r in self.regions])
        self.heights = Heights(season)
        self.held = Held(ruler, name, self.heights)
        self.fading = Fading(ruler, self.days, self.view.fits)

    def work_out(self, track: Track) -> int:
        """Work out what is stale, and what rests on it as far as it comes out otherwise."""
        if not self.regions:
            return 0
        self.catalogue.rest_daily_on({r.name: self.heights.mark(r) for r in self.regions})
        waiting = self._stale()
        if not waiting:
            return 0
        self.usable = UsableFrames(self.catalogue, self.name)
        stale = waiting | {later for day in waiting for later in self._resting_on(day)}
        self._forget(stale)
        start = self._first_to_visit(min(stale))
        stale |= {day for day in self.days[start:] if day < min(stale)}
        self._read_rows(self.days[start])
        stored = 0
        for day in track(self.days[start:], len(self.days) - start, "working out days"):
            if day not in stale:
                continue
            rows, rewritten, labels = self._day(day)
            if day not in waiting and self._differs(day, labels, rewritten):
                later = self._resting_on(day)
                self._forget(later)
                stale |= later
            if labels is not None:
                self.shapes.keep_labels(self.name, day, self.mark, labels)
            self.rows.update(_by_region(day, rewritten))
            self.catalogue.store_daily(self.held.in_place_of(rows), [row for _, row in rewritten])
            stored += len(rows)
        return stored

    def _resting_on(self, day: date) -> set[date]:
        """Days whose division or usual scatter rests on a day."""
        return {d for d in self.days if timedelta(0) < d - day <= timedelta(USUAL_DAYS)}

    def _forget(self, days: set[date]) -> None:
        """Drop values before anything they rest on changes, so that no stop leaves them behind."""
        for region in self.regions if days else ():
            self.catalogue.forget_daily(region.name, days)

    def _stale(self) -> set[date]:
        """Days of which any region has no value; values of days that are no more are dropped."""
        found = set()
        for region in self.regions:
            known = self.catalogue.daily_days(region.name)
            here = {day for day in self.days if region.outline_on(day) is not None}
            if known - here:
                self.catalogue.forget_daily(region.name, known - here)
            found |= here - known
        return found

    def _first_to_visit(self, day: date) -> int:
        """Place of a day, or of the first before it whose past is kept as far as it matters."""
        start = self.days.index(day)
        while start > 0 and not self._is_kept_before(start):
            start -= 1
        return start

    def _is_kept_before(self, number: int) -> bool:
        """Whether the last division that matters to a day is kept, or there is none."""
        for day in reversed(self.days[:number]):
            if (self.days[number] - day).days > REMEMBERED_DAYS:
                return True
            if self.usable[day]:
                return self.shapes.labels(self.name, day, self.mark) is not None
        return True

    def _differs(self, day: date, labels: np.ndarray | None, rewritten: list[Row]) -> bool:
        """Whether a day comes out otherwise than it did, so that later days must follow."""
        kept = self.shapes.labels(self.name, day, self.mark)
        if labels is not None and (kept is None or not np.array_equal(kept, labels)):
            return True
        return any(self.rows[key] != rows for key, rows in _by_region(day, rewritten).items())

    def _read_rows(self, first: date) -> None:
        """What was measured in frames, as far as days from `first` on need."""
        since = first - timedelta(USUAL_DAYS)
        self.placements = {p.path: p for _, p in self.catalogue.placements(self.name, since)}
        self.rows: Rows = defaultdict(list)
        for frame, row in self.catalogue.measurements(camera=self.name, since=since):
            self.rows[row.region, frame.day].append((frame, row))
        self.values = DayValues(
            self.ruler,
            self.view,
            self.days,
            self.heights,
            self.held,
            self.usable,
            self.rows,
            self.placements,
        )

    # one day ------------------------------------------------------------------------------

    def _day(self, day: date) -> tuple[list[Daily], list[Row], np.ndarray | None]:
        """Values of a day, its frames' rows as divided, and the division by regions' numbers."""
        regions = [(r, r.outline_on(day)) for r in self.regions]
        frames = [f for f in self.usable[day] if self.view.fits(f)]
        shown = [(region, outline) for region, outline in regions if outline is not None]
        told = [self._cover(frame) for frame in frames]
        frames = [frame for frame, cover in zip(frames, told, strict=True) if cover is not None]
        covers = [cover for cover in told if cover is not None]
        if not covers or not shown:
            return self._day_without_covers(day, [region for region, _ in shown]), [], None
        numbers = [self.regions.index(region) + 1 for region, _ in shown]
        before, days, moved = self._before(day, numbers)
        found = work_out(
            covers,
            [self.view.points_on(outline) for _, outline in shown],
            1.0 if self.view.scale.weights_cm2 is None else self.view.scale.weights_cm2,
            before,
            lambda: self._picture(day, frames),
            days,
            moved,
        )
        daily, rewritten = [], []
        names = [region.name for region, _ in shown]
        least = self.ruler.least_px * self.values.pixel
        grown = [r for (r, _), middle in zip(shown, found.middle, strict=True) if middle >= least]
        told = self._told(day, grown, frames)
        for place, (region, outline) in enumerate(shown):
            areas = zip((f.path for f in frames), found.areas[:, place], strict=True)
            rows = self._divided(region, day, dict(areas), outline, told.get(region.name))
            rewritten += rows
            faded_share = self._faded_share(region, day, told)
            daily.append(self.values.of_covers(region, day, found, place, rows, names, faded_share))
        return daily, rewritten, np.array([0, *numbers], np.uint16)[found.labels]

    def _cover(self, frame: Frame) -> np.ndarray | None:
        try:
            return self.ruler.cover(frame, self.placements.get(frame.path))
        except LapsekitError:
            return None

    def _picture(self, day: date, frames: Sequence[Frame]) -> np.ndarray:
        """The day's picture in the reference view."""
        frame = daily_picture(frames, self.season.daily_at(day))
        matrix = self.view.matrix_of(self.placements.get(frame.path))
        return in_reference_view(self.ruler.picture(frame), matrix)

    def _before(
        self, day: date, numbers: Sequence[int]
    ) -> tuple[np.ndarray | None, float, list[int]]:
        """The division before this day, how many days ago, and which regions moved since."""
        past = [d for d in self.days if timedelta(0) < day - d <= timedelta(REMEMBERED_DAYS)]
        for earlier in reversed(past):
            kept = self.shapes.labels(self.name, earlier, self.mark)
            if kept is None or not self.usable[earlier]:
                continue
            moved = [
                place
                for place, number in enumerate(numbers, start=1)
                if self.regions[number - 1].outline_on(earlier)
                != self.regions[number - 1].outline_on(day)
            ]
            table = np.zeros(len(self.regions) + 1, np.uint16)
            table[numbers] = np.arange(1, len(numbers) + 1)
            return table[kept], (day - earlier).days, moved
        return None, 1, []

    def _divided(self, region, day, areas, outline, told: Told | None) -> list[Row]:
        """A day's rows of a region, with the areas (by frame) that belong to its plant."""
        whole, pixels = self.values.size_of(outline)
        factor = self.heights.correction(region, day).factor
        found = []
        for frame, row in self._telling(region, day, told):
            if frame.path in areas:
                area = float(areas[frame.path])
                share = area / whole if whole else 0.0
                scaled = None if self.view.scale.weights_cm2 is None else area * factor
                pixels_of_it = round(share * pixels) * self.view.by**2
                row = replace(row, canopy_px=pixels_of_it, cover=share, area_cm2=scaled)
            found.append((frame, row))
        return found

    def _telling(self, region: Region, day: date, told: Told | None) -> list[Row]:
        """A day's rows of a region, of which that of the telling frame has its share."""
        path, share = told or (None, None)
        return [
            (frame, replace(row, faded_share=share if frame.path == path else None))
            for frame, row in self.rows[region.name, day]
        ]

    def _told(
        self, day: date, regions: Sequence[Region], frames: Sequence[Frame]
    ) -> dict[str, Told]:
        """What hangs on saturation, of regions of which no earlier day of the span tells."""
        missing = [r for r in regions if self.fading.before(r, day, self.rows) is None]
        return self.fading.told(missing, frames, self.placements)

    def _faded_share(self, region: Region, day: date, told: dict[str, Told]) -> float:
        """The same of a region, by an earlier day or by this one; 0 where nothing is known."""
        before = self.fading.before(region, day, self.rows)
        return before if before is not None else told.get(region.name, ("", 0.0))[1]

    def _day_without_covers(self, day: date, regions: Sequence[Region]) -> list[Daily]:
        """Values of a day whose frames do not have the reference view's size: by these alone."""
        grown = [r for r in regions if any(row.cover for _, row in self.rows[r.name, day])]
        told = self.fading.told(grown, self.usable[day], self.placements)
        shares = {name: share for name, (_, share) in told.items()}
        return [self.values.of_rows_alone(r, day, shares.get(r.name, 0.0)) for r in regions]


def _by_region(day: date, rows: Sequence[Row]) -> Rows:
    found: Rows = defaultdict(list)
    for frame, row in rows:
        found[row.region, day].append((frame, row))
    return found

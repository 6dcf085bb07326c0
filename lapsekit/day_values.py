"""The value of a region on a day: its area or cover, its interval, what goes with them."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import astuple
from datetime import date, timedelta

import numpy as np

from lapsekit.catalogue import Catalogue, Daily, Frame, Placement
from lapsekit.daylight import Window
from lapsekit.heights import Heights
from lapsekit.held import Held
from lapsekit.other_sizes import OTHER_SIZE, Row, cover_alone, set_aside
from lapsekit.ruler import Ruler
from lapsekit.settings import Outline, Region
from lapsekit.viewing import View
from lapsekit.vision.daily import (
    DayArea,
    Doubts,
    corrected,
    day_area,
    day_value,
    scatter,
    usual_scatter,
)
from lapsekit.vision.day import DayOfCanopy
from lapsekit.vision.regions import region_window
from lapsekit.vision.within_day import movement

Rows = dict[tuple[str, date], list[Row]]
"""What was measured in frames, by region and day."""

USUAL_DAYS = 14
"""Days before whose frames say what single frames usually scatter by."""

_DUSK = timedelta(hours=2)
"""On a day without sun, the time on both sides of the daily picture in which leaves may move."""


class DayValues:
    """Values of one camera's days.

    Parameters
    ----------
    ruler : Ruler
    view : View
        The camera's.
    days : sequence of datetime.date
        The camera's, rising.
    heights : Heights
    held : Held
        Values of days that were thinned out.
    usable : UsableFrames
        The camera's.
    rows : dict
        What was measured in its frames, from `USUAL_DAYS` before the first day asked for; days that
        are worked out are put into it.
    placements : mapping of str to Placement
        Where its view lies in frames, by path.
    """

    def __init__(
        self,
        ruler: Ruler,
        view: View,
        days: Sequence[date],
        heights: Heights,
        held: Held,
        usable: "UsableFrames",
        rows: Rows,
        placements: Mapping[str, Placement],
    ):
        self.season, self.ruler, self.view, self.days = ruler.season, ruler, view, days
        self.heights, self.held, self.usable = heights, held, usable
        self.rows, self.placements = rows, placements
        self._sizes: dict[tuple | None, tuple[float, int]] = {}
        self._scatters: dict[tuple[str, date], float | None] = {}

    def _counted(self, rows: Sequence[Row]) -> Sequence[Row]:
        """Rows that a day's value rests on: of frames of the view's size, if there are any."""
        return [row for row in rows if self.view.fits(row[0])] or rows

    @property
    def pixel(self) -> float:
        """Size of a pixel of the measured view in the unit of areas."""
        return 1.0 if self.view.scale.weights_cm2 is None else self.view.scale.pixel_cm2

    def size_of(self, outline: Outline) -> tuple[float, int]:
        """Size of an outline in the unit of areas, and in px of the measured view."""
        points = self.view.points_on(outline)
        if points not in self._sizes:
            box, inside = region_window(self.view.shape, points)
            weights, pixels = self.view.scale.weights_cm2, int(np.count_nonzero(inside))
            whole = float(pixels) if weights is None else float(weights[box][inside].sum())
            self._sizes[points] = whole, pixels
        return self._sizes[points]

    def of_covers(
        self,
        region: Region,
        day: date,
        found: DayOfCanopy,
        place: int,
        rows: Sequence[Row],
        names: Sequence[str],
        faded_share: float,
    ) -> Daily:
        """A region's value by a day's covers.

        Parameters
        ----------
        region : Region
        day : datetime.date
        found : DayOfCanopy
            What the day's covers came to.
        place : int
            The region's among those that were worked out.
        rows : sequence of (Frame, Measurement)
            The day's rows of the region, as divided.
        names : sequence of str
            Of the regions that were worked out.
        faded_share : float
            Part of its canopy that hangs on how strong colours are.
        """
        rows = self._counted(rows)
        doubts = self._doubts(region, day, found, place, rows, faded_share)
        value = day_area(
            found.areas[:, place], doubts, float(found.middle[place]), float(found.disputed[place])
        )
        whole, _ = self.size_of(region.outline_on(day))
        stated = (value.area_cm2, value.low_cm2, value.high_cm2)
        share = [v / whole if whole else 0.0 for v in stated]
        scaled = self.view.scale.weights_cm2 is not None
        if scaled:
            value = corrected(value, *astuple(self.heights.correction(region, day)))
            stated = (value.area_cm2, value.low_cm2, value.high_cm2)
        area = stated if scaled else (None, None, None)
        standing = found.standings[place]
        return Daily(
            region.name,
            day,
            *share,
            *area,
            value.frames,
            self._left_out(day),
            _parts(value, 1.0 if scaled else whole),
            tuple(names[number - 1] for number in standing.touches),
            standing.reaches_outline,
            *self._within(day, rows),
        )

    def _left_out(self, day: date) -> dict[str, int]:
        """How many frames of a day give no value, by reason."""
        aside = len(set_aside(self.usable[day], self.view.fits))
        return self.usable.left_out(day) | ({OTHER_SIZE: aside} if aside else {})

    def _doubts(
        self,
        region: Region,
        day: date,
        found: DayOfCanopy,
        place: int,
        rows: Sequence[Row],
        faded_share: float,
    ) -> Doubts:
        standing, pixel = found.standings[place], self.pixel
        side = pixel**0.5
        errors = [
            p.error_px
            for f in self.usable[day]
            if (p := self.placements.get(f.path)) and p.error_px is not None
        ]
        whole, _ = self.size_of(region.outline_on(day))
        unsure = float(np.median([row.unsure for _, row in rows] or [0])) * whole
        return Doubts(
            unsure_cm2=None if self.ruler.model is None else unsure,
            faded_share=faded_share,
            edge_cm=float(found.edges_px[place]) * side,
            contact_cm=standing.contact_px * side,
            doubtful_cm2=standing.doubtful_px * pixel,
            pixel_cm=side,
            residual_px=float(np.median(errors)) / self.view.by if errors else 0.0,
            scale_share=self.view.scale.share,
            usual_share=usual_scatter(self._scatters_before(region, day)),
            least_cm2=self.ruler.least_px * pixel,
        )

    def _scatters_before(self, region: Region, day: date) -> list[float | None]:
        """What the frames of each of the days before scatter by."""
        found = []
        for earlier in self.days[max(0, bisect_left(self.days, day) - USUAL_DAYS) :]:
            if not timedelta(0) < day - earlier <= timedelta(USUAL_DAYS):
                continue
            key = region.name, earlier
            if key not in self._scatters:
                held = self.held.value(region, earlier)
                rows = [row.canopy_px for _, row in self._counted(self.rows[key])]
                self._scatters[key] = held.scatter if held else scatter(rows)
            found.append(self._scatters[key])
        return found

    def _within(self, day: date, rows: Sequence[Row]) -> list[float | None]:
        """Movement and colours of a plant within a day."""
        at = self.season.daily_at(day)
        span = self.season.window(day) or Window(at - _DUSK, at + _DUSK)
        times = [frame.taken_at for frame, _ in rows]
        moved = movement(times, [row.cover for _, row in rows], span.first, span.last)
        names = ("greenness", "yellow_share", "red_share")
        shades = [day_value([getattr(r, n) for _, r in rows]).middle for n in names]
        return [moved.range_share, moved.midday_change, *shades]

    def of_rows_alone(self, region: Region, day: date, faded_share: float) -> Daily:
        """A gap, or the cover of frames that do not have the reference view's size."""
        rows, outline = self.rows[region.name, day], region.outline_on(day)
        usual = usual_scatter(self._scatters_before(region, day))
        value = cover_alone(self.ruler, outline, rows, self.placements, usual, faded_share)
        left_out, values, parts = self.usable.left_out(day), (None, None, None), {}
        if value is not None:
            values = (value.area_cm2, value.low_cm2, value.high_cm2)
            parts = {} if self.view.scale.weights_cm2 is not None else _parts(value, 1.0)
        no_area = (None, None, None)
        return Daily(region.name, day, *values, *no_area, len(rows), left_out, parts)


class UsableFrames:
    """A camera's usable frames by day, read when a day is asked for, and why others are not."""

    def __init__(self, catalogue: Catalogue, camera: str):
        self._catalogue, self._camera = catalogue, camera
        self._known: dict[date, tuple[list[Frame], dict[str, int]]] = {}

    def __getitem__(self, day: date) -> list[Frame]:
        return self._of(day)[0]

    def left_out(self, day: date) -> dict[str, int]:
        """How many frames of a day are not used, by reason."""
        return dict(self._of(day)[1])

    def _of(self, day: date) -> tuple[list[Frame], dict[str, int]]:
        if day not in self._known:
            found = self._catalogue.screenings(self._camera, day)
            usable = [frame for frame, screening in found if not screening.reasons]
            reasons = Counter(why for _, screening in found for why in screening.reasons)
            self._known[day] = usable, reasons
        return self._known[day]


def _parts(value: DayArea, unit: float) -> dict[str, float]:
    """Half-widths that are not nothing, by name."""
    return {name: round(half / unit, 6) for name, half in vars(value.parts).items() if half}

"""Stage: daily values -> each region's growth: its curve, its pauses, its sudden losses.

What follows rests on it: the growth table, what `lapsekit growth` tells, and the growth page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite

import numpy as np

from lapsekit.catalogue import Daily
from lapsekit.growth.curves import GrowthCurve, curve_of, fitted
from lapsekit.growth.losses import Loss, losses_of
from lapsekit.growth.pauses import Pause, find_pauses, turns_of
from lapsekit.growth.series import NORMAL
from lapsekit.season import Season
from lapsekit.settings import Region

LEAST_CM2 = 5.0
"""No pause or loss is looked for in smaller plants: a few leaves that turn change a seedling's area
by a third."""

LEAST_DAYS = 10


@dataclass(frozen=True)
class Growth:
    """One region's daily values and what they say about its growth.

    Attributes
    ----------
    region : Region
    daily : list of Daily
        In order of day.
    """

    region: Region
    daily: list[Daily]

    @cached_property
    def has_area(self) -> bool:
        """Whether areas are in cm²; without a scale what grows is the cover."""
        return any(d.area_cm2 is not None for d in self.daily)

    def series(self, rows: Sequence[Daily]) -> tuple[list[int], list[float], list[float]]:
        """Days (as `datetime.date.toordinal` counts), areas or covers, and standard errors."""
        found = [(d.day.toordinal(), *_value(d, self.has_area)) for d in rows]
        found = [row for row in found if row[1] is not None]
        days, values, low, high = map(list, zip(*found, strict=True)) if found else ([],) * 4
        # An interval of no width would leave nothing to weigh the day by
        halves = zip(values, low, high, strict=True)
        return days, values, [max((h - lo) / 2 / NORMAL, 1e-4 * abs(v)) for v, lo, h in halves]

    @cached_property
    def asked(self) -> list[Daily]:
        """Days from the first on which the plant is large enough for pauses and losses."""
        measured = [d for d in self.daily if d.area_cm2 is not None]
        first = next((k for k, d in enumerate(measured) if d.area_cm2 >= LEAST_CM2), len(measured))
        rows = [d for d in measured[first:] if d.area_cm2 > 0]
        return rows if len(rows) >= LEAST_DAYS else []

    @cached_property
    def pauses(self) -> list[Pause]:
        """Spans in which growth stood still; crowded days are doubted."""
        doubtful = [d.crowded or bool(d.touches) for d in self.asked]
        return find_pauses(*self.series(self.asked), doubtful) if self.asked else []

    @cached_property
    def _sure(self) -> list[Daily]:
        """Days from the first on which there surely is canopy."""
        low = "area_low_cm2" if self.has_area else "cover_low"
        sure = (k for k, d in enumerate(self.daily) if (getattr(d, low) or 0) > 0)
        return self.daily[next(sure, len(self.daily)) :]

    @cached_property
    def _found(self) -> tuple[GrowthCurve | None, list[Loss]]:
        """Curve and losses of one fit, which is let go then: a year of it holds 2 MB."""
        rows = self._sure
        fit = fitted(*self.series(rows), turns=turns_of(self.pauses)) if rows else None
        return curve_of(fit), losses_of(fit) if self.asked else []

    @cached_property
    def losses(self) -> list[Loss]:
        """Sudden losses that later days confirm."""
        if not self.asked:
            return []
        first = self.asked[0].day.toordinal()
        return [loss for loss in self._found[1] if loss.confirmed and loss.since >= first]

    @property
    def curve(self) -> GrowthCurve | None:
        """The smooth curve."""
        return self._found[0]

    @cached_property
    def _places(self) -> dict[int, int]:
        """Where a day (an ordinal) that has a value stands in the curve."""
        if self.curve is None:
            return {}
        return {int(self.curve.days[k]): int(k) for k in np.flatnonzero(has_value(self.curve))}

    def on(self, day: int, name: str) -> float | None:
        """A value of the curve on a day (an ordinal); None where it is open.

        It is told for days that have a value: a gap stays one, though the curve runs over short
        ones.
        """
        place = self._places.get(day)
        value = np.nan if place is None else float(getattr(self.curve, name)[place])
        return value if np.isfinite(value) else None

    def told(self, *names: str) -> dict[int, tuple[float | None, ...]]:
        """Values of the curve by these names on every day (an ordinal) that has one; see `on`."""
        places = list(self._places.values())
        columns = [
            [
                value if isfinite(value) else None
                for value in getattr(self.curve, name)[places].tolist()
            ]
            for name in names
            if places
        ]
        return dict(zip(self._places, zip(*columns, strict=True), strict=True))

    def is_outlying(self, day: int) -> int | None:
        """1 where the curve passes over a day's value, 0 where not; None off the curve."""
        place = self._places.get(day)
        return None if place is None else int(self.curve.bad[place])


def has_value(curve: GrowthCurve) -> np.ndarray:
    """Days of a curve on which something was measured."""
    return curve.measured | curve.bad


def _value(daily: Daily, has_area: bool) -> tuple[float | None, float | None, float | None]:
    if has_area:
        return daily.area_cm2, daily.area_low_cm2, daily.area_high_cm2
    return daily.cover, daily.cover_low, daily.cover_high


def grow(season: Season) -> dict[str, Growth]:
    """The growth of every region, by name, in the order of regions.toml.

    Nothing is worked out before it is asked for.
    """
    return {r.name: Growth(r, season.catalogue.daily(r.name)) for r in season.regions.region}

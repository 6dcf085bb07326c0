"""Stage: daily values -> each region's growth: its curve, its pauses, its sudden losses.

What follows rests on it: the growth table, what `lapsekit growth` tells, and the growth page.
Stretches of a long season that no later day can change are kept in the catalogue (`keep_settled`).
"""

import hashlib
import json
from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from math import hypot, isfinite, sqrt

import numpy as np
import scipy

from lapsekit.catalogue import Daily
from lapsekit.growth.curves import GrowthCurve, curve_of, fitted
from lapsekit.growth.losses import Loss, losses_of
from lapsekit.growth.pauses import Pause, find_pauses, turns_of
from lapsekit.growth.series import NORMAL
from lapsekit.growth.stretches import FIELDS, Stretch, Worked, joined, stretches
from lapsekit.season import Season
from lapsekit.settings import Region

LEAST_CM2 = 5.0
"""No pause or loss is looked for in smaller plants: a few leaves that turn change a seedling's area
by a third."""

LEAST_DAYS = 10

#: Raised by hand whenever the arithmetic of growth changes its results.
ARITHMETIC = 10

LASTING = ("colours", "scale", "height")
"""Parts of a day's interval, by their names in `Daily.parts`, that days near each other share:
where leaves are hard to tell from soil they are so tomorrow too."""


@dataclass(frozen=True)
class Growth:
    """One region's daily values and what they say about its growth.

    Attributes
    ----------
    region : Region
    daily : list of Daily
        In order of day.
    settled : callable () -> mapping of str to str
        Stretches worked out before, by what they rest on; asked for when they are needed.
    """

    region: Region
    daily: list[Daily]
    settled: Callable[[], Mapping[str, str]] = dict

    @cached_property
    def has_area(self) -> bool:
        """Whether areas are in cm²; without a scale what grows is the cover."""
        return any(d.area_cm2 is not None for d in self.daily)

    def series(self, rows: Sequence[Daily]) -> tuple[list[int], list[float], list[float]]:
        """Days (as `datetime.date.toordinal` counts), areas or covers, and standard errors."""
        days, values, own, lasting = self._columns(rows)
        return days, values, [hypot(*both) for both in zip(own, lasting, strict=True)]

    def _columns(self, rows: Sequence[Daily]) -> tuple[list[int], *tuple[list[float], ...]]:
        """Days, values, and standard errors of days by themselves and of what they share."""
        found = [(d, *_value(d, self.has_area)) for d in rows]
        columns = [
            (d.day.toordinal(), value, *_errors(d, value, low, high))
            for d, value, low, high in found
            if value is not None
        ]
        return tuple(map(list, zip(*columns, strict=True))) if columns else ([], [], [], [])

    @cached_property
    def asked(self) -> list[Daily]:
        """Days from the first on which the plant is large enough for pauses and losses."""
        measured = [d for d in self.daily if d.area_cm2 is not None]
        first = next((k for k, d in enumerate(measured) if d.area_cm2 >= LEAST_CM2), len(measured))
        rows = [d for d in measured[first:] if d.area_cm2 > 0]
        return rows if len(rows) >= LEAST_DAYS else []

    @property
    def pauses(self) -> tuple[Pause, ...]:
        """Spans in which growth stood still; crowded days are doubted."""
        return self._worked[0].pauses

    @property
    def losses(self) -> tuple[Loss, ...]:
        """Sudden losses that later days confirm."""
        return self._worked[0].losses

    @property
    def curve(self) -> GrowthCurve | None:
        """The smooth curve."""
        return self._worked[0].curve

    @property
    def settled_now(self) -> dict[str, str]:
        """Its stretches that no later day can change, for `settled` of another time."""
        return self._worked[1]

    @cached_property
    def _worked(self) -> tuple[Worked, dict[str, str]]:
        both = self._seen(self.asked), self._seen(self._sure)
        days = sorted({day for seen in both for day in seen.days})
        found = stretches(days) if days else []
        known = self.settled() if len(found) > 1 else {}
        parts, kept = [], {}
        for stretch in found:
            rests_on = [seen.by(stretch) for seen in both]
            if not stretch.is_settled:
                parts.append(_worked_out(stretch, *rests_on))
                continue
            mark = _mark(stretch, rests_on)
            plain = known.get(mark)
            part = _kept(plain)
            if part is None:
                part = _worked_out(stretch, *rests_on)
                plain = json.dumps(part.as_plain())
            parts.append(part)
            kept[mark] = plain
        return joined(parts) if parts else Worked(None), kept

    def _seen(self, rows: Sequence[Daily]) -> "_Seen":
        doubtful = {d.day.toordinal() for d in rows if d.crowded or d.touches}
        columns = self._columns(rows)
        return _Seen(*columns, [day in doubtful for day in columns[0]])

    @cached_property
    def _sure(self) -> list[Daily]:
        """Days from the first on which there surely is canopy."""
        low = "area_low_cm2" if self.has_area else "cover_low"
        sure = (k for k, d in enumerate(self.daily) if (getattr(d, low) or 0) > 0)
        return self.daily[next(sure, len(self.daily)) :]

    @property
    def bare_days(self) -> int:
        """On how many days it was measured without surely showing canopy, ever; 0 where it did.

        Bare ground, or a plant of which never enough is seen: it has neither curve nor rate.
        """
        return 0 if self._sure else len(self.series(self.daily)[0])

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


@dataclass(frozen=True)
class _Seen:
    """Daily values that growth is worked out from, one entry a day."""

    days: list[int]
    values: list[float]
    errors: list[float]
    lasting: list[float]
    doubtful: list[bool]

    def by(self, stretch: Stretch) -> "_Seen":
        """Those that a stretch rests on."""
        ends = stretch.seen_first, stretch.seen_end
        first, end = (bisect_left(self.days, day) for day in ends)
        return _Seen(*(each[first:end] for each in vars(self).values()))


def _mark(stretch: Stretch, rests_on: Sequence[_Seen]) -> str:
    """A hash of all that shapes what is worked out of a stretch."""
    versions = ARITHMETIC, FIELDS, np.__version__, scipy.__version__
    parts = versions, vars(stretch), [vars(seen) for seen in rests_on]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


def _kept(plain: str | None) -> Worked | None:
    """What was kept; None if nothing was, or if it is damaged."""
    try:
        return None if plain is None else Worked.from_plain(json.loads(plain))
    except (TypeError, ValueError, KeyError, AttributeError):
        return None


def _worked_out(stretch: Stretch, asked: _Seen, sure: _Seen) -> Worked:
    """Growth of the days that are sure; pauses and losses from those that are asked for them."""
    pauses, fit = [], None
    if asked.days:
        measured = asked.days, asked.values, asked.errors, asked.doubtful
        pauses = find_pauses(*measured, stretch.among_days, asked.lasting)
    if sure.days:
        fit = fitted(
            sure.days,
            sure.values,
            sure.errors,
            turns=turns_of(pauses),
            lasting_cm2=sure.lasting,
        )
    losses = losses_of(fit) if asked.days else []
    kept = [loss for loss in losses if loss.confirmed and loss.since >= asked.days[0]]
    return Worked(curve_of(fit), tuple(pauses), tuple(kept)).on(stretch)


def has_value(curve: GrowthCurve) -> np.ndarray:
    """Days of a curve on which something was measured."""
    return curve.measured | curve.bad


def _value(daily: Daily, has_area: bool) -> tuple[float | None, float | None, float | None]:
    if has_area:
        return daily.area_cm2, daily.area_low_cm2, daily.area_high_cm2
    return daily.cover, daily.cover_low, daily.cover_high


def _errors(daily: Daily, value: float, low: float, high: float) -> tuple[float, float]:
    """Standard errors of a day by itself, and of what it shares with those near it."""
    # Below an area is never less than nothing: half of the interval's width may be too little
    half = max(high - value, value - low)
    shared = hypot(*(daily.parts.get(name, 0.0) for name in LASTING))
    own = sqrt(max(half**2 - shared**2, 0.0))
    # An interval of no width would leave nothing to weigh the day by
    return max(own / NORMAL, 1e-4 * abs(value)), shared / NORMAL


def bare_days_of(growths: Iterable[Growth]) -> int:
    """The most `Growth.bare_days` among plants of a group; 0 where one of them is not bare."""
    bare = [growth.bare_days for growth in growths if growth.daily]
    return max(bare, default=0) if all(bare) else 0


def grow(season: Season) -> dict[str, Growth]:
    """The growth of every region, by name, in the order of regions.toml.

    Nothing is worked out before it is asked for.
    """
    catalogue = season.catalogue
    return {
        r.name: Growth(r, catalogue.daily(r.name), partial(catalogue.settled_growth, r.name))
        for r in season.regions.region
    }


def keep_settled(season: Season, growths: Mapping[str, Growth]) -> None:
    """Keep what no later day can change; the caller holds the season's stage lock.

    Without it growth of a year costs three times what it would in one piece, since stretches
    overlap: a stage that works it out keeps it.
    """
    for name, growth in growths.items():
        if growth.settled_now != season.catalogue.settled_growth(name):
            season.catalogue.keep_settled_growth(name, growth.settled_now)

"""When frames are due, which of those due are not there, and when one is tried again."""

from datetime import date, datetime, timedelta
from functools import lru_cache

from lapsekit.season import Season
from lapsekit.when import days_between, is_met

LATE_BY = timedelta(minutes=2)
"""A frame that would be taken later than this is not the one that was due."""

RETRIES_MINUTES = (1, 3, 7, 15, 30)
"""When a daily picture that failed is tried again, in minutes after it was due; then every 30."""


class DueFrames:
    """The frames of a season that are due, by its clock.

    Attributes
    ----------
    times : callable
        When a day's frames are due.
    """

    def __init__(self, season: Season):
        self._season = season
        self.times = lru_cache(maxsize=8)(season.due_times)

    def at(self, now: datetime) -> datetime:
        """The moment that a frame taken now is due for."""
        day = self._season.day_of(now)
        around = [at for d in (day - timedelta(days=1), day) for at in self.times(d)]
        return max((at for at in around if at <= now), default=now)

    def is_daily(self, due: datetime) -> bool:
        """Whether it is a daily picture that is due then."""
        day = self._season.day_of(due)
        return any(due == self._season.daily_at(d) for d in _beside(day))

    def not_there(self, camera: str, first: datetime, now: datetime) -> list[datetime]:
        """When frames were due from `first` on, until now, that did not come."""
        there = self._season.catalogue.moments(camera, first)
        return [
            at
            for day in days_between(self._season.day_of(first), self._season.day_of(now))
            for at in self.times(day)
            if first <= at < now and not is_met(at, there, LATE_BY)
        ]

    def next_try(self, due: datetime) -> datetime | None:
        """When a daily picture is tried again; None once its search window is over."""
        now, within = self._season.clock(), self._season.settings.capture.daily_within_minutes
        steps = [*RETRIES_MINUTES, *range(60, within + 1, 30)]
        tries = [due + timedelta(minutes=step) for step in steps if step <= within]
        return next((at for at in tries if at > now), None)


def _beside(day: date) -> list[date]:
    return [day + timedelta(days=n) for n in (-1, 0, 1)]

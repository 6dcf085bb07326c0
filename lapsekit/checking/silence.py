"""For how long frames were due that did not come. Pure, but for the season that knows when.

Only hours in which frames were due count, so that a night is no alarm. Each frame that was due and
did not come stands for the time since the one before it on its day, the first of a day for the
time to the next; where one a day is due, that one stands for its whole day.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from lapsekit.season import Season

GRACE = timedelta(minutes=5)
"""A frame may be on its way for so long."""

FURTHEST_DAYS = 90
"""No look goes back further."""

WATCHED_HOURS = 48.0
"""Pictures of a watched folder come when somebody brings them."""


@dataclass(frozen=True)
class Silence:
    """Frames that were due since a moment: how many, and for how many hours they stand."""

    frames: int
    hours: float


def silence(season: Season, since: datetime, now: datetime) -> Silence:
    """What was due after `since` and should be there by `now`.

    Parameters
    ----------
    season : Season
    since : datetime
        When the last frame came.
    now : datetime
    """
    since = max(since, now - timedelta(days=FURTHEST_DAYS))
    missed = [hours for at, hours in _due(season, since, now) if since < at <= now - GRACE]
    return Silence(len(missed), sum(missed))


def _due(season: Season, since: datetime, now: datetime) -> Iterator[tuple[datetime, float]]:
    """When frames were due, and the hours that each stands for."""
    day, last = season.day_of(since), season.day_of(now)
    while day <= last:
        times = season.due_times(day)
        for number, at in enumerate(times):
            if number:
                yield at, (at - times[number - 1]) / timedelta(hours=1)
            elif len(times) > 1:
                yield at, (times[1] - at) / timedelta(hours=1)
            else:
                yield at, 24.0
        day += timedelta(days=1)

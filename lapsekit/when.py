"""Local days, capture times and plant age. Pure: every clock is the caller's.

Instants are timezone-aware and in UTC; a *day* is a local calendar day in the season's zone.
Wall-clock times are turned into instants by :func:`instant`, in one place, so that both changes
to and from summer time are decided once.
"""

import hashlib
import os
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

#: Gives the present instant, in UTC. Passed in, so that a season can be replayed.
Clock = Callable[[], datetime]

#: Pictures dated before this year carry the date of a clock that was never set.
EARLIEST_YEAR = 1990
_CLOCKS_DIFFER = timedelta(minutes=10)


#: How many seconds the machine's clock is ahead of the truth, as `lapsekit run` knows it: it tells
#: the commands that it starts.
AHEAD = "LAPSEKIT_CLOCK_AHEAD_S"


def clock_is_ahead() -> timedelta:
    """How far the machine's clock is known to be ahead of the truth; nothing where nobody told."""
    try:
        return timedelta(seconds=float(os.environ.get(AHEAD, "0")))
    except (ValueError, OverflowError):
        return timedelta(0)


def system_clock() -> datetime:
    """The machine's own clock, in UTC, less what it is known to be ahead."""
    return datetime.now(UTC) - clock_is_ahead()


def is_plausible(taken_at: datetime, now: datetime) -> bool:
    """Whether a picture can have been taken at `taken_at`: not long ago, not in the future.

    A clock that was never set starts in 1970; two good clocks differ by minutes.
    """
    return taken_at.year >= EARLIEST_YEAR and taken_at <= now + _CLOCKS_DIFFER


def local_day(moment: datetime, zone: ZoneInfo) -> date:
    """Calendar day of `moment` in `zone`."""
    return moment.astimezone(zone).date()


def instant(day: date, clock_time: time, zone: ZoneInfo) -> datetime:
    """UTC instant of a wall-clock time.

    A time that the change to summer time skips is read with the offset before the change (02:30
    becomes 03:30 on the clock); of a time that occurs twice in autumn the first is meant.
    """
    return datetime.combine(day, clock_time, tzinfo=zone).astimezone(UTC)


def capture_times(first: datetime, last: datetime, every: timedelta) -> list[datetime]:
    """Instants from `first` to `last`, both included, in real steps of `every`.

    On a day with a change of the clock a window by the clock is an hour shorter or longer and holds
    that many fewer or more.

    Parameters
    ----------
    first, last : datetime
        Instants in UTC, ``first <= last``.
    every : timedelta
        Longer than zero.
    """
    steps = (last - first) // every
    return [first + step * every for step in range(steps + 1)]


def is_met(due: datetime, moments: Sequence[datetime], within: timedelta) -> bool:
    """Whether something came when it was due, or within so much after.

    Parameters
    ----------
    due : datetime
        When it was due; names carry whole seconds, so that one less counts too.
    moments : sequence of datetime
        When things came, in order.
    within : timedelta
    """
    after = bisect_left(moments, due.replace(microsecond=0))
    return after < len(moments) and moments[after] <= due + within


def days_between(first: date, last: date) -> Iterator[date]:
    """Every calendar day from `first` to `last`, both included."""
    for step in range((last - first).days + 1):
        yield first + timedelta(days=step)


def days_mark(first_year: int, last_year: int, zone: ZoneInfo) -> str:
    """Mark of the instants at which the local days of some years begin.

    Parameters
    ----------
    first_year, last_year : int
    zone : zoneinfo.ZoneInfo

    Returns
    -------
    str
        The same for as long as a moment of these years is of the same day as before.
    """
    days = days_between(date(first_year, 1, 1), date(last_year, 12, 31))
    starts = repr([instant(day, time(), zone).timestamp() for day in days])
    return hashlib.sha256(starts.encode()).hexdigest()[:16]


def plant_age(day: date, sown: date) -> int:
    """Plant age in days since sowing; negative before."""
    return (day - sown).days


def utc_text(moment: datetime) -> str:
    """ISO 8601 text of an instant in UTC, to the second: ``2031-04-17T11:30:00Z``."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def from_utc_text(text: str) -> datetime:
    """Instant of a text written by :func:`utc_text`."""
    return datetime.fromisoformat(text).astimezone(UTC)


def day_of(moment: float) -> date:
    """The day that a moment, counted as `datetime.date.toordinal` does, lies on."""
    return date.fromordinal(round(moment))

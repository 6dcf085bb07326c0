"""Times of day by the clock or by the sun, and the window of a day in which frames are due. Pure.

The sun is up while its centre stands higher than -0.833 degrees (refraction and its radius). A
day's light is taken around its own solar noon, half a day to either side, so that a sunset after
midnight belongs to the day before, and weeks without sunset or sunrise need no special case: a sun
that does not set gives light all day, one that does not rise none.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import elevation, noon

from lapsekit.settings import CaptureTable, PlaceTable, SunTime
from lapsekit.when import capture_times, instant, local_day

HORIZON_DEG = -0.833
_HALF_DAY = timedelta(hours=12)
_TO_S = 1.0


@dataclass(frozen=True)
class Window:
    """From when until when frames are due, in UTC, both included."""

    first: datetime
    last: datetime


def solar_noon(day: date, zone: ZoneInfo, place: PlaceTable) -> datetime:
    """The solar noon that lies on a local day, to the second."""
    observer = Observer(place.latitude, place.longitude)
    found = noon(observer, day)
    found += day - local_day(found, zone)  # east of UTC it may lie on the day beside
    return found.replace(microsecond=0)


def light(day: date, zone: ZoneInfo, place: PlaceTable) -> Window | None:
    """From when until when the sun is up around a day's solar noon; None where it does not rise.

    Found by bisection to the second: from midnight to noon the sun only rises, and then only falls.
    """
    middle = solar_noon(day, zone, place)
    if _height(place, middle) < HORIZON_DEG:
        return None
    return Window(*(_crossing(place, middle, end * _HALF_DAY) for end in (-1, 1)))


def moment(
    day: date, at: time | SunTime, zone: ZoneInfo, place: PlaceTable | None
) -> datetime | None:
    """UTC instant of a time of day; None for a sunrise or sunset of a day without sun.

    Parameters
    ----------
    day : date
        Local calendar day.
    at : time or SunTime
    zone : zoneinfo.ZoneInfo
        The season's time zone.
    place : PlaceTable or None
        Where the bench stands; only asked for times by the sun.
    """
    if isinstance(at, time):
        return instant(day, at, zone)
    after = timedelta(minutes=at.minutes)
    if at.event == "noon":
        return solar_noon(day, zone, place) + after
    lit = light(day, zone, place)
    if lit is None:
        return None
    return (lit.first if at.event == "sunrise" else lit.last) + after


def window(
    day: date, table: CaptureTable, zone: ZoneInfo, place: PlaceTable | None
) -> Window | None:
    """The window of a local day in which frames are due; None where it is empty."""
    ends = [moment(day, at, zone, place) for at in (table.first, table.last)]
    if None in ends:
        return None
    by_clock = isinstance(table.first, time) and isinstance(table.last, time)
    if ends[0] > ends[1] and not by_clock:
        return None
    return Window(ends[0], max(ends))  # a first in the skipped hour may pass the last


def daily_moment(
    day: date, table: CaptureTable, zone: ZoneInfo, place: PlaceTable | None
) -> datetime:
    """When the daily picture is due; at solar noon where the sun gives no such time."""
    due = moment(day, table.daily_at, zone, place)
    return solar_noon(day, zone, place) if due is None else due


def due_times(
    day: date, table: CaptureTable, zone: ZoneInfo, place: PlaceTable | None
) -> list[datetime]:
    """Instants at which a local day's frames are due, in order: the window's and the daily one."""
    every = min(
        (more.every_minutes for more in table.more_often if more.first <= day <= more.last),
        default=table.every_minutes,
    )
    due = {daily_moment(day, table, zone, place)}
    span = window(day, table, zone, place)
    if span is not None:
        due |= set(capture_times(span.first, span.last, timedelta(minutes=every)))
    return sorted(due)


def _crossing(place: PlaceTable, middle: datetime, away: timedelta) -> datetime:
    """When the sun passes the horizon between `middle`, where it is up, and so far away."""
    up, down = timedelta(0), away
    if _height(place, middle + away) >= HORIZON_DEG:
        return middle + away
    while abs((down - up).total_seconds()) > _TO_S:
        between = (up + down) / 2
        if _height(place, middle + between) >= HORIZON_DEG:
            up = between
        else:
            down = between
    return (middle + up).replace(microsecond=0)


def _height(place: PlaceTable, at: datetime) -> float:
    observer = Observer(place.latitude, place.longitude)
    return elevation(observer, at.astimezone(UTC), with_refraction=False)

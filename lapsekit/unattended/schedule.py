"""When things are done: computed from the settings, not slept for. In the season's own time."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from lapsekit.daylight import due_times
from lapsekit.settings import Settings
from lapsekit.when import capture_times, instant, local_day

FILM_AT = time(1, 0)
"""The weekly film is made in the night, before copies and morning."""

ALERTS_EVERY = timedelta(hours=1)
FOLDER_EVERY = timedelta(minutes=15)
"""How often followers' pictures are looked for where there is a folder and no mailbox."""

_DAYS_AHEAD = 9
_WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


class DayPlan:
    """Something that is due at the instants a plan gives for each local day.

    Parameters
    ----------
    plan : callable
        Instants (UTC) of a local day.
    zone : zoneinfo.ZoneInfo
        Zone of the local days.
    """

    def __init__(self, plan: Callable[[date], list[datetime]], zone: ZoneInfo):
        self._plan = plan
        self._zone = zone

    def moments(self, day: date) -> list[datetime]:
        """Instants of a local day, in order."""
        return sorted(self._plan(day))

    def after(self, previous: datetime | None, now: datetime) -> datetime | None:
        """First instant not before `now` and after `previous`; None if none is near."""
        day = local_day(now, self._zone) - timedelta(
            days=1
        )  # one of yesterday may lie past midnight
        for step in range(_DAYS_AHEAD):
            for moment in self.moments(day + timedelta(days=step)):
                is_new = previous is None or moment > previous
                if is_new and moment >= now.astimezone(UTC):
                    return moment
        return None


def captures(settings: Settings, due: Callable[[date], list[datetime]] | None = None) -> DayPlan:
    """Every N minutes inside the day's window, and the daily picture.

    `due` gives a day's instants where they are known already.
    """
    zone = settings.season.zone
    own = lambda day: due_times(day, settings.capture, zone, settings.place)  # noqa: E731
    return DayPlan(due or own, zone)


def mornings(settings: Settings) -> DayPlan:
    """The morning chain, once a day."""
    return _once_a_day(settings.morning.at, settings.season.zone)


def copyings(settings: Settings) -> DayPlan:
    """Copies, once a night."""
    return _once_a_day(settings.copies.at, settings.season.zone)


def films(settings: Settings) -> DayPlan:
    """The film, on its day of the week."""
    zone, wanted = settings.season.zone, settings.film.weekly_on
    return DayPlan(
        lambda day: [instant(day, FILM_AT, zone)] if _WEEK[day.weekday()] == wanted else [], zone
    )


def alert_times(settings: Settings) -> DayPlan:
    """Ten minutes past every hour."""
    zone = settings.season.zone

    def plan(day: date) -> list[datetime]:
        first, last = instant(day, time(0, 10), zone), instant(day, time(23, 50), zone)
        return capture_times(first, last, ALERTS_EVERY)

    return DayPlan(plan, zone)


def take_ins(settings: Settings) -> DayPlan:
    """Followers' pictures, every so many minutes of the day."""
    zone, mail = settings.season.zone, settings.followers.mail
    every = timedelta(minutes=mail.every_minutes) if mail else FOLDER_EVERY

    def plan(day: date) -> list[datetime]:
        first = instant(day, time(0, 5), zone)
        last = instant(day + timedelta(days=1), time(0, 5), zone) - timedelta(seconds=1)
        return capture_times(first, last, every)

    return DayPlan(plan, zone)


def _once_a_day(at: time, zone: ZoneInfo) -> DayPlan:
    return DayPlan(lambda day: [instant(day, at, zone)], zone)

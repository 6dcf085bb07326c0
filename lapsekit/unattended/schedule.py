"""When things are done: computed from the settings, not slept for."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from apscheduler.triggers.base import BaseTrigger

from lapsekit.daylight import due_times
from lapsekit.settings import Settings
from lapsekit.when import instant, local_day


class DayPlan(BaseTrigger):
    """An APScheduler trigger that fires at the instants a plan gives for each local day.

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

    def get_next_fire_time(
        self, previous_fire_time: datetime | None, now: datetime
    ) -> datetime | None:
        """First instant of the plan not before `now` and after `previous_fire_time`."""
        day = local_day(now, self._zone) - timedelta(days=1)
        for step in range(4):
            for moment in sorted(self._plan(day + timedelta(days=step))):
                is_new = previous_fire_time is None or moment > previous_fire_time
                if is_new and moment >= now.astimezone(UTC):
                    return moment
        return None


def captures(settings: Settings) -> DayPlan:
    """Every N minutes inside the day's window, and the daily picture."""
    zone = settings.season.zone
    return DayPlan(lambda day: due_times(day, settings.capture, zone, settings.place), zone)


def mornings(settings: Settings) -> DayPlan:
    """The morning chain, once a day."""
    at: time = settings.morning.at
    zone = settings.season.zone
    return DayPlan(lambda day: [instant(day, at, zone)], zone)

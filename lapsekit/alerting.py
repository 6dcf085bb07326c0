"""Stage: growth -> what a grower should look at today."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from lapsekit.diary import Event, read_diary
from lapsekit.growing import LEAST_CM2, Growth
from lapsekit.growth.falls import MOST_APART, Change, Fall, falls, last_change
from lapsekit.noticing import event_near
from lapsekit.season import DIARY_FILE, Season


@dataclass(frozen=True)
class Alert:
    """A region whose canopy fell; `event` is what the diary says of it on those days."""

    region: str
    fall: Fall
    event: Event | None


MOST_OLD_DAYS = 2
"""How long ago the last value may be: older news is none."""


def alerts(season: Season, growths: Mapping[str, Growth], today: date | None = None) -> list[Alert]:
    """Regions whose canopy fell since the day before by more than usual.

    Parameters
    ----------
    season : Season
    growths : mapping of str to Growth
    today : date, optional
        By default the season's own.

    Returns
    -------
    list of Alert
        Of each camera's last day with values, if that is not more than `MOST_OLD_DAYS` ago. A
        plant that is gone altogether is told too.

    Raises
    ------
    SettingsError
        If the diary cannot be read.
    """
    events = read_diary(season.folder / DIARY_FILE)[0]
    today = today or season.day_of(season.clock())
    found: list[Alert] = []
    plants = {r.name: growths[r.name] for r in season.regions.plants if r.name in growths}
    for camera in dict.fromkeys(growth.region.camera for growth in plants.values()):
        here = {n: g for n, g in plants.items() if g.region.camera == camera and g.asked}
        asked = {n: g for n, g in here.items() if not g.region.has_ended(today)}
        known = [d.day for g in asked.values() for d in g.daily if d.area_cm2 is not None]
        day = max((each for each in known if each <= today), default=None)
        if day is None or (today - day).days > MOST_OLD_DAYS:
            continue
        told = _gone(asked, day) | falls(_changes(asked, day))
        found += [
            Alert(name, fall, event_near(events, name, fall.since, fall.day))
            for name, fall in told.items()
        ]
    return found


def _changes(asked: Mapping[str, Growth], day: date) -> dict[str, Change]:
    rows = {name: [d for d in growth.asked if d.day <= day] for name, growth in asked.items()}
    found = {
        name: last_change(*asked[name].series(days))
        for name, days in rows.items()
        if days and days[-1].day == day
    }
    return {name: change for name, change in found.items() if change is not None}


def _gone(asked: Mapping[str, Growth], day: date) -> dict[str, Fall]:
    """Plants of which nothing is left, and something was on the measured day before."""
    found = {}
    for name, growth in asked.items():
        rows = [d for d in growth.daily if d.area_cm2 is not None and d.day <= day][-2:]
        if len(rows) == 2 and rows[1].day == day and rows[1].area_cm2 == 0:
            since, before = rows[0].day, rows[0].area_cm2
            if before >= LEAST_CM2 and (day - since).days <= MOST_APART:
                found[name] = Fall(since.toordinal(), day.toordinal(), 1.0, 0.0, None)
    return found

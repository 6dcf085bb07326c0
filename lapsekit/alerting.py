"""Stage: growth -> what a grower should look at today."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from lapsekit.diary import Event, read_diary
from lapsekit.growing import Growth
from lapsekit.growth.falls import Fall, falls, last_change
from lapsekit.noticing import event_near
from lapsekit.season import DIARY_FILE, Season


@dataclass(frozen=True)
class Alert:
    """A region whose canopy fell; `event` is what the diary says of it on those days."""

    region: str
    fall: Fall
    event: Event | None


def alerts(season: Season, growths: Mapping[str, Growth], today: date | None = None) -> list[Alert]:
    """Regions whose canopy fell since the day before by more than usual.

    Parameters
    ----------
    season : Season
    growths : mapping of str to Growth
    today : date, optional
        By default the last day on which each camera's plants have values.

    Raises
    ------
    SettingsError
        If the diary cannot be read.
    """
    events = read_diary(season.folder / DIARY_FILE)[0]
    found: list[Alert] = []
    for camera in dict.fromkeys(growth.region.camera for growth in growths.values()):
        asked = {n: g for n, g in growths.items() if g.region.camera == camera and g.asked}
        day = today or max((g.asked[-1].day for g in asked.values()), default=None)
        changes = {}
        for name, growth in asked.items():
            rows = [d for d in growth.asked if d.day <= day]
            change = last_change(*growth.series(rows)) if rows and rows[-1].day == day else None
            if change is not None:
                changes[name] = change
        found += [
            Alert(name, fall, event_near(events, name, fall.since, fall.day))
            for name, fall in falls(changes).items()
        ]
    return found

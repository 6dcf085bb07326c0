"""What happened by the diary: its lines of days that have come, and of regions that there are.

`lapsekit.diary` reads all that stands in the file; the site, films and responses tell what stands
here. What names an event only beside measured days of a region (growth plots, pauses, losses and
alerts) reads the file itself: none of these days is still to come.
"""

import difflib
from collections.abc import Iterable
from datetime import date
from pathlib import Path

from lapsekit.diary import Event, read_diary
from lapsekit.errors import CatalogueError
from lapsekit.season import DIARY_FILE, Season


def happened(season: Season) -> tuple[list[Event], list[str]]:
    """Events that may be told as what happened, and why others may not.

    Parameters
    ----------
    season : Season

    Returns
    -------
    events : list of Event
        In order of day; of the whole bench, or of a region of regions.toml.
    problems : list of str
        One sentence for each line that cannot be read, names no region, or is of a day to come.

    Raises
    ------
    SettingsError
        If the diary is there and is not text.
    """
    path = season.folder / DIARY_FILE
    events, problems = read_diary(path)
    amiss = of_no_region(season, path, events) | to_come(season, path, events)
    kept = [event for event in events if event.line not in amiss]
    return kept, [*problems, *(amiss[line] for line in sorted(amiss))]


def of_no_region(season: Season, path: Path, events: Iterable[Event]) -> dict[int, str]:
    """Events whose region is none of regions.toml: a sentence for each, by its line."""
    return {
        e.line: f'{path}: line {e.line}, region = "{e.region}" {no_region(season, e.region)}'
        for e in events
        if e.region and e.region not in season.regions.by_name
    }


def to_come(season: Season, path: Path, events: Iterable[Event]) -> dict[int, str]:
    """Events of days to come: a sentence for each, by its line."""
    events = list(events)
    latest = latest_day(season, max((e.day for e in events), default=date.min))
    return {
        e.line: f"{path}: line {e.line}, date = {e.day} has not come yet; is it right?"
        for e in events
        if e.day > latest
    }


def latest_day(season: Season, asked: date = date.max) -> date:
    """The last day of a season that has come.

    Parameters
    ----------
    season : Season
    asked : datetime.date
        The latest day that is asked about: where it is not after today, frames are not looked at.

    Returns
    -------
    datetime.date
        Today; the last day with a frame where that is later, since this machine's clock is behind
        the camera's, or a season is played back.
    """
    today = season.day_of(season.clock())
    if asked <= today:
        return today
    try:
        with season.catalogue_to_read():
            last = [season.catalogue.last_day(camera) for camera in season.settings.cameras]
    except CatalogueError:  # a diary is read without one
        return today
    return max([today, *filter(None, last)])


def not_come(season: Season, day: date) -> str:
    """Why a day cannot be told of yet: ``has not come yet (today is 2031-05-21)``.

    Empty for a day that has come.
    """
    latest = latest_day(season, day)
    if day <= latest:
        return ""
    whose = "today is" if latest == season.day_of(season.clock()) else "the newest frame is of"
    return f"has not come yet ({whose} {latest})"


def no_region(season: Season, name: str) -> str:
    """That a name is no region's, and which may be meant."""
    names = {n.lower(): n for n in season.regions.by_name}
    names |= {r.title.lower(): r.name for r in season.regions.region}
    near = difflib.get_close_matches(name.lower(), names, n=1, cutoff=0.4)
    known = ", ".join(season.regions.by_name) or "none yet"
    hint = f'did you mean "{names[near[0]]}"?' if near else f"it has {known}"
    return f"is no region of regions.toml; {hint} (leave it out for the whole bench)"

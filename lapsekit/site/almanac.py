"""A season as its pages tell it: days, pictures, gaps with their reasons, values, diary."""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import TypeVar

from lapsekit.catalogue import Daily, Frame
from lapsekit.corrections import Correction, read_corrections
from lapsekit.diary import Event
from lapsekit.happened import happened
from lapsekit.language.phrases import act_text, reasons_text
from lapsekit.language.words import Words
from lapsekit.season import CORRECTIONS_FILE, OWN_WORDS, Season
from lapsekit.settings import Region, plants_among
from lapsekit.site.digests import Digests
from lapsekit.site.grouping import folded
from lapsekit.site.plant_names import page_names, page_path
from lapsekit.when import days_between

T = TypeVar("T")
#: Where the season's own catalogues lie.


@dataclass
class DayFrames:
    """How many frames one camera has of one day, and what kept some of them out."""

    total: int = 0
    usable: int = 0
    left_out: Counter[str] = field(default_factory=Counter)


@dataclass
class Almanac:
    """Everything the pages are made of.

    Attributes
    ----------
    words : Words
        The site's language.
    cameras : list of str
        Cameras that have frames, the main one first.
    days : list of date
        Every calendar day from the first with a frame to the last.
    frames : dict
        Counts by camera and day.
    pictures : dict
        Daily pictures by camera and day. A picture that cannot be read is taken out with
        :meth:`lose_picture`.
    rows : list of Region
        What tables and curves list: regions, those of one group folded into one.
    values : dict
        Daily values by the name of a region or a row, and day.
    events : list of Event
        The diary as far as it happened, in order of day.
    problems : list of str
        What could not be read on the way.
    without_scale : frozenset of str
        Names of regions and rows that have a cover on some day, and an area on none.
    corrections : list of Correction
        Numbers that were published and then corrected, newest first.
    """

    words: Words
    title: str
    about: str
    sown: date
    cameras: list[str]
    days: list[date]
    frames: dict[str, dict[date, DayFrames]]
    pictures: dict[str, dict[date, Frame]]
    regions: list[Region]
    rows: list[Region]
    values: dict[str, dict[date, Daily]]
    events: list[Event]
    problems: list[str]
    without_scale: frozenset[str]
    corrections: list[Correction]

    def only(self, days: Collection[date], values_of: Collection[date] = ()) -> "Almanac":
        """The same, knowing of `days` alone, and of `values_of` the daily values.

        What rests on it rests on no more. What it still knows beside days, `lapsekit.site.digests`
        has a mark of.
        """
        return replace(
            self,
            days=self.days[:1],
            events=[event for event in self.events if event.day in days],
            frames={name: _on(known, days) for name, known in self.frames.items()},
            pictures={name: _on(known, days) for name, known in self.pictures.items()},
            values={name: _on(known, (*days, *values_of)) for name, known in self.values.items()},
        )

    @cached_property
    def digests(self) -> Digests:
        """Marks of what is known of each day."""
        return Digests(self)

    @property
    def main_camera(self) -> str | None:
        """The camera of the front page; None while there is no frame at all."""
        return self.cameras[0] if self.cameras else None

    @cached_property
    def plants(self) -> tuple[Region, ...]:
        """Regions that are counted, added up and drawn together."""
        return plants_among(self.regions)

    @cached_property
    def apart(self) -> list[Region]:
        """The other regions: whole pictures that hold plants."""
        plants = {region.name for region in self.plants}
        return [region for region in self.regions if region.name not in plants]

    @property
    def picture_days(self) -> list[date]:
        """Days on which at least one camera has a picture; these have a page."""
        return sorted(self.page_days)

    @cached_property
    def page_days(self) -> set[date]:
        """The same days, to ask whether one is among them."""
        return {day for days in self.pictures.values() for day in days}

    def gap_reason(self, camera: str, day: date) -> str:
        """Why `camera` has no picture on `day`."""
        frames = self.frames.get(camera, {}).get(day)
        if frames is None:
            return self.words.text("no frame was taken")
        told = reasons_text(self.words, frames.left_out)
        return told or self.words.text("no frame has been looked at yet")

    def lose_picture(self, camera: str, day: date, problem: str) -> None:
        """Make a day whose picture cannot be read a gap that says so."""
        del self.pictures[camera][day]
        for known in ("page_days", "digests"):
            self.__dict__.pop(known, None)
        self.frames[camera][day].left_out["not readable"] += 1
        self.problems.append(problem)

    def events_on(self, day: date) -> list[Event]:
        """Diary lines of one day."""
        return [event for event in self.events if event.day == day]

    def unit(self, region: Region) -> str:
        """``cm²``, or ``%`` for a region whose camera has no scale."""
        return "%" if region.name in self.without_scale else "cm²"

    @cached_property
    def plant_paths(self) -> dict[str, str]:
        """Path in the site of each plant's and group's own page, by its name."""
        names = page_names(self.rows, self.regions)
        return {name: page_path(page) for name, page in names.items()}

    def event_text(self, event: Event) -> str:
        """``Potted on (Basil)``; the whole bench is not named."""
        titles = {region.name: region.title for region in self.regions}
        where, what = titles.get(event.region, event.region), act_text(self.words, event.what)
        return f"{what} ({where})" if where else what


def gather(season: Season, daily: Iterable[Daily] | None = None) -> Almanac:
    """Read everything the pages need from a season.

    Parameters
    ----------
    season : Season
    daily : iterable of Daily, optional
        Its daily values, each region's by day, if the caller has them.
    """
    settings = season.settings
    frames = _frames_by_day(season)
    pictures = {camera: dict(days) for camera, days in season.daily_pictures().items()}
    known = [camera for camera in settings.cameras if frames.get(camera)]
    cameras = sorted(known, key=lambda camera: not pictures.get(camera))
    days = sorted({day for camera in cameras for day in frames[camera]})
    values: dict[str, dict[date, Daily]] = {}
    for row in season.catalogue.daily() if daily is None else daily:
        values.setdefault(row.region, {})[row.day] = row
    words = Words(settings.site.language, [season.folder / OWN_WORDS])
    rows, means = folded(words, season.regions.region, values)
    events, problems = happened(season)
    corrections, amiss = read_corrections(season.folder / CORRECTIONS_FILE)
    return Almanac(
        words=words,
        title=settings.season.title,
        about=settings.season.about,
        sown=settings.season.sown,
        cameras=cameras,
        days=list(days_between(days[0], days[-1])) if days else [],
        frames=frames,
        pictures={camera: pictures.get(camera, {}) for camera in cameras},
        regions=list(season.regions.region),
        rows=rows,
        values=values | means,
        events=events,
        problems=problems + amiss,
        without_scale=_without_scale(values | means),
        corrections=corrections,
    )


def _without_scale(values: dict[str, dict[date, Daily]]) -> frozenset[str]:
    return frozenset(
        name
        for name, rows in values.items()
        if any(row.cover is not None for row in rows.values())
        and all(row.area_cm2 is None for row in rows.values())
    )


def _on(known: dict[date, T], days: Iterable[date]) -> dict[date, T]:
    """What is known of some days."""
    return {day: known[day] for day in days if day in known}


def _frames_by_day(season: Season) -> dict[str, dict[date, DayFrames]]:
    counts: dict[str, dict[date, DayFrames]] = {}
    for camera, day, reasons, number in season.catalogue.counts():
        of_day = counts.setdefault(camera, {}).setdefault(day, DayFrames())
        of_day.total += number
        of_day.usable += number if reasons == () else 0
        of_day.left_out.update(dict.fromkeys(reasons or (), number))
    for camera, day, reasons, number in season.catalogue.thinned_counts():
        of_day = counts.get(camera, {}).get(day)
        if of_day is not None:
            of_day.total += number
            of_day.usable += 0 if reasons else number
            of_day.left_out.update(dict.fromkeys(reasons or (), number))
    return counts

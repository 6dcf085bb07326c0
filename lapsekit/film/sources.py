"""What a cut shows: panels, each with the frames of one camera by day."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from difflib import get_close_matches

from lapsekit.catalogue import Frame
from lapsekit.errors import FilmError, LapsekitError
from lapsekit.season import CATALOGUE_FILE, SETTINGS_FILE, Season
from lapsekit.settings import Cut, Region

RECENT_DAYS = 7

#: One frame of a day's, or several, out of those that may be shown.
Choice = Callable[[Season, Mapping[date, Sequence[Frame]]], Mapping[date, Sequence[Frame]]]


@dataclass(frozen=True)
class Source:
    """A frame that a film shows.

    Attributes
    ----------
    frame : Frame
    at_days : float
        When it was taken, in local days without summer time: it never runs backwards, and the sun
        stands alike at the same share of a day. Midnight is a whole number.
    clock : str
        When it was taken, as the clock on the wall says it: ``12:05``.
    """

    frame: Frame
    at_days: float
    clock: str

    @property
    def hour(self) -> float:
        """Time of day in hours, without summer time."""
        return 24 * (self.at_days % 1)


@dataclass(frozen=True)
class Panel:
    """One picture in the film's picture: the frames of one camera in order of day.

    Attributes
    ----------
    season : Season
        This season, or the earlier one.
    camera, title : str
        The title stands on it where there are several.
    region : Region or None
        Which one is followed; None for the whole view.
    origin : date
        Which day is day 0: of the calendar for one panel, of sowing where panels go in step.
    sources : dict of int to list of Source
        By day.
    """

    season: Season
    camera: str
    title: str
    region: Region | None
    origin: date
    sources: dict[int, list[Source]]

    def day_of(self, day: int) -> date:
        """The calendar day of a day as the film counts."""
        return self.origin + timedelta(day)


def panels_of(
    season: Season, cut: Cut, choose: Choice, earlier: Season | None = None
) -> list[Panel]:
    """The panels of a cut.

    Parameters
    ----------
    season : Season
    cut : Cut
        As `FilmTable.resolved` gives it.
    choose : Choice
        Picks from each day's usable frames those that the cut wants.
    earlier : Season, optional
        The earlier season, for then-and-now.

    Raises
    ------
    FilmError
        If it names a camera, region or day that is not there, or there is nothing to show.
    """
    if cut.kind == "then-and-now":
        found = list(_then_and_now(season, cut, choose, earlier))
    else:
        found = list(_PANELS[cut.kind](season, cut, choose))
    for panel in found:
        if not panel.sources:
            raise FilmError(_nothing(panel))
    return found


def _nothing(panel: Panel) -> str:
    return (
        f'{panel.season.folder}: camera "{panel.camera}" has no usable frame for this cut; bring '
        "pictures in (lapsekit import or capture), run lapsekit measure, then film again"
    )


def _of_camera(season: Season, cut: Cut, choose: Choice) -> Iterator[Panel]:
    """The whole season, its last days, or one of them, by one camera."""
    camera = known_camera(season, cut.camera)
    days = season.usable_frames(camera)
    if cut.kind == "day":
        days = _one_day(camera, days, cut.day)
    if cut.kind == "recent" and days:
        since = max(days) - timedelta((cut.days or RECENT_DAYS) - 1)
        days = {day: frames for day, frames in days.items() if day >= since}
    if cut.since:
        days = _from(camera, days, cut.since)
    yield _panel(season, camera, season.settings.season.title, None, days, choose)


def _from(camera: str, days: dict[date, list[Frame]], since: date) -> dict[date, list[Frame]]:
    """The frames of a day and of all after it."""
    if days and max(days) < since:
        raise FilmError(
            f'camera "{camera}" has no usable frame from {since} on: its latest is of {max(days)}'
        )
    return {day: frames for day, frames in days.items() if day >= since}


def _one_day(camera, days, day: date | None):
    """A day's frames; of the latest day where none is asked for."""
    if day is None:
        return {max(days): days[max(days)]} if days else {}
    if day not in days:
        near = min(days, key=lambda each: abs(each - day), default=None)
        nearest = f"; the nearest that has one is {near}" if near else ""
        raise FilmError(f'camera "{camera}" has no usable frame of {day}{nearest}')
    return {day: days[day]}


def _of_region(season: Season, cut: Cut, choose: Choice) -> Iterator[Panel]:
    """A region, followed since its first outline."""
    region = known_region(season, cut.regions[0])
    days = _outlined(season, region)
    yield _panel(season, region.camera, region.title, region, days, choose)


def _together(season: Season, cut: Cut, choose: Choice) -> Iterator[Panel]:
    """Several regions in step, each by its own days since sowing."""
    for name in cut.regions:
        region = known_region(season, name)
        days = _outlined(season, region)
        sown = season.sown(region)
        yield _panel(season, region.camera, region.title, region, days, choose, sown)


def _then_and_now(
    season: Season, cut: Cut, choose: Choice, earlier: Season | None
) -> Iterator[Panel]:
    """An earlier season beside this one, in step by days since sowing."""
    if earlier is None:
        raise FilmError(
            f"{season.folder / SETTINGS_FILE}: a cut of kind then-and-now needs an earlier season: "
            'let earlier in [site] name its folder, like earlier = "../bench-2030"'
        )
    for each, camera in ((earlier, None), (season, cut.camera)):
        name, table = known_camera(each, camera), each.settings.season
        days = each.usable_frames(name)
        yield _panel(each, name, table.title, None, days, choose, table.sown)


_PANELS = {
    "season": _of_camera,
    "recent": _of_camera,
    "day": _of_camera,
    "region": _of_region,
    "together": _together,
}


@contextmanager
def earlier_of(season: Season, cut: Cut) -> Iterator[Season | None]:
    """The earlier season that a cut of then-and-now shows, open; None for others, or without one.

    Raises
    ------
    FilmError
        If it cannot be opened.
    """
    told = season.settings.site.earlier if cut.kind == "then-and-now" else None
    if told is None:
        yield None
        return
    folder = (season.folder / told).resolve()
    amend = f"let earlier in [site] of {season.folder / SETTINGS_FILE} name that season's folder"
    if not (folder / CATALOGUE_FILE).is_file():  # opened, it would be made
        raise FilmError(f"{folder}: no measured season there, to film beside this one; {amend}")
    try:
        earlier = Season(folder, season.clock)
    except LapsekitError as error:
        raise FilmError(
            f"{folder}: cannot be filmed beside this season ({error}); {amend}"
        ) from error
    with closing(earlier.catalogue):
        yield earlier


def _outlined(season: Season, region: Region) -> dict[date, list[Frame]]:
    """Usable frames of a region's camera since it was first outlined."""
    days = season.usable_frames(region.camera)
    return {day: frames for day, frames in days.items() if region.outline_on(day)}


def _panel(season, camera, title, region, days, choose: Choice, origin=None) -> Panel:
    chosen = choose(season, days) if days else {}
    start = origin or min(chosen, default=season.settings.season.sown)
    sources = {
        (day - start).days: [_source(season, frame) for frame in frames]
        for day, frames in sorted(chosen.items())
        if frames
    }
    return Panel(season, camera, title, region, start, sources)


def _source(season: Season, frame: Frame) -> Source:
    clock = f"{frame.taken_at.astimezone(season.zone):%H:%M}"
    return Source(frame, _at_days(season, frame.taken_at), clock)


def _at_days(season: Season, moment: datetime) -> float:
    local = moment.astimezone(season.zone)
    steady = local.replace(tzinfo=None) - (local.dst() or timedelta(0))
    return (steady - datetime.min) / timedelta(1) + date.min.toordinal()


def hour_of(season: Season, moment: datetime) -> float:
    """Local time of day of an instant, in hours, without summer time."""
    return 24 * (_at_days(season, moment) % 1)


def known_camera(season: Season, asked: str | None) -> str:
    """A camera of the season, the first where none is asked for.

    Raises
    ------
    FilmError
        If there is none of that name.
    """
    cameras = season.settings.cameras
    if asked is None:
        return next(iter(cameras))
    if asked not in cameras:
        raise FilmError(f'no camera "{asked}" in season.toml; it has {", ".join(cameras)}')
    return asked


def known_region(season: Season, asked: str) -> Region:
    """A region of the season.

    Raises
    ------
    FilmError
        If there is none of that name; the message names the nearest.
    """
    known = season.regions.by_name
    if asked in known:
        return known[asked]
    near = get_close_matches(asked, known, n=1)
    meant = f'; did you mean "{near[0]}"?' if near else f"; it has {', '.join(known) or 'none'}"
    raise FilmError(f'no region "{asked}" in regions.toml{meant}')


def left_out(panel: Panel, first: date, last: date) -> Counter[str]:
    """Why frames of some days are not shown: how many frames for each reason."""
    found: Counter[str] = Counter()
    for _, _, reasons, count in panel.season.catalogue.counts(panel.camera, first, last):
        found.update(dict.fromkeys(reasons or (), count))
    return found

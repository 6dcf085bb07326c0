"""Pictures of this season and of an earlier one at the same plant age, a week apart."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from lapsekit.catalogue import Frame
from lapsekit.errors import ArchiveError, PictureError
from lapsekit.season import Season
from lapsekit.site import pictures
from lapsekit.site.almanac import Almanac
from lapsekit.site.earlier import Earlier, open_earlier
from lapsekit.site.gallery import Gallery, Shown
from lapsekit.site.writing import SiteFolder

WEEK = 7
#: How far two pictures may be from the day of their week, and from each other, in days of age.
NEAR_DAYS = 1
#: Width of the earlier season's pictures, in px; smaller ones stay as they are.
WIDTH = 800


@dataclass(frozen=True)
class Then:
    """A picture of the earlier season in this site: files ``STEM.KIND``."""

    stem: str
    width: int
    height: int
    kinds: tuple[str, ...]


@dataclass(frozen=True)
class Week:
    """Pictures of both seasons at the same plant age."""

    age: int
    day: date
    shown: Shown
    then_age: int
    then_day: date
    then: Then


@dataclass(frozen=True)
class Held:
    """An earlier season with its pictures in this site."""

    earlier: Earlier
    weeks: list[Week] = field(default_factory=list)


def hold(
    season: Season, almanac: Almanac, gallery: Gallery, folder: SiteFolder
) -> tuple[Held | None, list[str]]:
    """Open the earlier season that settings name and put up its pictures.

    Returns
    -------
    Held or None
        None where none is named or it cannot be read.
    list of str
        What could not be read, each with what to do.
    """
    earlier, problems = open_earlier(season)
    if earlier is None:
        return None, problems
    try:
        weeks, amiss = show_weeks(earlier, almanac, gallery, folder)
    finally:
        earlier.season.catalogue.close()
    return Held(earlier, weeks), amiss


def show_weeks(
    earlier: Earlier, almanac: Almanac, gallery: Gallery, folder: SiteFolder
) -> tuple[list[Week], list[str]]:
    """Put up pictures of the earlier season, one a week where both seasons have one.

    Parameters
    ----------
    earlier : Earlier
    almanac, gallery
        This season and its pictures.
    folder : SiteFolder
        Where they go, encoded anew from bare pixels like every picture of the site.

    Returns
    -------
    list of Week
        In order of age.
    list of str
        Pictures that could not be read, each with why.
    """
    camera, then_sown = almanac.main_camera, earlier.sown
    shown = gallery.shown.get(camera, {})
    found, problems = [], []
    for age, then_age in same_ages(
        {(day - almanac.sown).days for day in shown},
        {(day - then_sown).days for day in earlier.pictures},
    ):
        day, then_day = almanac.sown + timedelta(age), then_sown + timedelta(then_age)
        frame = earlier.pictures[then_day]
        try:
            then = _show(earlier, frame, folder)
        except (ArchiveError, PictureError) as error:
            problems.append(f"{earlier.season.folder / frame.path}: {error}")
            continue
        found.append(Week(age, day, shown[day], then_age, then_day, then))
    return found, problems


def same_ages(own: set[int], then: set[int]) -> list[tuple[int, int]]:
    """Ages of both seasons' pictures that stand for a week, one pair a week. Pure.

    Parameters
    ----------
    own, then : set of int
        Plant ages in days of which each season has a picture.

    Returns
    -------
    list of (own, then)
        Of each week the pair nearest to its day, at most `NEAR_DAYS` from it and from each other.
    """
    found = []
    for week in range(min(own, default=0) // WEEK, max(own, default=-1) // WEEK + 1):
        wanted = range(week * WEEK - NEAR_DAYS, week * WEEK + NEAR_DAYS + 1)
        pairs = [
            (a, b) for a in wanted for b in wanted
            if a in own and b in then and abs(a - b) <= NEAR_DAYS
        ]  # fmt: skip
        if pairs:
            found.append(min(pairs, key=lambda p: (abs(p[0] - p[1]), abs(p[0] - week * WEEK), p)))
    return found


def _show(earlier: Earlier, frame: Frame, folder: SiteFolder) -> Then:
    """Put up one picture of the earlier season, unless it is there."""
    width = min(WIDTH, frame.width)
    size = (width, max(1, round(frame.height * width / frame.width)))
    stem = f"beside/{frame.day}-{pictures.mark(frame.sha256, size)}"
    kinds = tuple(pictures.KINDS)
    missing = [kind for kind in kinds if not folder.has(f"{stem}.{kind}")]
    if missing:
        smaller = pictures.decode(earlier.season.archive.read(frame.path), frame.width, size)
        for kind in missing:
            folder.put(f"{stem}.{kind}", pictures.encode(smaller, kind))
    return Then(stem, *size, kinds)

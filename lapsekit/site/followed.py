"""Puts followers' pictures into the site, each with the grower's plant of the same age.

Only what `lapsekit.followers.showing` gives, which has a consent and the grower's yes. A picture
is decoded to bare pixels and encoded anew; its name is a hash of what it shows, and leads to no
record.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from lapsekit.errors import FollowerError, PictureError
from lapsekit.followers.showing import Shown as Given
from lapsekit.followers.showing import shown as given_of
from lapsekit.language.words import is_language
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.site import pictures
from lapsekit.site.almanac import Almanac
from lapsekit.site.cropping import Crop, Sight, seen_days, show_crops
from lapsekit.site.gallery import Shown
from lapsekit.site.pairs import (
    Ours,
    Pair,
    alt_text,
    day_of_ours,
    day_text,
    old_text,
    told_of,
    why_alone,
)
from lapsekit.site.wording import NOTHING, value_text
from lapsekit.site.writing import SiteFolder

#: Where they lie in the site.
PICTURES = "followers/pictures"


@dataclass(frozen=True)
class _Put:
    """A follower's picture that is in the site, and the grower's plant for it."""

    given: Given
    shown: Shown
    region: Region | None
    day: date | None


def show_pairs(
    season: Season, almanac: Almanac, folder: SiteFolder, sights: Mapping[str, Sight | None]
) -> tuple[list[Pair], list[str]]:
    """Put up followers' pictures and the crops that stand beside them.

    Parameters
    ----------
    season : Season
    almanac : Almanac
    folder : SiteFolder
    sights : mapping of str to Sight
        By camera; see `lapsekit.site.cropping.sight_of`.

    Returns
    -------
    list of Pair
        The latest first.
    list of str
        What could not be read, for the grower.
    """
    put, problems = [], []
    for given in reversed(given_of(season)):
        region = season.regions.by_name.get(given.region)
        day = None if region is None else _day_of_ours(almanac, sights, region, given.age_days)
        try:
            put.append(_Put(given, _show(given, folder), region, day))
        except (FollowerError, PictureError, OSError) as error:
            problems.append(f"a follower's picture is not shown: {error}")
    crops = _crops(season, almanac, folder, sights, put)
    return [_pair(almanac, each, crops) for each in put], problems


def _day_of_ours(
    almanac: Almanac, sights: Mapping[str, Sight | None], region: Region, age_days: int | None
) -> date | None:
    sight = sights.get(region.camera)
    if sight is None or age_days is None:
        return None
    seen = seen_days([region], sight, almanac.pictures.get(region.camera, {}))
    return day_of_ours(region.sown or almanac.sown, age_days, seen)


def _show(given: Given, folder: SiteFolder) -> Shown:
    """Put up a follower's picture in the sizes that are not there yet."""
    sizes = pictures.sizes(given.width, given.height)
    fallback = pictures.fallback_widths([width for width, _ in sizes])
    shown = Shown(f"{PICTURES}/{pictures.mark(given.mark, sizes)}", sizes, fallback)
    missing = [
        (size, kind)
        for kind in shown.kinds
        for size in sizes
        if size[0] in shown.widths_of(kind) and not folder.has(shown.path(size[0], kind))
    ]
    if missing:
        largest = pictures.decode(given.picture(), given.width, sizes[-1])
        for size, kind in missing:
            made = pictures.encode(pictures.resized(largest, size), kind)
            folder.put(shown.path(size[0], kind), made)
    return shown


def _crops(
    season: Season,
    almanac: Almanac,
    folder: SiteFolder,
    sights: Mapping[str, Sight | None],
    put: Sequence[_Put],
) -> dict[tuple[str, date], Crop]:
    """The grower's plants as they stand beside: by region and day."""
    days: dict[str, set[date]] = {}
    for each in put:
        if each.region is not None and each.day is not None:
            days.setdefault(each.region.name, set()).add(each.day)
    plants = {name: [season.regions.by_name[name]] for name in days}
    rows = show_crops(season, almanac, folder, sights, plants, days=days)
    return {(name, crop.day): crop for name, row in rows.items() for crop in row if crop.stem}


def _pair(almanac: Almanac, put: _Put, crops: Mapping[tuple[str, date], Crop]) -> Pair:
    words, given, region = almanac.words, put.given, put.region
    is_foreign = given.language != words.language and is_language(given.language)
    language = given.language if is_foreign else ""
    texts = (given.name, given.plant, given.caption, language)
    told = told_of(*texts, given.taken_on, given.age_days)
    title = region.title if region else ""
    sown = (region.sown if region else None) or almanac.sown
    age = "" if told.age_days is None else old_text(words, told.age_days)
    crop = crops.get((given.region, put.day)) if put.day else None
    last = almanac.days[-1] if almanac.days else None
    return Pair(
        put.shown.stem.rpartition("/")[2],
        *(put.shown, told, region.name if region else "", title, age),
        day_text(words, told, last or almanac.sown),
        None if crop is None or region is None else _ours(almanac, region, sown, crop),
        "" if crop else why_alone(words, told, title, sown, last),
        alt_text(words, told, title, age),
    )


def _ours(almanac: Almanac, region: Region, sown: date, crop: Crop) -> Ours:
    row = almanac.values.get(region.name, {}).get(crop.day)
    value = value_text(almanac.words, row, almanac.unit(region))
    age = old_text(almanac.words, (crop.day - sown).days)
    return Ours(crop.day, age, "" if value == NOTHING else value, crop)

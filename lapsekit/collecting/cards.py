"""A season as the index of a collection shows it: in words, its last picture, a ribbon of days."""

import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from urllib.parse import quote

from lapsekit.catalogue import Frame
from lapsekit.collecting.listing import is_over
from lapsekit.collecting.members import Collection, Member
from lapsekit.errors import LapsekitError
from lapsekit.season import Season
from lapsekit.site import pictures
from lapsekit.site.gallery import Shown
from lapsekit.site.strips import Slices, strip_centre
from lapsekit.site.writing import SiteFolder

WIDTHS = pictures.WIDTHS[:2]
"""A card is as wide as a phone at most."""

MOST_COLUMNS, MOST_DECODED = 60, 24
"""Days in a card's ribbon: where the season's own site has cut its slices, and where each has to be
cut out of a frame."""

RIBBON_HEIGHT = 60
_TRIED = 5
_NUMBERED = re.compile(r"[\s-]*\d+$")


@dataclass(frozen=True)
class Ribbon:
    """Files ``STEM.KIND``, and the days from which to which it goes."""

    stem: str
    width: int
    height: int
    first: date
    last: date


@dataclass(frozen=True)
class Card:
    """What the index tells of one season.

    Attributes
    ----------
    title : str
    bench : str or None
        Where the collection's file names it.
    link : str or None
        Its published address, or from the index's folder to its front page, percent-encoded.
    sown : date
    first, last : date or None
        Days of its first and last frame.
    is_over : bool
    grew : tuple of str
        What grew, each once.
    plants, picture_days : int
    shown : Shown or None
        Its last picture, of `shown_day`.
    """

    title: str
    bench: str | None
    link: str | None
    sown: date
    first: date | None
    last: date | None
    is_over: bool
    grew: tuple[str, ...]
    plants: int
    picture_days: int
    shown: Shown | None = None
    shown_day: date | None = None
    ribbon: Ribbon | None = None


def card_of(
    season: Season, member: Member, collection: Collection, folder: SiteFolder
) -> tuple[Card, list[str]]:
    """A season's card, its pictures put up; and what could not be read of them."""
    span = season.catalogue.span() if member.has_catalogue else None
    first, last = map(season.day_of, span) if span else (None, None)
    daily = _daily_pictures(season) if span else {}
    problems: list[str] = []
    day, shown = _last_picture(season, daily, folder, problems)
    card = Card(
        title=member.title(season),
        bench=member.own_bench,
        link=link_of(season, collection, folder.root),
        sown=season.settings.season.sown,
        first=first,
        last=last,
        is_over=is_over(season, last),
        grew=kinds_of(region.title for region in season.regions.plants),
        plants=len(season.regions.plants),
        picture_days=len(daily),
        shown=shown,
        shown_day=day,
        ribbon=_ribbon(season, daily, folder, problems) if shown else None,
    )
    return card, problems


def kinds_of(titles: Iterable[str]) -> tuple[str, ...]:
    """What grew, by titles without the numbers at their ends: ``Basil 1``, ``Basil 2`` are one."""
    return tuple(dict.fromkeys(_NUMBERED.sub("", title) or title for title in titles))


def why_not_shown(season: Season, member: Member) -> str | None:
    """Why the index does not show a season; None where it does.

    Pictures of a bench go before readers only if its season goes there too, or the file says so.
    """
    if member.on_index is False:
        return "on_index = false"
    is_published = season.settings.publish.to or season.settings.site.address
    if is_published or member.on_index:
        return None
    return "not published: it has neither [publish] nor [site] address"


def link_of(season: Season, collection: Collection, out: Path) -> str | None:
    """Where a card leads: the season's address, else from the index's folder to its site.

    The second only where both lie below the collection's file: a link that climbed higher would
    tell readers how this machine's folders are called.
    """
    if season.settings.site.address:
        return season.settings.site.address
    front, top = (season.site / "index.html").resolve(), collection.folder.resolve()
    if not front.is_file() or not all(p.is_relative_to(top) for p in (front, out.resolve())):
        return None
    return quote(os.fsencode(Path(os.path.relpath(front, out.resolve())).as_posix()))


def _daily_pictures(season: Season) -> Mapping[date, Frame]:
    """Daily pictures of the first camera that has any."""
    found = (season.pictures_of(camera) for camera in season.settings.cameras)
    return next(filter(None, found), {})


def _last_picture(
    season: Season, daily: Mapping[date, Frame], folder: SiteFolder, problems: list[str]
) -> tuple[date | None, Shown | None]:
    for day in sorted(daily, reverse=True)[:_TRIED]:
        try:
            return day, _show(season, daily[day], folder)
        except LapsekitError as error:
            problems.append(f"{season.folder / daily[day].path}: {error}")
    return None, None


def _show(season: Season, frame: Frame, folder: SiteFolder) -> Shown:
    """Put up a picture's missing files."""
    widths = [width for width in WIDTHS if width < frame.width] or [frame.width]
    sizes = tuple((width, max(1, round(frame.height * width / frame.width))) for width in widths)
    stem = f"pictures/{frame.day}-{pictures.mark(frame.sha256, sizes)}"
    shown = Shown(stem, sizes, tuple(widths[-1:]))
    missing = [
        (size, kind)
        for kind in shown.kinds
        for size in sizes
        if size[0] in shown.widths_of(kind) and not folder.has(shown.path(size[0], kind))
    ]
    if missing:
        whole = pictures.decode(season.archive.read(frame.path), frame.width, sizes[-1])
        for size, kind in missing:
            data = pictures.encode(pictures.resized(whole, size), kind)
            folder.put(shown.path(size[0], kind), data)
    return shown


def _ribbon(
    season: Season, daily: Mapping[date, Frame], folder: SiteFolder, problems: list[str]
) -> Ribbon | None:
    """Put up a sprite of days spread evenly over those that have a picture."""
    slices = Slices(season.folder / ".cache" / "slices", season.regions.region)
    frames = [daily[day] for day in spread_evenly(sorted(daily), MOST_COLUMNS)]
    wide = not all(map(slices.has, frames))
    if wide:
        frames = [daily[day] for day in spread_evenly(sorted(daily), MOST_DECODED)]
    stem = f"pictures/days-{pictures.mark([slices.mark(frame) for frame in frames], wide)}"
    column = pictures.WIDE_COLUMN if wide else pictures.COLUMN_WIDTH
    width = round(column * len(frames) * RIBBON_HEIGHT / pictures.SLICE_HEIGHT)
    missing = [kind for kind in pictures.KINDS if not folder.has(f"{stem}.{kind}")]
    if missing:
        try:
            cut = [slices.read(f) if slices.has(f) else _cut(season, f) for f in frames]
        except LapsekitError as error:
            problems.append(f"{season.folder}: no ribbon of its days ({error})")
            return None
        sprite = pictures.resized(pictures.sprite(cut, column), (width, RIBBON_HEIGHT))
        for kind in missing:
            folder.put(f"{stem}.{kind}", pictures.encode(sprite, kind, pictures.SMALL))
    return Ribbon(stem, width, RIBBON_HEIGHT, frames[0].day, frames[-1].day)


def _cut(season: Season, frame: Frame):
    """A frame's slice, out of the frame decoded as small as will do."""
    height = pictures.SLICE_HEIGHT
    size = (max(1, round(frame.width * height / frame.height)), height)
    small = pictures.decode(season.archive.read(frame.path), frame.width, size)
    regions = [r for r in season.regions.region if r.camera == frame.camera]
    return pictures.slice_of(small, strip_centre(regions, frame.width))


def spread_evenly(days: Sequence[date], most: int) -> list[date]:
    """At most so many of `days`, evenly spread, the first and the last among them."""
    if len(days) <= most:
        return list(days)
    return [days[round(k * (len(days) - 1) / (most - 1))] for k in range(most)]

"""What the diary's page is told: the season as a timeline, the latest month first."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from lapsekit.language.phrases import age_text
from lapsekit.site.contents import Page, Whole
from lapsekit.site.gallery import Shown
from lapsekit.site.happenings import Happening

PATH = "diary/index.html"


@dataclass(frozen=True)
class Told:
    """A day of the timeline with what happened on it; without a picture `shown` is None."""

    day: date
    age: str
    has_page: bool
    shown: Shown | None
    happened: tuple[Happening, ...]


@dataclass(frozen=True)
class Quiet:
    """Days on end on which nothing but the same routine act happened, told in one line."""

    what: str
    days: tuple[tuple[date, bool], ...]


@dataclass(frozen=True)
class Month:
    """One month of the timeline, the latest day first."""

    first: date
    entries: tuple[Told | Quiet, ...]


def has_diary(whole: Whole) -> bool:
    """Whether there is anything to tell."""
    noticed = whole.noticed
    return bool(whole.almanac.events or noticed.pauses or noticed.losses)


def diary_page(whole: Whole) -> Page:
    """The timeline, what the curves show, and what was harvested so far."""
    found = whole.happenings
    asked = [each for each in whole.responses if each.response is not None]
    facts = {
        "months": months(whole, found),
        "turns": [each for each in found if each.kind in ("pause", "loss")],
        "asked": asked[0].asked if asked else 0,
        "harvest_g": sum(event.weight_g or 0.0 for event in whole.almanac.events),
    }
    return Page(PATH, "diary.html", facts)


def months(whole: Whole, found: Sequence[Happening]) -> list[Month]:
    """The timeline of these happenings, which are in order of day."""
    days = [(day, tuple(of_day)) for day, of_day in groupby(found, key=lambda each: each.day)]
    by_month = groupby(reversed(days), key=lambda each: each[0].replace(day=1))
    return [Month(first, tuple(_entries(whole, list(of_month)))) for first, of_month in by_month]


def _entries(
    whole: Whole, days: Sequence[tuple[date, tuple[Happening, ...]]]
) -> Iterator[Told | Quiet]:
    shown = whole.almanac.page_days
    for what, run in groupby(days, key=lambda each: _quiet(each[1])):
        if what:
            yield Quiet(what, tuple((day, day in shown) for day, _ in run))
        else:
            yield from (_told(whole, day, happened) for day, happened in run)


def _quiet(happened: Sequence[Happening]) -> str:
    """The one routine act of a day of the whole bench; empty where more happened."""
    each = happened[0]
    more = each.region or each.note or each.photographs
    return each.what if len(happened) == 1 and each.kind == "routine" and not more else ""


def _told(whole: Whole, day: date, happened: tuple[Happening, ...]) -> Told:
    almanac = whole.almanac
    pictures = (whole.gallery.shown.get(camera, {}).get(day) for camera in almanac.cameras)
    return Told(
        day,
        age_text(almanac.words, day, almanac.sown),
        day in almanac.page_days,
        next((shown for shown in pictures if shown is not None), None),
        happened,
    )

"""What the film's page is told: each camera's film with its chapters, and its text tracks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from lapsekit.site.contents import Page, Whole
from lapsekit.site.film_times import Cue, chapters, clipped, clock, days_of, vtt
from lapsekit.site.gallery import Shown
from lapsekit.site.happenings import Happening
from lapsekit.site.wording import age_text
from lapsekit.site.words import Words

PATH = "film/index.html"
#: Acts that make no chapter, like those of every other day.
NO_CHAPTER = {"height", "camera"}
#: So many plants are named for an act of one day.
MOST_NAMED = 3


@dataclass(frozen=True)
class Chapter:
    """A chapter: from which second, as a clock says it, and what happened."""

    start_s: float
    clock: str
    text: str


@dataclass(frozen=True)
class Film:
    """One camera's film.

    Attributes
    ----------
    camera, path : str
    poster : Shown or None
        The last picture in it.
    day : date or None
        The last day in it.
    days : tuple of (str, float)
        Each day and the second from which it is shown; empty where that is not known.
    chapters : tuple of Chapter
    """

    camera: str
    path: str
    poster: Shown | None
    day: date | None
    days: tuple[tuple[str, float], ...]
    chapters: tuple[Chapter, ...]


def film_page(whole: Whole) -> Page:
    """The page."""
    facts = {
        "shown_films": [_film(whole, name) for name in whole.films],
        "curves": whole.overviews,
    }
    return Page(PATH, "film.html", facts)


def film_tracks(whole: Whole) -> dict[str, bytes]:
    """Text tracks of every film whose times are known, by their path in the site."""
    found = {}
    for camera in whole.films:
        cues = _chapters(whole, camera)
        if cues:
            found[f"film/{camera}-chapters.vtt"] = vtt(cues)
            found[f"film/{camera}-captions.vtt"] = vtt(_captions(whole, camera))
    return found


def _film(whole: Whole, camera: str) -> Film:
    days = _days(whole, camera)
    shown = whole.gallery.shown.get(camera, {})
    last = max((day for day in shown if not days or day <= days[-1].day), default=None)
    return Film(
        camera,
        whole.films[camera],
        shown.get(last),
        last,
        tuple((f"{each.day}", round(each.start_s, 3)) for each in days),
        tuple(
            Chapter(round(cue.start_s, 3), clock(cue.start_s), cue.text)
            for cue in _chapters(whole, camera)
        ),
    )


def _days(whole: Whole, camera: str):
    """The film's days; none where nobody knows exactly which frames it shows, and how fast."""
    record = whole.season.film_record(camera)
    if record is None or not record.mark or not record.frames_per_second:
        return []
    return days_of(record.shows, record.frames_per_second)


def _chapters(whole: Whole, camera: str) -> list[Cue]:
    words, days = whole.almanac.words, _days(whole, camera)
    if not days:
        return []
    opening = words.text(
        "The film begins, {age}", age=age_text(words, days[0].day, whole.almanac.sown)
    )
    return chapters(days, _by_day(whole), opening)


def _by_day(whole: Whole) -> Iterator[tuple[date, str]]:
    """What happened on each day that makes a chapter."""
    words = whole.almanac.words
    acts = (e for e in whole.happenings if e.kind == "act" and e.act not in NO_CHAPTER)
    for day, of_day in groupby(acts, key=lambda each: each.day):
        said = "; ".join(_acts(words, list(of_day)))
        yield day, words.text("{day}: {what}", day=words.short_day(day), what=said)


def _acts(words: Words, happened: Sequence[Happening]) -> Iterator[str]:
    """Each act of a day once, with all whom it concerned: ``Emerged (Basil and Chard)``."""
    whom: dict[str, list[str]] = {}
    for each in happened:
        whom.setdefault(each.what, []).extend(filter(None, [each.where]))
    for what, plants in whom.items():
        named = [clipped(plant) for plant in plants[:MOST_NAMED]]
        if len(plants) > MOST_NAMED:
            rest = len(plants) - MOST_NAMED
            named.append(words.counted("{n} more", "{n} more", rest))
        yield f"{clipped(what)} ({words.listed(named)})" if named else clipped(what)


def _captions(whole: Whole, camera: str) -> list[Cue]:
    words = whole.almanac.words
    acts = (each for each in whole.happenings if each.kind == "act")
    told = {day: list(_acts(words, list(each))) for day, each in groupby(acts, key=lambda e: e.day)}
    cues = []
    for each in _days(whole, camera):
        age = age_text(words, each.day, whole.almanac.sown)
        said = "; ".join([f"{words.long_day(each.day)}, {age}", *told.get(each.day, ())])
        cues.append(Cue(each.start_s, each.end_s, said))
    return cues

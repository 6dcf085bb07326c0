"""What the film's page is told: each film with its chapters, and the days that it shows."""

from dataclasses import dataclass
from datetime import date

from lapsekit.film.records import FilmRecord, Films
from lapsekit.film.tracks import BESIDE, POSTER, clock
from lapsekit.season import Season
from lapsekit.site.contents import Page, Whole
from lapsekit.site.gallery import Shown
from lapsekit.site.writing import SiteFolder

PATH = "film/index.html"


@dataclass(frozen=True)
class Chapter:
    """A chapter: from which second, as a clock says it, and what happened."""

    start_s: float
    clock: str
    text: str


@dataclass(frozen=True)
class Film:
    """One film.

    Attributes
    ----------
    name, title, path : str
    size : (int, int)
        Width and height in px.
    poster : str
        Path in the site of a picture of it; may be empty.
    camera : str or None
        Whose days it shows, for the ribbon below it; None for cuts that are no season's.
    shown : Shown or None
        The last day's picture, for the ribbon.
    day : date or None
        The last day in it.
    days : tuple of (str, float)
        Each day and the second from which it is shown; empty where plants go in step by age.
    chapters : tuple of Chapter
    """

    name: str
    title: str
    path: str
    size: tuple[int, int]
    poster: str
    camera: str | None
    shown: Shown | None
    day: date | None
    days: tuple[tuple[str, float], ...]
    chapters: tuple[Chapter, ...]


def film_page(whole: Whole) -> Page:
    """The page."""
    facts = {
        "shown_films": [_film(whole, name, path) for name, path in whole.films.items()],
        "curves": whole.overviews,
    }
    return Page(PATH, "film.html", facts)


def _film(whole: Whole, name: str, path: str) -> Film:
    films = Films(whole.season)
    record = films.record(name) or FilmRecord("", [])
    camera = name if name in whole.season.settings.cameras else None
    shown = whole.gallery.shown.get(camera, {})
    until = date.fromisoformat(record.days[-1][0]) if record.days else None
    last = max((day for day in shown if until is None or day <= until), default=None)
    beside = films.file(name).with_name(name + POSTER)
    return Film(
        name,
        record.title if camera is None else whole.almanac.title,
        path,
        tuple(record.size) or (1280, 720),
        f"film/{beside.name}" if beside.is_file() else "",
        camera,
        shown.get(last),
        last,
        tuple((day, round(start_s, 3)) for day, start_s, _ in record.days),
        tuple(Chapter(round(start, 3), clock(start), text) for start, _, text in record.chapters),
    )


def _beside(films: Films, name: str) -> tuple[str, ...]:
    """What goes with a film; no tracks while nobody knows whether they are its own."""
    record = films.record(name)
    return BESIDE if record and record.chapters else BESIDE[:1]


def put_up_films(season: Season, folder: SiteFolder) -> tuple[dict[str, str], list[str]]:
    """Copy the films that are shown into the site, with what lies beside them.

    Returns
    -------
    dict of str to str
        Their paths in the site by name: each camera's season, and the cuts that season.toml puts
        on the site.
    list of str
        What is amiss.
    """
    cuts = season.settings.film.cuts
    shown, problems, films = {}, [], Films(season)
    for name in [*season.settings.cameras, *(name for name, cut in cuts.items() if cut.on_site)]:
        source = films.file(name)
        if films.may_be_shown(name):
            shown[name] = f"film/{source.name}"
            folder.copy(source, shown[name])
            for beside in (source.with_name(name + ending) for ending in _beside(films, name)):
                if beside.is_file():
                    folder.copy(beside, f"film/{beside.name}")
        elif source.is_file():
            problems.append(
                f"{source}: not on the site, since it shows frames that are not to be used (any "
                "more), or nobody knows which; run lapsekit film, then lapsekit site"
            )
    return shown, problems

"""The head of each page of a site, for machines."""

from typing import Any

from lapsekit.site.contents import FRONT, Page, Whole
from lapsekit.site.elsewhere.addresses import PAGE
from lapsekit.site.elsewhere.gathering import day_told
from lapsekit.site.elsewhere.marks import Head, data_mark, film_mark, head, image_mark
from lapsekit.site.elsewhere.saying import title_said
from lapsekit.site.elsewhere.told import SeasonTold

DAY, GROWTH = "day.html", "growth/index.html"


def head_of(whole: Whole, told: SeasonTold, page: Page, tables: list[str]) -> Head | None:
    """Facts for the head of a page; None without a public address.

    Parameters
    ----------
    whole : Whole
    told : SeasonTold
    page : Page
        A page of a day has it in ``facts["day"]``; any other may say what it is called in
        ``facts["heading"]``.
    tables : list of str
        Paths of the CSV files of the download.
    """
    words = whole.almanac.words
    if told.address is None:
        return None
    if page.template == DAY:
        day = day_told(whole, page.facts["day"])
        title = words.text("{page} · {title}", page=title_said(day, words), title=told.title)
        return head(told, words, page.path, title, day.picture.alt, day)
    heading = page.facts.get("heading") or _headings(whole).get(page.path)
    title = told.title
    if heading and page.path != FRONT:
        title = words.text("{page} · {title}", page=heading, title=told.title)
    about = told.about or words.text(
        "A picture of every day, and what each plant covers in square centimetres."
    )
    return head(told, words, page.path, title, about, things=_things(whole, told, page, tables))


def _headings(whole: Whole) -> dict[str, str]:
    text = whole.almanac.words.text
    return {
        "day/index.html": text("All days"),
        "growth/index.html": text("Growth"),
        "about/index.html": text("About"),
        PAGE: text("For your other places"),
    }


def _things(whole: Whole, told: SeasonTold, page: Page, tables: list[str]) -> list[dict[str, Any]]:
    """What the page shows."""
    words, things = whole.almanac.words, []
    if page.path == FRONT and told.latest is not None:
        things.append(image_mark(told, words, told.latest))
        poster = told.latest.picture.largest.path
        things += [film_mark(told, words, film, poster) for film in whole.films.values()]
    if page.path in (FRONT, GROWTH):
        things.append(data_mark(told, words, tables))
    return things

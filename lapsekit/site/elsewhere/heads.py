"""The head of each page of a site, for machines."""

from typing import Any

from lapsekit.site.contents import FRONT, Page, Whole
from lapsekit.site.elsewhere.addresses import PAGE
from lapsekit.site.elsewhere.gathering import day_told
from lapsekit.site.elsewhere.marks import Head, data_mark, film_mark, head, image_mark
from lapsekit.site.elsewhere.saying import title_said

DAY, GROWTH = "day.html", "growth/index.html"


def head_mark(whole: Whole) -> tuple:
    """What the heads of all pages depend on, beside what each page shows."""
    told = whole.told
    tables = tuple(table.name for table in whole.tables)
    constant = (told.own_name, told.address, told.title, told.about, told.language, told.first_day)
    return (*constant, told.latest is None, tuple(whole.films.items()), tables)


def head_of(whole: Whole, page: Page) -> Head | None:
    """Facts for the head of a page; None without a public address.

    Parameters
    ----------
    whole : Whole
    page : Page
        A plant's has its title in ``facts["plant_title"]``.
    """
    words, told = whole.almanac.words, whole.told
    if told.address is None:
        return None
    if page.template == DAY:
        day = day_told(whole.around(page.day), page.day)
        title = words.text("{page} · {title}", page=title_said(day, words), title=told.title)
        return head(told, words, page.path, title, day.picture.alt, day)
    heading = page.facts.get("plant_title") or _headings(whole).get(page.path)
    title = told.title
    if heading and page.path != FRONT:
        title = words.text("{page} · {title}", page=heading, title=told.title)
    about = told.about or words.text(
        "A picture of every day, and what each plant covers in square centimetres."
    )
    return head(told, words, page.path, title, about, things=_things(whole, page))


def _headings(whole: Whole) -> dict[str, str]:
    text = whole.almanac.words.text
    return {
        "day/index.html": text("All days"),
        "growth/index.html": text("Growth"),
        "about/index.html": text("About"),
        "diary/index.html": text("Diary"),
        "film/index.html": text("Film"),
        "two/index.html": text("Two days held together"),
        "yours/index.html": text("Hold yours against ours"),
        "beside/index.html": text("Last season"),
        "followers/index.html": text("Followers’ plants"),
        "followers/send/index.html": text("Show us yours"),
        "followers/privacy/index.html": text("Your data"),
        PAGE: text("For your other places"),
    }


def _things(whole: Whole, page: Page) -> list[dict[str, Any]]:
    """What the page shows."""
    words, told, things = whole.almanac.words, whole.told, []
    if page.path == FRONT and told.latest is not None:
        things.append(image_mark(told, words, told.latest))
        poster = told.latest.picture.largest.path
        things += [film_mark(told, words, film, poster) for film in whole.films.values()]
    if page.path in (FRONT, GROWTH):
        tables = [f"data/{table.name}.csv" for table in whole.tables]
        things.append(data_mark(told, words, tables))
    return things

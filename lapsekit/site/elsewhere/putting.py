"""Puts all for the grower's other places into the site: files first, then what names them."""

from collections.abc import Iterable

from lapsekit.site.contents import Page, Whole
from lapsekit.site.elsewhere.addresses import (
    ATOM,
    CALENDAR,
    EMBED,
    JSON_FEED,
    LATEST,
    PAGE,
    ROBOTS,
    SITEMAP,
    TODAY,
)
from lapsekit.site.elsewhere.atom import atom_feed
from lapsekit.site.elsewhere.calendar_file import calendar
from lapsekit.site.elsewhere.cards import card_told
from lapsekit.site.elsewhere.cards_kept import put_cards
from lapsekit.site.elsewhere.data_files import data_files
from lapsekit.site.elsewhere.entries import week_said
from lapsekit.site.elsewhere.json_feed import json_feed
from lapsekit.site.elsewhere.latest import latest_json
from lapsekit.site.elsewhere.map_of_pages import ROBOTS_MADE_HERE, robots, sitemap
from lapsekit.site.elsewhere.offers import offers, snippet, table_names
from lapsekit.site.writing import SiteFolder


def put_media(whole: Whole, folder: SiteFolder) -> list[str]:
    """Put up what pages show and link to: data, the picture of today, cards.

    Returns
    -------
    list of str
        Names of the cards that were drawn.
    """
    told = whole.told
    for path, content in data_files(told.title, whole.tables).items():
        folder.put(path, content)
    card = card_told(told, whole.almanac.words)
    if card is None:
        return []
    picture = told.latest.picture.largest.path
    folder.put(TODAY, (folder.root / picture).read_bytes())
    return put_cards(folder, whole.season.folder / ".cache" / "cards", card, picture)


def put_tellers(whole: Whole, folder: SiteFolder, pages: Iterable[Page]) -> None:
    """Put up what names the pages: feeds, calendar, the latest day, the map of the site."""
    told = whole.told
    words, days = whole.almanac.words, frozenset(whole.almanac.page_days)
    contents = {
        LATEST: latest_json(told),
        ATOM: atom_feed(told, words),
        JSON_FEED: json_feed(told, words),
        CALENDAR: calendar(told, words, days),
        SITEMAP: sitemap(told.address, [(p.path, p.day) for p in pages if p.path != EMBED]),
        ROBOTS: None if _has_own_robots(folder) else robots(told.address),
    }
    for path, content in contents.items():
        if content is not None:
            folder.put(path, content)
    if contents[ROBOTS] is None and not _has_own_robots(folder):
        folder.remove(ROBOTS)


def _has_own_robots(folder: SiteFolder) -> bool:
    """Whether the grower has put a robots.txt of their own there."""
    file = folder.root / ROBOTS
    return file.is_file() and not file.read_bytes().startswith(ROBOTS_MADE_HERE.encode())


def elsewhere_page(whole: Whole) -> Page:
    """The page that lists what can be taken to other places."""
    words, told = whole.almanac.words, whole.told
    names = table_names(words)
    facts = {
        "offers": offers(told, words),
        "snippet": snippet(told),
        "tables": [(f"data/{t.name}.csv", names.get(t.name, t.title)) for t in whole.tables],
    }
    return Page(PAGE, "elsewhere.html", facts)


def embed_page(whole: Whole) -> Page:
    """The small page for a frame in another one."""
    day, words = whole.told.latest, whole.almanac.words
    facts = {"day": None}
    if day is not None:
        early = day.age_days < 0
        shown = whole.gallery.shown[day.picture.camera][day.day]
        facts = {
            "day": day.day,
            "picture": day.picture,
            "sources": [(shown.modern, shown.srcset("../", shown.modern))],
            "age": abs(day.age_days),
            "age_label": words.text("Days before sowing")
            if early
            else words.text("Plant age in days"),
            "week": week_said(day, words),
        }
    return Page(EMBED, "embed.html", facts, day=facts["day"])

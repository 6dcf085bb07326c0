"""Fixed addresses of a site, absolute where its public address is known. Pure."""

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit

if TYPE_CHECKING:
    from lapsekit.language.words import Words

LATEST, TODAY = "latest.json", "today.jpg"
ATOM, JSON_FEED = "feed.atom", "feed.json"
CALENDAR = "diary.ics"
SITEMAP, ROBOTS = "sitemap.xml", "robots.txt"
EMBED, PAGE = "embed/index.html", "elsewhere/index.html"
CARDS = {"link": "cards/link.jpg", "square": "cards/square.jpg", "upright": "cards/upright.jpg"}
PACKAGE = "data/datapackage.json"


def day_page(day: date) -> str:
    """Path of a day's page."""
    return f"day/{day}/index.html"


def at(address: str | None, path: str) -> str:
    """Where `path` is found: absolute, or relative to the site's root where `address` is None.

    A page is named by its folder where a web server will answer, ``day/2031-05-03/``; by its file
    where nobody may, since a folder opened from a disk shows its files.
    """
    path = quote(path)
    if address is None:
        return path
    folder = path.removesuffix("index.html")
    return address + (folder if folder != path and folder[-1:] in ("", "/") else path)


def is_top_of_host(address: str) -> bool:
    """Whether the site is all of its host: robots.txt counts nowhere else (RFC 9309)."""
    return urlsplit(address).path in ("", "/")


def left_out(address: str | None, words: "Words") -> list[str]:
    """What the site has not, and what to set, in words; nothing where all of it is there."""
    text: Callable[..., str] = words.text
    if address is None:
        return [
            text(
                "Feeds, sitemap, canonical links and link previews are left out, since they have "
                "to name the site’s public address. Set address under [site] in season.toml."
            )
        ]
    if not is_top_of_host(address):
        return [
            text(
                "robots.txt is left out: it counts only at the top of a host, and this site lies "
                "in a folder below it."
            )
        ]
    return []

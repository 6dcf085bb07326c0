"""sitemap.xml and robots.txt. Pure."""

from collections.abc import Iterable
from datetime import date
from xml.sax.saxutils import escape

from lapsekit.site.elsewhere.addresses import SITEMAP, at, is_top_of_host

_MOST = 50_000
_DECLARATION = "<?xml version='1.0' encoding='utf-8'?>"
_SCHEMA = "http://www.sitemaps.org/schemas/sitemap/0.9"
#: A robots.txt that does not begin with this is the grower's own, and stays.
ROBOTS_MADE_HERE = "# lapsekit makes this file; without this line it stays as you write it."


def sitemap(address: str | None, pages: Iterable[tuple[str, date | None]]) -> bytes | None:
    """The pages that a search should know.

    Parameters
    ----------
    address : str or None
        Public address of the site; without it there is no map.
    pages : iterable of (str, date or None)
        Path of each page, and the day of what is new on it. A map tells 50 000 pages at most;
        the last ones are told.
    """
    if address is None:
        return None
    told = (_told(at(address, path), day) for path, day in list(pages)[-_MOST:])
    lines = [_DECLARATION, f'<urlset xmlns="{_SCHEMA}">', *told, "</urlset>"]
    return "\n".join([*lines, ""]).encode()


def _told(address: str, day: date | None) -> str:
    """One page; put together as text, since a season has hundreds."""
    changed = f"\n  <lastmod>{day}</lastmod>" if day is not None else ""
    return f" <url>\n  <loc>{escape(address)}</loc>{changed}\n </url>"


def robots(address: str | None) -> bytes | None:
    """robots.txt, which names the map; None where nobody would read it."""
    if address is None or not is_top_of_host(address):
        return None
    return (
        f"{ROBOTS_MADE_HERE}\nUser-agent: *\nAllow: /\nSitemap: {at(address, SITEMAP)}\n".encode()
    )

"""sitemap.xml and robots.txt. Pure."""

from collections.abc import Iterable
from datetime import date
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lapsekit.site.elsewhere.addresses import SITEMAP, at, is_top_of_host

_MOST = 50_000
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
    urls = Element("urlset", xmlns="http://www.sitemaps.org/schemas/sitemap/0.9")
    for path, day in list(pages)[-_MOST:]:
        url = SubElement(urls, "url")
        SubElement(url, "loc").text = at(address, path)
        if day is not None:
            SubElement(url, "lastmod").text = day.isoformat()
    indent(urls, " ")
    return tostring(urls, encoding="utf-8", xml_declaration=True) + b"\n"


def robots(address: str | None) -> bytes | None:
    """robots.txt, which names the map; None where nobody would read it."""
    if address is None or not is_top_of_host(address):
        return None
    return (
        f"{ROBOTS_MADE_HERE}\nUser-agent: *\nAllow: /\nSitemap: {at(address, SITEMAP)}\n".encode()
    )

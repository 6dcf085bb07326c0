"""The days as an Atom feed (RFC 4287). The only module that makes XML of them. Pure."""

from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lapsekit.plain import one_line, readable
from lapsekit.site.elsewhere.addresses import ATOM, at
from lapsekit.site.elsewhere.entries import Entry, entries, utc_said
from lapsekit.site.elsewhere.identities import urn
from lapsekit.site.elsewhere.told import SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

KIND = "application/atom+xml"


def atom_feed(season: SeasonTold, words: "Words") -> bytes | None:
    """The feed; None without a public address, and until there is a picture to date it by."""
    if season.address is None or season.latest is None:
        return None
    feed = Element("feed", {"xmlns": "http://www.w3.org/2005/Atom", "xml:lang": season.language})
    _tell(feed, "id", urn(season.own_name, "season"))
    _tell(feed, "title", one_line(season.title))
    if season.about:
        _tell(feed, "subtitle", one_line(season.about, 500))
    _tell(feed, "updated", utc_said(season.latest.picture.taken_at))
    _tell(SubElement(feed, "author"), "name", one_line(season.title))
    _link(feed, "self", KIND, at(season.address, ATOM))
    _link(feed, "alternate", "text/html", at(season.address, "index.html"))
    for entry in entries(season, words):
        _add(feed, entry)
    indent(feed, " ")
    return tostring(feed, encoding="utf-8", xml_declaration=True) + b"\n"


def _add(feed: Element, told: Entry) -> None:
    entry = SubElement(feed, "entry")
    _tell(entry, "id", told.id)
    _tell(entry, "title", told.title)
    _tell(entry, "published", told.taken_at)
    _tell(entry, "updated", told.taken_at)
    _link(entry, "alternate", "text/html", told.page)
    _link(entry, "enclosure", "image/jpeg", told.picture_address, length=str(told.picture.length))
    _tell(entry, "content", told.html, type="html")


def _tell(parent: Element, name: str, text: str, **attributes: str) -> None:
    SubElement(parent, name, attributes).text = readable(text)


def _link(parent: Element, rel: str, kind: str, address: str, **attributes: str) -> None:
    SubElement(parent, "link", {"rel": rel, "type": kind, "href": address, **attributes})

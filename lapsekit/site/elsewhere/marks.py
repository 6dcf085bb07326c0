"""What the head of a page tells machines: canonical link, link preview, schema.org. Pure.

Without the site's public address there are no such marks: each of them has to name it.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lapsekit.plain import one_line
from lapsekit.site.elsewhere import atom, calendar_file, json_feed
from lapsekit.site.elsewhere.addresses import (
    ATOM,
    CALENDAR,
    CARDS,
    JSON_FEED,
    PACKAGE,
    at,
    day_page,
)
from lapsekit.site.elsewhere.card_shapes import SHAPES
from lapsekit.site.elsewhere.entries import utc_said
from lapsekit.site.elsewhere.identities import urn
from lapsekit.site.elsewhere.saying import title_said
from lapsekit.site.elsewhere.told import DayTold, SeasonTold

if TYPE_CHECKING:
    from lapsekit.language.words import Words

#: Tables of the download, as schema.org's Dataset names them.
_MEASURED = ("projected canopy area", "canopy cover", "relative growth rate")


@dataclass(frozen=True)
class HeadImage:
    """The picture of a link preview; `address` is absolute, sizes are in px."""

    address: str
    width: int
    height: int
    alt: str


@dataclass(frozen=True)
class Head:
    """Facts for the head of one page.

    Attributes
    ----------
    title, description : str
        One line each.
    canonical : str
        The page's address.
    kind : str
        ``website``, or ``article`` for the page of a day.
    site : str
        The season's title.
    language : str
    image : HeadImage or None
    feeds : tuple of (str, str, str)
        Type, title and address of each feed.
    linked_data : str
        JSON-LD for a ``script`` element; no ``<``, ``>`` or ``&`` is left in it.
    """

    title: str
    description: str
    canonical: str
    kind: str
    site: str
    language: str
    image: HeadImage | None
    feeds: tuple[tuple[str, str, str], ...]
    linked_data: str


def head(
    season: SeasonTold,
    words: "Words",
    path: str,
    title: str,
    description: str,
    day: DayTold | None = None,
    things: Sequence[dict[str, Any]] = (),
) -> Head | None:
    """Facts for the head of the page at `path`; None without a public address.

    Parameters
    ----------
    season : SeasonTold
    words : Words
    path : str
        Of the page, from the site's root.
    title, description : str
        Of the page.
    day : DayTold, optional
        The day that the page is about: its own picture is the link preview's. Any other page has
        the card of the latest day.
    things : sequence of dict
        What the page shows, from `image_mark`, `film_mark` and `data_mark`.
    """
    if season.address is None:
        return None
    page = at(season.address, path)
    graph = [_site_mark(season), *([image_mark(season, words, day)] if day else []), *things]
    return Head(
        title=one_line(title),
        description=one_line(description),
        canonical=page,
        kind="article" if day else "website",
        site=one_line(season.title),
        language=season.language,
        image=_day_image(season, day) if day else _card_image(season, words),
        feeds=_feeds(season, words),
        linked_data=linked_data(graph),
    )


def linked_data(graph: Sequence[dict[str, Any]]) -> str:
    """JSON-LD that ends no ``script`` element whatever stands in it."""
    text = json.dumps({"@context": "https://schema.org", "@graph": list(graph)}, ensure_ascii=False)
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def image_mark(season: SeasonTold, words: "Words", told: DayTold) -> dict[str, Any]:
    """The picture of a day."""
    file = told.picture.largest
    return {
        "@type": "ImageObject",
        "@id": urn(season.own_name, "day", told.day),
        "name": title_said(told, words),
        "description": one_line(told.picture.alt, 1000),
        "contentUrl": at(season.address, file.path),
        "thumbnailUrl": at(season.address, told.picture.files[0].path),
        "url": at(season.address, day_page(told.day)),
        "encodingFormat": "image/jpeg",
        "contentSize": str(file.length),
        "width": file.width,
        "height": file.height,
        "dateCreated": utc_said(told.picture.taken_at),
        "inLanguage": season.language,
    }


def film_mark(season: SeasonTold, words: "Words", path: str, poster: str) -> dict[str, Any]:
    """A film of the season that has a picture, at `path` in the site, with a picture's path.

    Its day is that of the latest picture: a film is made of pictures.
    """
    title = one_line(season.title)
    return {
        "@type": "VideoObject",
        "@id": urn(season.own_name, "film", path),
        "name": words.text("{title}: the season as a film", title=title),
        "description": words.text("Every day’s picture in order, seen from above."),
        "contentUrl": at(season.address, path),
        "thumbnailUrl": at(season.address, poster),
        "encodingFormat": "video/mp4",
        "uploadDate": utc_said(season.latest.picture.taken_at),
        "inLanguage": season.language,
    }


def data_mark(season: SeasonTold, words: "Words", files: Sequence[str]) -> dict[str, Any]:
    """The data of the season; `files` are the paths of its tables."""
    title = one_line(season.title)
    covered = {}
    if season.latest is not None and season.first_day is not None:
        covered = {"temporalCoverage": f"{season.first_day}/{season.latest.day}"}
    downloads = [(PACKAGE, "application/json"), *((file, "text/csv") for file in files)]
    return {
        "@type": "Dataset",
        "@id": urn(season.own_name, "data"),
        "name": words.text("{title}: growth by day", title=title),
        "description": words.text(
            "Canopy of every plant in square centimetres by day, seen from above, with 95 % "
            "intervals, growth rates, pauses, losses and the grower’s diary."
        ),
        "url": at(season.address, "growth/index.html"),
        "inLanguage": season.language,
        "isAccessibleForFree": True,
        "variableMeasured": list(_MEASURED),
        **covered,
        "distribution": [
            {
                "@type": "DataDownload",
                "contentUrl": at(season.address, file),
                "encodingFormat": kind,
            }
            for file, kind in downloads
        ],
    }


def _site_mark(season: SeasonTold) -> dict[str, Any]:
    about = {"description": one_line(season.about, 500)} if season.about else {}
    return {
        "@type": "WebSite",
        "@id": urn(season.own_name, "season"),
        "name": one_line(season.title),
        "url": at(season.address, "index.html"),
        "inLanguage": season.language,
        **about,
    }


def _card_image(season: SeasonTold, words: "Words") -> HeadImage | None:
    if season.latest is None:
        return None
    alt = words.text("The latest picture, with the plant age and the week’s growth.")
    return HeadImage(at(season.address, CARDS["link"]), *SHAPES["link"].size, alt)


def _day_image(season: SeasonTold, told: DayTold) -> HeadImage:
    file, alt = told.picture.largest, one_line(told.picture.alt, 1000)
    return HeadImage(at(season.address, file.path), file.width, file.height, alt)


def _feeds(season: SeasonTold, words: "Words") -> tuple[tuple[str, str, str], ...]:
    calendar = calendar_file.KIND, words.text("The diary as a calendar"), CALENDAR
    feeds = [calendar]
    if season.latest is not None:
        title = words.text("The picture of each day")
        feeds = [(atom.KIND, title, ATOM), (json_feed.KIND, title, JSON_FEED), calendar]
    return tuple((kind, title, at(season.address, path)) for kind, title, path in feeds)

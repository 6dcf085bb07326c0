"""What a site is made of, and which pages it has."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from lapsekit.reporting import GrowthReport
from lapsekit.season import Season
from lapsekit.site.almanac import Almanac
from lapsekit.site.gallery import Gallery

FRONT = "index.html"


@dataclass(frozen=True)
class Page:
    """One page: where it lies, its template, and what that is told.

    `facts` are plain values, whose `repr` says all that they are: a page is rendered again when
    it changes (`lapsekit.site.ledger`).
    """

    path: str
    template: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Whole:
    """Everything that pages are made of.

    Parameters
    ----------
    season, almanac, gallery
        What is told.
    films : dict of str to str
        Path in the site of each camera's film.
    growth : GrowthReport
        The season's growth.
    """

    season: Season
    almanac: Almanac
    gallery: Gallery
    films: dict[str, str]
    growth: GrowthReport


def pages(whole: Whole) -> Iterator[Page]:
    """Every page, in the order in which they are written; the front page is the last."""
    from lapsekit.site import day_pages, season_pages, two_page

    yield from day_pages.day_pages(whole)
    yield day_pages.all_days(whole)
    yield from season_pages.season_pages(whole)
    yield two_page.two_page(whole)
    yield day_pages.front_page(whole)

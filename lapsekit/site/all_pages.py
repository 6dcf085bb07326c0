"""Which pages a site has, in the order in which they are written."""

from collections.abc import Iterator

from lapsekit.site import day_pages, followers_pages, season_pages, two_page, yours_page
from lapsekit.site.contents import Page, Whole
from lapsekit.site.elsewhere import putting


def pages(whole: Whole) -> Iterator[Page]:
    """Every page; the front page is the last."""
    yield from day_pages.day_pages(whole)
    yield day_pages.all_days(whole)
    yield from season_pages.season_pages(whole)
    yield two_page.two_page(whole)
    yield yours_page.yours_page(whole)
    yield from followers_pages.followers_pages(whole)
    yield putting.embed_page(whole)
    yield putting.elsewhere_page(whole)
    yield day_pages.front_page(whole)

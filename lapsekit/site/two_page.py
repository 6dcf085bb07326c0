"""The page on which two days are held together; its scripts do the rest from ``data/``."""

from lapsekit.site.contents import Page, Whole

PATH = "two/index.html"


def two_page(whole: Whole) -> Page:
    """The page; it stays as it is while days are added.

    A camera with two pictures is needed, else the page says that there is nothing to hold yet.
    """
    shown = [len(days) for days in whole.almanac.pictures.values()]
    return Page(PATH, "two.html", {"has_two_days": max(shown, default=0) > 1})

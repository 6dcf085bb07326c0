"""The pages that tell of the season as a whole, and of each plant; which of them there are."""

from collections.abc import Iterator

from lapsekit.site import (
    about_page,
    beside_page,
    diary_page,
    film_page,
    followers_pages,
    plant_pages,
)
from lapsekit.site.contents import Page, Whole
from lapsekit.site.errata import errata
from lapsekit.site.growth_facts import growth_facts


def season_pages(whole: Whole) -> Iterator[Page]:
    """Growth, plants, the diary, the film, the season before, and what this bench is.

    Each only where it has something to tell; growth and about always.
    """
    yield growth_page(whole)
    if whole.overviews:
        yield values_page(whole)
    yield from plant_pages.plant_pages(whole)
    if diary_page.has_diary(whole):
        yield diary_page.diary_page(whole)
    if whole.films:
        yield film_page.film_page(whole)
    if beside_page.has_beside(whole):
        yield beside_page.beside_page(whole)
    yield about_page.about_page(whole)


def kinds(whole: Whole) -> tuple[str, ...]:
    """Which pages the navigation of every page names."""
    there = {
        "diary": diary_page.has_diary(whole),
        "film": bool(whole.films),
        "beside": beside_page.has_beside(whole),
        "followers": followers_pages.has_followers(whole),
    }
    always = ("front", "days", "growth", "two", "yours", "about")
    return (*always, *(name for name, is_there in there.items() if is_there))


def growth_page(whole: Whole) -> Page:
    """Curves and numbers of every plant."""
    almanac = whole.almanac
    facts = growth_facts(almanac, whole.curves, whole.growth.growths, whole.noticed)
    shown = {camera: max(days) for camera, days in almanac.pictures.items() if days}
    facts["errata"] = errata(almanac)
    facts["curves"] = whole.overviews
    facts["ribbon"] = shown and next(iter(shown.items()))
    return Page("growth/index.html", "growth.html", facts)


def values_page(whole: Whole) -> Page:
    """Curves of all plants in doublings, and the table of all values.

    They stand apart so that the growth page is light.
    """
    return Page("growth/values/index.html", "growth_values.html", {"curves": whole.overviews})

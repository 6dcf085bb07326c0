"""What the pages that tell of the season as a whole are told."""

from collections.abc import Iterator
from datetime import date

from lapsekit.noticing import notice
from lapsekit.site import views
from lapsekit.site.contents import Page, Whole
from lapsekit.site.curves import gathered
from lapsekit.site.growth_facts import growth_facts


def season_pages(whole: Whole) -> Iterator[Page]:
    """Growth, and what this bench is."""
    yield growth_page(whole)
    yield about_page(whole)


def growth_page(whole: Whole) -> Page:
    """Curves and numbers of every plant."""
    noticed = notice(whole.season, whole.growth.growths)
    curves = gathered(whole.almanac, whole.growth.growths)
    facts = growth_facts(whole.almanac, curves, whole.growth.growths, noticed)
    return Page("growth/index.html", "growth.html", facts)


def about_page(whole: Whole) -> Page:
    """What stands here, how it is measured, and how sure that is."""
    almanac, settings = whole.almanac, whole.season.settings
    capture = settings.capture
    span: tuple[date, date] | None = (almanac.days[0], almanac.days[-1]) if almanac.days else None
    facts = {
        "about": almanac.about,
        "span": span,
        "counts": views.frame_counts(almanac),
        "regions": [region.title for region in almanac.regions],
        "method": settings.canopy.method,
        "captured": capture.every_minutes and (capture.first, capture.last, capture.daily_at),
        "scaled": [camera.scale.is_known for camera in settings.cameras.values()],
    }
    return Page("about/index.html", "about.html", facts)

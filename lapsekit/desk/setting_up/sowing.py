"""Pictures of days before the sowing day, or before the first outline: said, and put right."""

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from lapsekit.desk.asking import Asked, post
from lapsekit.edits.regions_text import move_outline
from lapsekit.edits.settings_text import with_value
from lapsekit.errors import SettingsError
from lapsekit.season import REGIONS_FILE, SETTINGS_FILE, Season


@dataclass(frozen=True)
class Early:
    """A picture's day that lies before what the season counts from.

    Attributes
    ----------
    day : datetime.date
        Of the earliest picture.
    sown : datetime.date
        The sowing day of the season.
    starts : datetime.date
        From when on the earliest outline holds.
    """

    day: date
    sown: date
    starts: date


def early(asked: Asked, season: Season) -> Early | None:
    """The earliest picture's day where nothing is measured on it yet; None where all is well.

    Pictures are those filed, and one that a camera was just tried with.
    """
    days = [days[0] for days in map(season.catalogue.days_of_camera, _cameras(season)) if days]
    sights = [asked.desk.lookout.sight(name) for name in _cameras(season)]
    days += [season.day_of(sight.look.taken_at) for sight in sights if sight]
    firsts = [region.outline[0].valid_from for region in season.regions.region]
    if not days or not firsts:
        return None
    found = Early(min(days), season.settings.season.sown, min(firsts))
    return found if found.day < max(found.sown, found.starts) else None


def _cameras(season: Season) -> list[str]:
    return list(season.settings.cameras)


def _move(asked: Asked) -> Response:
    """Move the sowing day, and outlines that were founded with it, to the earliest picture."""
    with asked.season() as season:
        found = early(asked, season)
        if found is None:
            raise SettingsError("no picture lies before the sowing day any more")
        founded = {found.sown, found.starts}
        moved = [
            (region.name, region.outline[0].valid_from)
            for region in season.regions.region
            if found.day < region.outline[0].valid_from and region.outline[0].valid_from in founded
        ]

    def sown(text: str) -> str:
        if found.sown <= found.day:
            return text
        return with_value(text, ("season", "sown"), found.day)

    def outlines(text: str) -> str:
        for name, was in moved:
            text = move_outline(text, name, was, found.day)
        return text

    change = asked.desk.book.change(
        f"Sowing day and outlines from {found.day}", {SETTINGS_FILE: sown, REGIONS_FILE: outlines}
    )
    back = asked.text("back")
    return asked.changed(change, back if back.startswith("/setup/") else "/setup/season/")


ROUTES = (post("/setup/season/sown", _move),)

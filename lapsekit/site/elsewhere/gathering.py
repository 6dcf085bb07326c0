"""What the other places are told, out of an almanac and the pictures put up for it."""

from __future__ import annotations

from datetime import date, timedelta
from math import hypot
from typing import TYPE_CHECKING

from lapsekit.catalogue import Daily
from lapsekit.settings import Region
from lapsekit.site import views
from lapsekit.site.almanac import Almanac
from lapsekit.site.alternative import Seen, Value, alike
from lapsekit.site.elsewhere.entries import DAYS_TOLD
from lapsekit.site.elsewhere.told import (
    DayTold,
    EventTold,
    PictureFile,
    PictureTold,
    PlantTold,
    SeasonTold,
)
from lapsekit.site.gallery import Shown
from lapsekit.site.wording import in_unit
from lapsekit.when import plant_age

if TYPE_CHECKING:
    from lapsekit.site.contents import Whole

_WEEK = timedelta(days=7)
#: The part of an interval that is in doubt between two plants that meet.
_BETWEEN = "neighbours"


def season_told(whole: Whole) -> SeasonTold:
    """The season, with the last days on which the main camera has a picture."""
    almanac, season = whole.almanac, whole.season
    days = sorted(almanac.pictures.get(almanac.main_camera, {}))
    return SeasonTold(
        own_name=season.own_name(),
        title=almanac.title,
        about=almanac.about,
        sown=almanac.sown,
        language=almanac.words.language,
        address=season.settings.site.address,
        first_day=days[0] if days else None,
        days=tuple(day_told(whole, day) for day in days[-DAYS_TOLD:]),
        events=_events(almanac, None),
    )


def day_told(whole: Whole, day: date) -> DayTold:
    """A day on which at least one camera has a picture."""
    almanac = whole.almanac
    return DayTold(
        day=day,
        age_days=plant_age(day, almanac.sown),
        pictures=tuple(
            _picture(whole, camera, day)
            for camera in almanac.cameras
            if day in almanac.pictures[camera]
        ),
        rows=tuple(_plants(whole, almanac.rows, day)),
        plants=tuple(_plants(whole, almanac.regions, day)),
        events=_events(almanac, day),
    )


def _picture(whole: Whole, camera: str, day: date) -> PictureTold:
    frame = whole.almanac.pictures[camera][day]
    files = [
        PictureFile(path, width, height, (whole.season.site / path).stat().st_size)
        for path, width, height in _jpegs(whole.gallery.shown[camera][day])
    ]
    alt = views.alt_text(whole.almanac, camera, day)
    return PictureTold(camera, frame.taken_at, tuple(files), alt)


def _jpegs(shown: Shown) -> list[tuple[str, int, int]]:
    """Path, width and height of each JPEG of a picture, small to large."""
    heights = dict(shown.sizes)
    return [(shown.path(width, "jpg"), width, heights[width]) for width in shown.fallback]


def _plants(whole: Whole, regions: list[Region], day: date) -> list[PlantTold]:
    return [_plant(whole, region, day) for region in regions if region.outline_on(day) is not None]


def _plant(whole: Whole, region: Region, day: date) -> PlantTold:
    values = whole.almanac.values.get(region.name, {})
    unit = whole.almanac.unit(region)
    row, row_before = values.get(day), values.get(day - _WEEK)
    both = day, day - _WEEK
    low, value, high = _in_unit(row, unit)
    return PlantTold(
        name=region.name,
        title=region.title,
        group=region.group or "",
        unit=unit,
        age_days=plant_age(day, whole.season.sown(region)),
        value=value,
        low=low,
        high=high,
        before=_in_unit(row_before, unit)[1],
        alike=_alike(region, unit, row, row_before),
        doubt=_doubt(whole.almanac, row, unit, both),
        doubt_before=_doubt(whole.almanac, row_before, unit, both),
        frames_used=row.frames_used if row else 0,
        is_plant=region not in whole.almanac.apart,
    )


def _alike(region: Region, unit: str, row: Daily | None, before: Daily | None) -> bool:
    seen = []
    for each in (row, before):
        low, value, high = _in_unit(each, unit)
        if low is None or value is None or high is None:
            return False
        seen.append(Value(value, low, high))
    return seen[1].value > 0 and alike(Seen(region.title, unit, *seen))


def _doubt(almanac: Almanac, row: Daily | None, unit: str, days: tuple[date, ...]) -> float | None:
    """Half-width of the interval that a value has in a sum of all plants seen on all `days`."""
    low, value, high = _in_unit(row, unit)
    if low is None or high is None:
        return None
    met = all(_has_value(almanac, name, day) for name in row.touches for day in days)
    if not row.parts or not met or unit == "%":
        return max(high - value, value - low)
    return hypot(*(half for name, half in row.parts.items() if name != _BETWEEN))


def _has_value(almanac: Almanac, region: str, day: date) -> bool:
    found = almanac.values.get(region, {}).get(day)
    return found is not None and found.cover is not None


def _in_unit(row: Daily | None, unit: str) -> tuple[float | None, float | None, float | None]:
    return (None,) * 3 if row is None else in_unit(row, unit)


def _events(almanac: Almanac, day: date | None) -> tuple[EventTold, ...]:
    """Lines of the diary, of one day or of all."""
    return tuple(
        EventTold(event.day, event.region, event.what, almanac.event_text(event), event.note)
        for event in almanac.events
        if day is None or event.day == day
    )

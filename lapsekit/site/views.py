"""What the templates are told: an almanac turned into finished words."""

from dataclasses import dataclass
from datetime import date, timedelta

from lapsekit.language.phrases import reasons_text
from lapsekit.settings import Region
from lapsekit.site.almanac import Almanac, DayFrames
from lapsekit.site.alternative import Seen, Value, alternative
from lapsekit.site.wording import change_text, in_unit, range_text, standing_text, value_text
from lapsekit.when import plant_age

_WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Row:
    """One region on one day, in words."""

    day: date
    title: str
    path: str
    value: str
    range: str
    frames_used: int
    left_out: str
    standing: str
    change: str


def day_rows(almanac: Almanac, day: date) -> list[Row]:
    """A row for each region, or group of them, that had an outline on `day`."""
    return [
        _row(almanac, region, day) for region in almanac.rows if region.outline_on(day) is not None
    ]


def _row(almanac: Almanac, region: Region, day: date) -> Row:
    values, words = almanac.values.get(region.name, {}), almanac.words
    row, before, unit = values.get(day), values.get(day - _WEEK), almanac.unit(region)
    return Row(
        day=day,
        title=region.title,
        path=almanac.plant_paths[region.name],
        value=value_text(words, row, unit),
        range=range_text(words, row, unit),
        frames_used=row.frames_used if row else 0,
        left_out=reasons_text(words, row.left_out) if row else "",
        standing=standing_text(words, row, {r.name: r.title for r in almanac.regions}),
        change=change_text(words, row, before, unit),
    )


def alt_text(almanac: Almanac, camera: str, day: date) -> str:
    """What is known of a picture, for whoever cannot see it."""
    plants = [
        Seen(region.title, unit, *(_measured(almanac, region, on) for on in (day, day - _WEEK)))
        for region in almanac.regions
        if region.camera == camera and region.outline_on(day) is not None
        for unit in [almanac.unit(region)]
    ]
    return alternative(almanac.words, plant_age(day, almanac.sown), plants)


def _measured(almanac: Almanac, region: Region, day: date) -> Value | None:
    """A region's canopy on a day, if it was measured."""
    row = almanac.values.get(region.name, {}).get(day)
    low, value, high = (None,) * 3 if row is None else in_unit(row, almanac.unit(region))
    return None if value is None else Value(value, low, high)


def frame_counts(almanac: Almanac) -> list[tuple[str, DayFrames, int]]:
    """Each camera with all its frames together and its number of days with a picture."""
    found = []
    for camera in almanac.cameras:
        whole = DayFrames()
        for of_day in almanac.frames[camera].values():
            whole.total += of_day.total
            whole.usable += of_day.usable
            whole.left_out.update(of_day.left_out)
        found.append((camera, whole, len(almanac.pictures[camera])))
    return found

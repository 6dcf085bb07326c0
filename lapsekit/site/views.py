"""What the templates are told: an almanac turned into finished words and charts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from lapsekit.growing import Growth
from lapsekit.noticing import Noticed
from lapsekit.settings import Region
from lapsekit.site.almanac import Almanac, DayFrames
from lapsekit.site.alternative import Seen, Value, alternative
from lapsekit.site.chart import Chart, Paper, Point, Series, draw, usual_step
from lapsekit.site.wording import (
    change_text,
    doubling_text,
    in_unit,
    loss_text,
    pause_text,
    range_text,
    reasons_text,
    standing_text,
    value_text,
)
from lapsekit.site.words import Words
from lapsekit.when import plant_age

_WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Row:
    """One region on one day, in words."""

    day: date
    title: str
    value: str
    range: str
    frames_used: int
    left_out: str
    standing: str
    change: str


@dataclass(frozen=True)
class Curves:
    """One unit's curves on wide and on narrow paper, and their values as a table."""

    unit: str
    wide: Chart
    narrow: Chart
    longest_step: int
    titles: list[str]
    table: list[tuple[date, list[str]]]


@dataclass(frozen=True)
class Plant:
    """One region's own curve, rate and table."""

    name: str
    title: str
    unit: str
    chart: Chart | None
    rate: str
    changes: list[str]
    rows: list[Row]


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


def curves(almanac: Almanac, doubling: bool = False) -> list[Curves]:
    """Curves of all regions and groups, one chart for each unit there is."""
    found = []
    for unit in ("cm²", "%"):
        regions = [r for r in almanac.rows if almanac.unit(r) == unit]
        series = [_series(almanac, region) for region in regions]
        room = 17 * len(series)
        wide = draw(
            series,
            Paper(960, max(430, room + 80), 52, 190),
            almanac.sown,
            doubling=doubling,
        )
        narrow = draw(
            series,
            Paper(360, max(380, room + 80), 34, 104),
            almanac.sown,
            doubling=doubling,
            label_gap=15,
        )
        if wide and narrow:
            days = [p.day for s in series for p in s.points if p.value is not None]
            found.append(
                Curves(
                    unit,
                    wide,
                    narrow,
                    usual_step(sorted(set(days))),
                    [region.title for region in regions],
                    _table(almanac, regions),
                )
            )
    return found


def _series(almanac: Almanac, region: Region) -> Series:
    unit = almanac.unit(region)
    points = []
    for day, row in sorted(almanac.values.get(region.name, {}).items()):
        low, value, high = in_unit(row, unit)
        points.append(Point(day, value, low, high))
    return Series(region.title, tuple(points))


def _table(almanac: Almanac, regions: Sequence[Region]) -> list[tuple[date, list[str]]]:
    """Values of all regions by day, each with its number of frames in brackets."""
    days = sorted({day for r in regions for day in almanac.values.get(r.name, {})})
    table = []
    for day in days:
        texts = []
        for region in regions:
            row = almanac.values.get(region.name, {}).get(day)
            text = value_text(almanac.words, row, almanac.unit(region)).split("\u00a0")[0]
            texts.append(f"{text} ({row.frames_used})" if row and row.frames_used else text)
        table.append((day, texts))
    return table


def plants(almanac: Almanac, growths: Mapping[str, Growth], noticed: Noticed) -> list[Plant]:
    """Each region by itself."""
    return [_plant(almanac, region, growths, noticed) for region in almanac.regions]


def _plant(
    almanac: Almanac, region: Region, growths: Mapping[str, Growth], noticed: Noticed
) -> Plant:
    series = _series(almanac, region)
    events = [e.day for e in almanac.events if e.region == region.name]
    paper = Paper(370, 230, 40, 14, 30, 44)
    pauses = [pause_text(almanac.words, p) for p in noticed.pauses if p.region == region.name]
    losses = [loss_text(almanac.words, x) for x in noticed.losses if x.region == region.name]
    return Plant(
        region.name,
        region.title,
        almanac.unit(region),
        draw([series], paper, region.sown or almanac.sown, events=events),
        _rate_text(almanac.words, growths[region.name]),
        [_first_letter(text) for text in (*pauses, *losses)],
        [_row(almanac, region, point.day) for point in series.points],
    )


def _first_letter(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def _rate_text(words: Words, growth: Growth) -> str:
    """The latest growth rate in words; empty where none can be stated."""
    days = [] if growth.curve is None else [int(day) for day in growth.curve.days]
    known = [day for day in days if growth.on(day, "rgr_per_day") is not None]
    if not known:
        return "No growth rate yet: too few measured days."
    rate, low, high = (growth.on(known[-1], n) for n in ("rgr_per_day", "rgr_low", "rgr_high"))
    numbers = f"{rate:.3f} per day (95 % interval {low:.3f} to {high:.3f})".replace("-", "−")
    text = f"Relative growth rate {numbers} on {words.short_day(date.fromordinal(known[-1]))}"
    return f"{text}; {doubling_text(words, growth.on(known[-1], 'doubling_days'))}."


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

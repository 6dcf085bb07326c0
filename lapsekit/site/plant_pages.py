"""What each plant's own page is told: its crops through time, curve, rate, diary, neighbours."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from lapsekit.catalogue import reaches_beyond
from lapsekit.language.phrases import age_text, reasons_text
from lapsekit.language.words import Words
from lapsekit.settings import Region
from lapsekit.site.almanac import Almanac
from lapsekit.site.chart import Paper, draw
from lapsekit.site.contents import Page, Whole
from lapsekit.site.cropping import Crop
from lapsekit.site.curve_tables import plant_name
from lapsekit.site.curve_words import doubts
from lapsekit.site.curves import PlantCurve
from lapsekit.site.errata import errata
from lapsekit.site.followers_pages import pairs_of
from lapsekit.site.growth_facts import curve_alt, latest_text, why_open
from lapsekit.site.happenings import Happening
from lapsekit.site.parts import Part, by_month, month_of, part_of
from lapsekit.site.plant_names import page_names, page_path
from lapsekit.site.ranking import rate_of, rate_text
from lapsekit.site.wording import NOTHING, in_unit, range_text, standing_text, value_text

WIDE = Paper(960, 380, 52, 24, letter_px=16)
#: Acts of the whole bench that are none of its plants'.
NOT_THE_PLANTS = {"camera"}
NARROW = Paper(360, 290, 40, 14, 30, 48)


@dataclass(frozen=True)
class CropTold:
    """A crop of a plant on one day, or a gap, with what is known of that day."""

    crop: Crop
    day: date
    has_page: bool
    age: str
    value: str


@dataclass(frozen=True)
class DayTold:
    """One line of a plant's table, in words."""

    day: date
    has_page: bool
    age: int
    value: str
    range: str
    frames: str
    left_out: str
    standing: str


@dataclass(frozen=True)
class Neighbour:
    """A plant that was met: since when, on how many days, and whether it was on the last one."""

    title: str
    path: str
    since: date
    days: int
    now: bool


def plant_pages(whole: Whole) -> Iterator[Page]:
    """A page for each region, and for each group that tables tell in one line."""
    almanac = whole.almanac
    names = page_names(almanac.rows, almanac.regions)
    order = list(ordered(almanac))
    for number, region in enumerate(order):
        facts = _facts(whole, region, names)
        for side, at in (("previous", number - 1), ("next", number + 1)):
            near = order[at] if 0 <= at < len(order) else None
            facts[side] = near and (near.title, page_path(names[near.name]))
        yield Page(page_path(names[region.name]), "plant.html", facts)


def ordered(almanac: Almanac) -> Iterator[Region]:
    """Rows in the order of tables, each group before its plants."""
    single = {region.name for region in almanac.regions}
    for row in almanac.rows:
        yield row
        if row.name not in single:
            yield from members(almanac, row)


def members(almanac: Almanac, row: Region) -> list[Region]:
    """The plants that a row stands for; none of a region by itself."""
    if any(region.name == row.name for region in almanac.regions):
        return []
    return [r for r in almanac.plants if (r.group, r.camera) == (row.group, row.camera)]


def _facts(whole: Whole, region: Region, names: dict[str, str]) -> dict[str, Any]:
    almanac, group = whole.almanac, members(whole.almanac, region)
    own = {each.name for each in group} or {region.name}
    happened = [e for e in whole.happenings if _concerns(e, own)]
    curve = next(each for each in whole.curves if each.name == region.name)
    events = [each.day for each in happened if each.kind == "act"]
    rate = rate_of(curve, whole.curves, whole.growth.growths)
    rate = rate_text(almanac.words, rate, curve.bare_days)
    known = sorted(almanac.values.get(region.name, {}))
    charts = [draw([curve.drawn(0)], p, curve.sown, events=events) for p in (WIDE, NARROW)]
    return {
        "name": names[region.name],
        "plant_title": region.group if group else region.title,
        "group": None if group else _group(almanac, region, names),
        "is_group": bool(group),
        "members": [(each.title, page_path(names[each.name])) for each in group],
        "plant_sown": region.sown or almanac.sown,
        "unit": almanac.unit(region),
        "summary": list(_summary(almanac, region, rate, happened, bool(group))),
        "pairs": pairs_of(whole, group or [region]),
        "crops": _crops(almanac, region, whole.crops.get(region.name, [])),
        "curve_name": curve.name,
        "charts": None if None in charts else charts,
        "alt": curve_alt(almanac.words, curve),
        "latest": latest_text(almanac.words, curve),
        "doubts": _doubts(almanac, curve),
        "happened": happened,
        "days": len(known),
        "months": by_month(almanac, "plant_days.html", known, _rows, region.name),
        "neighbours": _neighbours(almanac, region, names),
        "errata": errata(almanac, own),
        "csv": f"data/{plant_name(curve)}.csv" if curve.is_measured else None,
    }


def _concerns(each: Happening, names: set[str]) -> bool:
    """Whether it belongs on a plant's page: its own, and what the whole bench had that is rare."""
    of_bench = not each.region and each.kind == "act" and each.act not in NOT_THE_PLANTS
    return each.region in names or of_bench


def _group(almanac: Almanac, region: Region, names: dict[str, str]) -> tuple[str, str] | None:
    """The name of a plant's group, and the group's page where it has one."""
    for row in almanac.rows:
        if region.group and any(each.name == region.name for each in members(almanac, row)):
            return region.group, page_path(names[row.name])
    return (region.group, "") if region.group else None


def _summary(
    almanac: Almanac, region: Region, rate: str, happened: Sequence[Happening], is_group: bool
) -> Iterator[str]:
    words, unit = almanac.words, almanac.unit(region)
    days = almanac.values.get(region.name, {})
    known = [day for day, row in sorted(days.items()) if in_unit(row, unit)[1] is not None]
    if not known:
        yield words.text("No day has a value yet.")
        return
    last = known[-1]
    values = {
        "day": words.short_day(last),
        "age": age_text(words, last, region.sown or almanac.sown),
        "value": value_text(words, days[last], unit),
        "range": range_text(words, days[last], unit),
    }
    if is_group:
        yield words.text(
            "On {day}, {age}, a plant of this group covers {value} on average (its smallest to its "
            "largest: {range}).",
            **values,
        )
        return
    yield words.text("On {day}, {age}, it covers {value} ({range}).", **values)
    if region.until is not None and region.until < almanac.days[-1]:
        yield _end(words, region)
    if reaches_beyond(days[last]):
        yield words.text("Its leaves have reached its outline: it may be larger than that.")
    yield rate
    for each in happened:
        if each.kind == "pause":
            day = words.short_day(each.day)
            yield words.text("{what} on {day}. {told}", what=each.what, day=day, told=each.told)


def _end(words: Words, region: Region) -> str:
    day = words.long_day(region.until)
    if region.ended is None:
        return words.text("It was measured until {day}.", day=day)
    return words.text("It was measured until {day}: {how}.", day=day, how=region.ended)


def _crops(almanac: Almanac, region: Region, crops: Sequence[Crop]) -> list[Part]:
    """Crops through time, by month."""
    found = []
    for _, of_month in groupby(crops, key=lambda crop: month_of(crop.day)):
        of_month = tuple(of_month)
        days = [crop.shown or crop.day for crop in of_month]
        found.append(part_of(almanac, "crops.html", days, _crops_told, region.name, of_month))
    return found


def _crops_told(
    almanac: Almanac, days: Sequence[date], name: str, crops: Sequence[Crop]
) -> dict[str, list[CropTold]]:
    """Each crop with plant age and area of the day of its picture."""
    region, values = _named(almanac, name), almanac.values.get(name, {})
    return {
        "crops": [
            CropTold(
                crop,
                day,
                crop.shown is not None and day in almanac.page_days,
                age_text(almanac.words, day, region.sown or almanac.sown),
                value_text(
                    almanac.words, values.get(day) if crop.shown else None, almanac.unit(region)
                ),
            )
            for crop, day in zip(crops, days, strict=True)
        ]
    }


def _named(almanac: Almanac, name: str) -> Region:
    """A row, or a region that is folded into one."""
    return next(each for each in (*almanac.rows, *almanac.regions) if each.name == name)


def _doubts(almanac: Almanac, curve: PlantCurve) -> list[str]:
    rows = almanac.values.get(curve.name, {})
    crowded = [day for day, row in sorted(rows.items()) if row.crowded or row.touches]
    return doubts(almanac.words, curve, lambda day: why_open(almanac, curve, day), crowded)


def _rows(almanac: Almanac, days: Sequence[date], name: str) -> dict[str, list[DayTold]]:
    """Some days of a plant's table."""
    region = _named(almanac, name)
    return {"rows": [_row(almanac, region, day) for day in days]}


def _row(almanac: Almanac, region: Region, day: date) -> DayTold:
    row, words, unit = almanac.values[region.name][day], almanac.words, almanac.unit(region)
    return DayTold(
        day,
        day in almanac.page_days,
        (day - (region.sown or almanac.sown)).days,
        value_text(words, row, unit),
        range_text(words, row, unit),
        words.number(row.frames_used),
        reasons_text(words, row.left_out) or NOTHING,
        standing_text(words, row, {r.name: r.title for r in almanac.regions}) or NOTHING,
    )


def _neighbours(almanac: Almanac, region: Region, names: dict[str, str]) -> list[Neighbour]:
    """Who was met, in order of the first day."""
    titles = {each.name: each.title for each in almanac.regions}
    met: dict[str, list[date]] = {}
    days = sorted(almanac.values.get(region.name, {}).items())
    for day, row in days:
        for name in row.touches:
            met.setdefault(name, []).append(day)
    return [
        Neighbour(
            titles.get(name, name),
            page_path(names[name]) if name in names else "",
            on[0],
            len(on),
            on[-1] == days[-1][0],
        )
        for name, on in met.items()
    ]

"""What the page is told that holds an earlier season beside this one, by plant age."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from lapsekit.besides import line_of
from lapsekit.growth.alignment import Beside, Line, side_by_side
from lapsekit.language.words import Words
from lapsekit.settings import Region
from lapsekit.site.chart import Chart, Paper, Series, draw
from lapsekit.site.contents import Page, Whole
from lapsekit.site.plant_names import page_path
from lapsekit.site.strokes import Point, Strand
from lapsekit.site.wording import amount

PATH = "beside/index.html"
#: So many days of age the earlier curve is drawn beyond this one's.
_BEYOND = 7


@dataclass(frozen=True)
class PlantBeside:
    """One plant: in words, and both curves by plant age."""

    title: str
    path: str
    group: str
    told: str
    ahead: str
    chart: Chart | None


def pairs_of(whole: Whole) -> Iterator[tuple[Region, Line, Line, Beside]]:
    """Plants of both seasons by the same name whose curves share days of age."""
    if whole.held is None:
        return
    for region in whole.almanac.plants:
        then = whole.held.earlier.lines.get(region.name)
        own = line_of(whole.season, whole.growth.growths[region.name])
        if then is None or isinstance(own, str):
            continue
        found = side_by_side(own, then)
        if found.index.size:
            yield region, own, then, found


def has_beside(whole: Whole) -> bool:
    """Whether there is a plant or a picture to hold against another."""
    return whole.held is not None and bool(whole.held.weeks or next(pairs_of(whole), None))


def beside_page(whole: Whole) -> Page:
    """The page; ask `has_beside` first."""
    earlier = whole.held.earlier
    plants = [_plant(whole, *pair) for pair in pairs_of(whole)]
    facts = {
        "earlier_title": earlier.title,
        "earlier_sown": earlier.sown,
        "plants": [plant for plant in plants if not plant.group],
        "groups": _by_group(plants),
        "without": len(whole.almanac.plants) - len(plants),
        "weeks": whole.held.weeks,
    }
    return Page(PATH, "beside.html", facts)


def _by_group(plants: list[PlantBeside]) -> list[tuple[str, list[PlantBeside]]]:
    names = dict.fromkeys(plant.group for plant in plants if plant.group)
    return [(name, [plant for plant in plants if plant.group == name]) for name in names]


def _plant(whole: Whole, region: Region, own: Line, then: Line, found: Beside) -> PlantBeside:
    words, last = whole.almanac.words, int(found.index[-1])
    told = words.text(
        "On day {age}: {times} times ({low} to {high}) last season’s; {own} cm² now, {then} cm² "
        "then.",
        age=round(float(own.at[last])),
        times=words.number(float(found.ratio[-1]), 2),
        low=words.number(float(found.low[-1]), 2),
        high=words.number(float(found.high[-1]), 2),
        own=amount(words, float(own.area_cm2[last])),
        then=amount(words, float(found.earlier_cm2[-1])),
    )
    sown = whole.season.sown(region)
    return PlantBeside(
        region.title,
        page_path(region.name),
        _folded(whole, region),
        told,
        ahead_text(words, found.ahead),
        _chart(words, own, then, sown),
    )


def _folded(whole: Whole, region: Region) -> str:
    """The group that tables fold the plant into; empty where it stands by itself."""
    is_row = any(row.name == region.name for row in whole.almanac.rows)
    return "" if is_row else region.group or ""


def ahead_text(words: Words, days: float | None) -> str:
    """By how many days it is ahead; empty where that is less than a day, or not known."""
    if days is None or abs(days) < 1:
        return ""
    if days > 0:
        return words.counted(
            "It came to this size {n} day earlier in its life.",
            "It came to this size {n} days earlier in its life.",
            round(days),
        )
    return words.counted(
        "It came to this size {n} day later in its life.",
        "It came to this size {n} days later in its life.",
        round(-days),
    )


def _chart(words: Words, own: Line, then: Line, sown: date) -> Chart | None:
    """Both curves, the earlier one laid onto the days on which this season has the same age."""
    series = [
        Series(words.text("now"), _points(own, sown)),
        Series(words.text("then"), _points(then, sown, until=float(own.at[-1]) + _BEYOND)),
    ]
    return draw(series, Paper(370, 230, 40, 14, 30, 44), sown)


def _points(line: Line, sown: date, until: float = np.inf) -> Strand:
    found = []
    for at, *values in zip(line.at, line.area_cm2, line.low_cm2, line.high_cm2, strict=True):
        if at <= until:
            value, low, high = (float(x) if np.isfinite(x) else None for x in values)
            found.append(Point(sown + timedelta(days=round(float(at))), value, low, high))
    return Strand.of(found)

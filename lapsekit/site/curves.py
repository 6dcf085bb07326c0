"""What the curves are made of: every plant's days, smooth curve and gaps; and `data/curves.js`.

The drawn curves, the script's data and the CSV of each chart come from here, so they hold the same
numbers, to no more digits than their intervals bear out.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import chain
from math import floor, isfinite, log10

import numpy as np

from lapsekit.catalogue import Daily
from lapsekit.diary import Event
from lapsekit.growing import Growth, bare_days_of
from lapsekit.language.phrases import act_text
from lapsekit.noticing import UNTOLD
from lapsekit.settings import Region
from lapsekit.site.almanac import Almanac
from lapsekit.site.chart import Series
from lapsekit.site.plant_names import page_of
from lapsekit.site.strokes import Strand, stretches, usual_step
from lapsekit.site.wording import in_unit
from lapsekit.when import days_between

UNITS = ("cm²", "%")

#: Low, value and high.
Three = tuple[float | None, float | None, float | None]
_NONE: Three = (None, None, None)


@dataclass(frozen=True)
class PlantCurve:
    """One plant, or the mean of a group: its days and its smooth curve.

    Attributes
    ----------
    name, title, group, camera
        As in regions.toml.
    page : str
        What its page is called: fit for a file, and no other plant's or group's.
    mean_of : int
        Number of plants that it is the mean of; 0 for a plant by itself. Of a mean, low and high
        are its smallest and its largest plant.
    in_overview : bool
        Whether it is drawn among all plants; members of a group are not, nor is a whole picture
        that holds them.
    unit : str
        ``cm²`` or ``%``.
    sown : datetime.date
        From which its age is counted.
    values, curve : dict
        Low, value and high by day: the day's value with its interval, and the smooth curve with
        its band, which is there only on days with a value.
    breaks : tuple of datetime.date
        Days on which the area had changed at once.
    outlying : tuple of datetime.date
        Days that the curve passes over.
    bare_days : int
        On how many days it was measured without surely showing canopy, ever; 0 where it did. Of a
        mean, where none of its plants did.
    """

    name: str
    page: str
    title: str
    group: str | None
    camera: str | None
    mean_of: int
    in_overview: bool
    unit: str
    sown: date
    values: Mapping[date, Three]
    curve: Mapping[date, Three]
    breaks: tuple[date, ...]
    outlying: tuple[date, ...]
    bare_days: int

    @property
    def is_measured(self) -> bool:
        """Whether any day has a value."""
        return any(three[1] is not None for three in self.values.values())

    @cached_property
    def strands(self) -> tuple[Strand, Strand]:
        """The days' values, and the smooth curve, in columns."""
        return _strand(self.values), _strand(self.curve)

    @cached_property
    def open_days(self) -> list[date]:
        """Days without a value between the first with one and the last of its rows."""
        first = next((day for day, three in self.values.items() if three[1] is not None), None)
        if first is None:
            return []
        span = days_between(first, next(reversed(self.values)))
        return [day for day in span if self.values.get(day, _NONE)[1] is None]

    def drawn(self, look: int) -> Series:
        """The same for `lapsekit.site.chart.draw`."""
        return Series(self.title, *self.strands, self.breaks, look)


def gathered(almanac: Almanac, growths: Mapping[str, Growth]) -> tuple[PlantCurve, ...]:
    """Curves of all rows of the almanac in their order, then those of the members of groups."""
    rows = {region.name for region in almanac.rows}
    members = [region for region in almanac.regions if region.name not in rows]
    apart = {region.name for region in almanac.apart}
    return tuple(
        _curve(almanac, region, growths, region.name in rows - apart)
        for region in (*almanac.rows, *members)
    )


def _curve(
    almanac: Almanac, region: Region, growths: Mapping[str, Growth], in_overview: bool
) -> PlantCurve:
    unit, growth = almanac.unit(region), growths.get(region.name)
    rows = sorted(almanac.values.get(region.name, {}).items())
    alike = [r for r in almanac.plants if (r.group, r.camera) == (region.group, region.camera)]
    is_mean = region.name not in {r.name for r in almanac.regions}
    own = [r.name for r in alike] if is_mean else [region.name]
    values = {day: value_of(row, unit) for day, row in rows}
    curve, outlying = _smooth(growth, values) if growth else ({}, ())
    breaks = [] if growth is None or growth.curve is None else growth.curve.breaks
    return PlantCurve(
        *(region.name, page_of(almanac.plant_paths[region.name])),
        *(region.title, region.group, region.camera),
        *(len(alike) if is_mean else 0, in_overview, unit, region.sown or almanac.sown),
        *(values, curve, tuple(date.fromordinal(int(day)) for day in breaks), outlying),
        bare_days_of(growths[each] for each in own if each in growths),
    )


def value_of(row: Daily, unit: str) -> Three:
    """A day's value with its interval, as curves and tables tell it."""
    return rounded(in_unit(row, unit))


def _smooth(growth: Growth, days: Iterable[date]) -> tuple[dict[date, Three], tuple[date, ...]]:
    found, outlying = {}, []
    told = growth.told("low_cm2", "area_cm2", "high_cm2")
    for day in days:
        ordinal = day.toordinal()
        three = told.get(ordinal, _NONE)
        if None not in three:
            found[day] = rounded(three if growth.has_area else _percent(three))
        if growth.is_outlying(ordinal):
            outlying.append(day)
    return found, tuple(outlying)


def _percent(shares: Three) -> Three:
    return tuple(None if share is None else 100 * share for share in shares)


def rounded(three: Three) -> Three:
    """Low, value and high to a tenth of their interval's width or finer.

    Never coarser than pages say them; without an interval, to four digits.
    """
    low, value, high = three
    if value is None or not isfinite(value):
        return _NONE
    with_interval = low is not None and high is not None
    width = high - low if with_interval else 0.0
    step = width if width > 0 else abs(value) / 100 or 1.0
    digits = max(1 - floor(log10(step)), 0 if abs(value) >= 9.95 else 1)
    if with_interval:
        return round(low, digits), round(value, digits), round(high, digits)
    return tuple(None if number is None else round(number, digits) for number in three)


def _strand(values: Mapping[date, Three]) -> Strand:
    days = np.array([day.toordinal() for day in values], int)
    lows, middles, highs = np.array(list(values.values()), float).reshape(-1, 3).T
    return Strand(days, middles, lows, highs)


def told_events(almanac: Almanac) -> list[Event]:
    """Lines of the diary that are marked on curves: all of a plant, of the bench what is rare."""
    return [e for e in almanac.events if e.region or e.what.lower() not in UNTOLD]


def step_of(curves: Iterable[PlantCurve]) -> int:
    """Longest step in days across which curves of one chart are joined."""
    days = [curve.strands[0] for curve in curves]
    return usual_step(chain.from_iterable(each.days[each.known].tolist() for each in days))


def every_day(curves: Iterable[PlantCurve]) -> list[date]:
    """Every calendar day from the first with a daily row to the last."""
    spans = [(next(iter(c.values)), next(reversed(c.values))) for c in curves if c.values]
    if not spans:
        return []
    return list(days_between(min(first for first, _ in spans), max(last for _, last in spans)))


def curves_js(
    almanac: Almanac, curves: Sequence[PlantCurve], why: Callable[[PlantCurve, date], str]
) -> bytes:
    """The text of ``data/curves.js``: a classic script, so that it is read from a folder too.

    Parameters
    ----------
    almanac : Almanac
    curves : sequence of PlantCurve
        As `gathered` gives them.
    why : callable
        Why a plant has no value on a day, in words.

    Notes
    -----
    A list within a series has an entry for each of `days`, null where there is no value.
    `stretches` and `curve_stretches` are the first days (as places in `days`) of what may be
    joined by a line, `pages` is 1 for each day that has a page, and a series' `why` tells by place
    why a day has no value.
    """
    days, shown = every_day(curves), almanac.page_days
    step = {unit: step_of(c for c in curves if c.unit == unit) for unit in UNITS}
    events = [
        {"day": f"{e.day}", "text": event_text(almanac, e), "region": e.region or None}
        for e in told_events(almanac)
    ]
    parts = [
        f'"sown": "{almanac.sown}"',
        f'"days": {_compact([f"{day}" for day in days])}',
        f'"pages": {_compact([int(day in shown) for day in days])}',
        f'"events": {_compact(events)}',
        '"series": [\n' + ",\n".join(_series(c, days, step[c.unit], why) for c in curves) + "\n]",
    ]
    return ("lapsekit.curves = {\n" + ",\n".join(parts) + "\n};\n").encode()


def event_text(almanac: Almanac, event: Event) -> str:
    """``potted on: into the 16 cm pot``; whose event it is stands beside it."""
    what = act_text(almanac.words, event.what)
    return f"{what}: {event.note}" if event.note else what


def _series(
    curve: PlantCurve,
    days: Sequence[date],
    step: int,
    why: Callable[[PlantCurve, date], str],
) -> str:
    place = {day: number for number, day in enumerate(days)}
    content = {
        "name": curve.name,
        "title": curve.title,
        "group": curve.group,
        "camera": curve.camera,
        "unit": curve.unit,
        "sown": f"{curve.sown}",
        "mean_of": curve.mean_of,
        "in_overview": curve.in_overview,
        "outlying": [place[day] for day in curve.outlying],
        "why": {place[day]: why(curve, day) for day in curve.open_days},
    }
    for prefix, values, strand, breaks in (
        ("", curve.values, curve.strands[0], ()),
        ("curve", curve.curve, curve.strands[1], curve.breaks),
    ):
        at = [place[day] for day in values]
        starts = [at[each.start] for each in stretches(strand, step, breaks)]
        content[f"{prefix}_stretches".lstrip("_")] = starts
        for name, k in (("low", 0), ("value", 1), ("high", 2)):
            key = f"{prefix}_{name}" if prefix and k != 1 else prefix or name
            column = [None] * len(days)
            for number, three in zip(at, values.values(), strict=True):
                column[number] = _plain(three[k])
            content[key] = column
    return _compact(content)


def _plain(number: float | None) -> float | int | None:
    return int(number) if number is not None and number == int(number) else number


def _compact(content: object) -> str:
    text = json.dumps(content, separators=(",", ":"), ensure_ascii=False)
    return text.replace("<", "\\u003c")

"""What the growth page and every page with a curve are told: charts, words, tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from lapsekit.growing import Growth
from lapsekit.language.phrases import reasons_text
from lapsekit.noticing import Noticed
from lapsekit.site.almanac import Almanac
from lapsekit.site.chart import Chart, Paper, draw, look_of
from lapsekit.site.curve_tables import curve_tables, overview_name, plant_name
from lapsekit.site.curve_words import doubts, in_words
from lapsekit.site.curves import (
    UNITS,
    PlantCurve,
    curves_js,
    every_day,
    step_of,
    told_events,
    value_of,
)
from lapsekit.site.parts import Part, by_month
from lapsekit.site.ranking import Rate, ranking, rate_of, rate_text
from lapsekit.site.wording import NOTHING, amount, loss_text, pause_text

if TYPE_CHECKING:
    from lapsekit.language.words import Words


@dataclass(frozen=True)
class Key:
    """One plant of a chart's key."""

    name: str
    title: str
    ink: int
    dash: str


@dataclass(frozen=True)
class Overview:
    """All plants of one unit: on wide and narrow paper, linear and in doublings, in words."""

    unit: str
    wide: Chart
    narrow: Chart
    wide_doubling: Chart | None
    narrow_doubling: Chart | None
    longest_step: int
    keys: tuple[Key, ...]
    alt: str
    csv: str
    table: tuple[Part, ...]


@dataclass(frozen=True)
class Plant:
    """One plant by itself."""

    name: str
    title: str
    unit: str
    chart: Chart | None
    alt: str
    latest: str
    rate: str
    changes: tuple[str, ...]
    doubts: tuple[str, ...]
    path: str
    csv: str


def growth_facts(
    almanac: Almanac,
    curves: Sequence[PlantCurve],
    growths: Mapping[str, Growth],
    noticed: Noticed,
) -> dict[str, Any]:
    """What ``growth.html`` shows beside `overviews`.

    Parameters
    ----------
    almanac : Almanac
        With its `words`.
    curves : sequence of PlantCurve
        As `lapsekit.site.curves.gathered` gives them.
    growths : mapping of str to Growth
    noticed : Noticed
        Pauses and losses.

    Returns
    -------
    dict
        ``fastest`` (Ranking or None), ``plants`` (list of Plant), ``apart`` (list of PlantCurve):
        what `overviews` leaves out.
    """
    rows = {region.name for region in almanac.rows}
    apart = {region.name for region in almanac.apart}
    return {
        "fastest": ranking(almanac.words, curves, growths),
        "plants": [
            plant(almanac, curve, rate_of(curve, curves, growths), noticed)
            for curve in curves
            if curve.name in rows
        ],
        "apart": [curve for curve in curves if curve.name in apart],
    }


def curve_files(almanac: Almanac, curves: Sequence[PlantCurve]) -> Iterator[tuple[str, bytes]]:
    """Path in the site and content of what stands behind the curves: the scripts' data, CSVs."""
    yield "data/curves.js", curves_js(almanac, curves, partial(why_open, almanac))
    for table in curve_tables(curves):
        yield f"data/{table.name}.csv", table.csv


def overviews(almanac: Almanac, curves: Sequence[PlantCurve]) -> list[Overview]:
    """A chart of all plants and groups for each unit there is."""
    found = []
    for unit in UNITS:
        rows = [c for c in curves if c.in_overview and c.unit == unit]
        if any(c.is_measured for c in rows):
            found.append(_overview(almanac, rows, unit))
    return found


def _overview(almanac: Almanac, rows: Sequence[PlantCurve], unit: str) -> Overview:
    words = almanac.words
    series = [curve.drawn(number) for number, curve in enumerate(rows)]
    room = 17 * len(series)
    wide = Paper(960, max(430, room + 80), 52, 190, letter_px=16)
    narrow = Paper(360, max(380, room + 80), 34, 104)
    events = {e.day for e in told_events(almanac) if not e.region}
    charts = [
        draw(
            *(series, paper, almanac.sown),
            doubling=doubling,
            lines_alone=True,
            events=events,
            label_gap=gap,
        )
        for doubling in (False, True)
        for paper, gap in ((wide, 17), (narrow, 15))
    ]
    keys = tuple(Key(c.name, c.title, *look_of(number)) for number, c in enumerate(rows))
    table = ("growth_days.html", every_day(rows), _cells, unit, [c.name for c in rows])
    return Overview(
        *(unit, *charts, step_of(rows), keys, _overview_alt(words, rows, unit)),
        f"data/{overview_name(unit)}.csv",
        tuple(part for _, part in by_month(almanac, *table)),
    )


def _cells(
    almanac: Almanac, days: Sequence[date], unit: str, names: Sequence[str]
) -> dict[str, list[tuple[date, list[str]]]]:
    """Some days of the table of all plants."""
    return {"rows": [(day, [_cell(almanac, name, day, unit) for name in names]) for day in days]}


def _cell(almanac: Almanac, name: str, day: date, unit: str) -> str:
    row = almanac.values.get(name, {}).get(day)
    value = None if row is None else value_of(row, unit)[1]
    return NOTHING if value is None else amount(almanac.words, value)


def _overview_alt(words: Words, rows: Sequence[PlantCurve], unit: str) -> str:
    """The chart for whoever cannot see it: span of days, and where its largest plants end."""
    days = every_day(rows)
    last = [(_last(curve), curve.title) for curve in rows if curve.is_measured]
    largest = sorted(last, key=lambda item: -item[0][1][1])[:3]
    return words.text(
        "Curves of {plants} from {first} to {last}. Largest at their last value: {largest}.",
        plants=words.counted("{n} plant or group", "{n} plants or groups", len(rows)),
        first=words.short_day(days[0]),
        last=words.short_day(days[-1]),
        largest=words.listed([f"{title} {in_words(words, x[1], unit)}" for x, title in largest]),
    )


def _last(curve: PlantCurve) -> tuple[date, tuple]:
    return max((day, three) for day, three in curve.values.items() if three[1] is not None)


def plant(almanac: Almanac, curve: PlantCurve, rate: Rate | None, noticed: Noticed) -> Plant:
    """One plant, or the mean of a group, by itself."""
    words = almanac.words
    events = [e for e in told_events(almanac) if e.region in ("", curve.name)]
    paper = Paper(370, 250, 40, 14, 30, 44)
    rows = almanac.values.get(curve.name, {})
    crowded = [day for day, row in sorted(rows.items()) if row.crowded or row.touches]
    texts = [pause_text(words, p) for p in noticed.pauses if p.region == curve.name]
    texts += [loss_text(words, x) for x in noticed.losses if x.region == curve.name]
    return Plant(
        *(curve.name, curve.title, curve.unit),
        draw([curve.drawn(0)], paper, curve.sown, events=[e.day for e in events]),
        curve_alt(words, curve),
        latest_text(words, curve),
        rate_text(words, rate, curve.bare_days),
        tuple(f"{text[0].upper()}{text[1:]}." for text in texts),
        tuple(doubts(words, curve, lambda day: why_open(almanac, curve, day), crowded)),
        almanac.plant_paths[curve.name],
        f"data/{plant_name(curve)}.csv",
    )


def curve_alt(words: Words, curve: PlantCurve) -> str:
    """A plant's chart for whoever cannot see it; empty where it has no value."""
    if not curve.is_measured:
        return ""
    first = min((day, t) for day, t in curve.values.items() if t[1] is not None)
    last = _last(curve)
    return words.text(
        "Curve of {plant}: from {old} on {first} to {new} on {last}.",
        plant=curve.title,
        old=in_words(words, first[1], curve.unit),
        first=words.short_day(first[0]),
        new=in_words(words, last[1], curve.unit),
        last=words.short_day(last[0]),
    )


def latest_text(words: Words, curve: PlantCurve) -> str:
    """The last value, as curves.js says it of any other day."""
    if not curve.is_measured:
        return ""
    day, three = _last(curve)
    value = in_words(words, three, curve.unit)
    said = {"plant": curve.title, "day": words.short_day(day), "value": value}
    return words.text("{plant} on {day}: {value}", **said)


def why_open(almanac: Almanac, curve: PlantCurve, day: date) -> str:
    """Why a plant has no value on a day, in words."""
    row = almanac.values.get(curve.name, {}).get(day)
    left_out = reasons_text(almanac.words, row.left_out) if row else ""
    return left_out or almanac.gap_reason(curve.camera or almanac.main_camera, day)

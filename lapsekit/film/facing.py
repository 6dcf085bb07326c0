"""What a film's face is told of a season: dates, acts, curves, names, the thread."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from statistics import median

import numpy as np

from lapsekit.catalogue import Daily
from lapsekit.film.acts import Act, acts
from lapsekit.film.face import told
from lapsekit.film.face.thread_slip import age_ticks, month_ticks
from lapsekit.film.pacing import Beat
from lapsekit.film.scenes import Scene, outlines_on
from lapsekit.film.sources import Panel
from lapsekit.film.windows import Window
from lapsekit.happened import happened
from lapsekit.language.words import Words
from lapsekit.settings import Cut, Region
from lapsekit.vision.homographies import project
from lapsekit.when import plant_age

_NOON = 0.5
_LOOKED_AT = 9
_STEADYING_DAYS = 2
"""Canopy by day is read as the median of so many days before and after it, for the film's pace."""


def told_of(
    cut: Cut,
    scenes: Sequence[Scene],
    pictures: Sequence[Sequence[Beat]],
    windows: Sequence[Window | None],
    boxes: Sequence[tuple[int, int, int, int]],
    words: Words,
) -> told.Told:
    """All that stands on a film's pictures.

    Parameters
    ----------
    cut : Cut
    scenes : sequence of Scene
        One a panel.
    pictures : sequence of sequence of Beat
        For each picture of the film that is no card, what each panel shows.
    windows : sequence of Window or None
        The first panel's window in each of them.
    boxes : sequence of (left, top, right, bottom)
        Of the panels.
    words : Words
    """
    panels = [scene.panel for scene in scenes]
    several = len(panels) > 1
    naming = None if several else _Names(panels[0])
    named = naming if "names" in cut.shows else None
    beats = tuple(
        _beat(cut, scenes, each, words, named and named.on(each[0], window))
        for each, window in zip(pictures, windows, strict=True)
    )
    curves, unit = _curves(panels) if "curve" in cut.shows else ((), "cm²")
    return told.Told(
        words=words,
        frames_per_second=cut.frames_per_second,
        beats=beats,
        events=tuple(_events(panels, words)) if "diary" in cut.shows else (),
        curves=curves,
        unit=unit,
        curve_from_days=float(min(min(panel.sources) for panel in panels)),
        thread=_thread(cut, panels, words) if "thread" in cut.shows else None,
        panels=tuple(map(told.Panel, (panel.title for panel in panels), boxes)) if several else (),
        date_at=cut.date_at or ("lower-left" if several else ""),
        plants=_plants(naming, pictures, windows) if naming and "date" in cut.shows else (),
    )


def _plants(naming, pictures, windows) -> tuple[tuple[told.Outline, ...], ...]:
    """Where plants are on a few pictures, from the first to the last."""
    last = max(0, len(pictures) - 1)
    few = np.unique(np.linspace(0, last, _LOOKED_AT).round().astype(int))[: len(pictures)]
    return tuple(tuple(each.outline for each in naming.on(pictures[k][0], windows[k])) for k in few)


def _beat(cut, scenes, beats, words, names) -> told.Beat:
    panels = [scene.panel for scene in scenes]
    leading = beats[0]
    if len(panels) > 1:
        days = tuple(words.short_day(panel.day_of(leading.day)) for panel in panels)
        return told.Beat(leading.at_day, age_days=leading.day, panel_ages=days)
    day = panels[0].day_of(leading.day)
    clock = ""
    if cut.frames == "all" and leading.first is not None:
        clock = scenes[0].source(leading.first).clock
    age = plant_age(day, sown_of(panels[0]))
    return told.Beat(leading.at_day, day, age, clock, names or ())


def sown_of(panel: Panel) -> date:
    """When what a panel shows was sown: its region, or the season."""
    if panel.region is not None:
        return panel.season.sown(panel.region)
    return panel.season.settings.season.sown


@dataclass
class _Names:
    """Regions' outlines on the picture; the same tuple while neither they nor the window move."""

    panel: Panel
    _kept: dict = field(default_factory=dict)

    def on(self, beat: Beat, window: Window | None) -> tuple[told.Named, ...]:
        """What is named in a picture."""
        if window is None:
            return ()
        day = self.panel.day_of(beat.day)
        found = outlines_on(self.panel.season, self.panel.camera, day)
        key = (window, tuple(found.values()))
        if key not in self._kept:
            back = np.linalg.inv(window.matrix)
            self._kept = {
                key: tuple(
                    told.Named(title, tuple(map(tuple, project(back, np.array(points, float)))))
                    for title, points in found.values()
                )
            }
        return self._kept[key]


def acts_of(panel: Panel, words: Words) -> list[Act]:
    """What the diary tells of a panel: of its region and the whole bench, or of all."""
    season = panel.season
    events, _ = happened(season)
    if panel.region is not None:
        events = [event for event in events if event.region in ("", panel.region.name)]
    titles = {region.name: region.title for region in season.regions.region}
    return acts(words, events, titles)


def _events(panels: Sequence[Panel], words: Words) -> Iterator[told.Event]:
    found = []
    for panel in panels:
        for act in acts_of(panel, words):
            at = (act.day - panel.origin).days
            whom = act.whom or (panel.title if len(panels) > 1 else "")
            found.append(told.Event(float(at), act.what, whom, act.day))
    yield from sorted(found, key=lambda each: each.at_days)


def _curves(panels: Sequence[Panel]) -> tuple[tuple[told.Curve, ...], str]:
    """Canopy by day: of each panel's region, or of all plants of its camera together."""
    kinds = [canopy_of(panel) for panel in panels]
    unit = "cm²" if all(kind[1] == "cm²" for kind in kinds) else "%"
    curves = [
        told.Curve(panel.title, tuple((day + _NOON, value) for day, value in sorted(days.items())))
        for panel, (days, own) in zip(panels, kinds, strict=True)
        if days and own == unit
    ]
    return tuple(curves), unit


def canopy_of(panel: Panel) -> tuple[dict[int, float], str]:
    """Canopy by the film's days, and its unit.

    Of the panel's region; else of all regions of its camera together, on days on which each that
    is outlined has a value: cm², or the mean cover in %, where there is no scale.
    """
    season = panel.season
    regions = [panel.region] if panel.region else _of_camera(panel)
    rows = {region.name: season.catalogue.daily(region.name) for region in regions}
    has_area = any(row.area_cm2 is not None for each in rows.values() for row in each)
    values: dict[date, list[float]] = {}
    for each in rows.values():
        for row in each:
            value = _value(row, has_area)
            if value is not None:
                values.setdefault(row.day, []).append(value)
    whole = {
        (day - panel.origin).days: sum(found) if has_area else sum(found) / len(found)
        for day, found in values.items()
        if len(found) == sum(region.outline_on(day) is not None for region in regions)
    }
    return whole, "cm²" if has_area else "%"


def _of_camera(panel: Panel) -> list[Region]:
    return [region for region in panel.season.regions.plants if region.camera == panel.camera]


def _value(row: Daily, has_area: bool) -> float | None:
    if has_area:
        return row.area_cm2
    return None if row.cover is None else 100 * row.cover


def gains_of(panel: Panel) -> dict[int, float]:
    """What canopy gained since the day before, by the film's days, for its pace.

    Of its running median, between whose days a gap is crossed by a straight line; what is lost
    counts as nothing, and so does growing back to what was there before.
    """
    known, _ = canopy_of(panel)
    if not known:
        return {}
    days = sorted(known)
    calm = [median(known[d] for d in days if abs(d - day) <= _STEADYING_DAYS) for day in days]
    every = range(min(days[0], min(panel.sources)), max(days[-1], max(panel.sources)) + 1)
    most = np.maximum.accumulate(np.interp(every, days, calm))
    return dict(zip(every, np.diff(most, prepend=most[0]).tolist(), strict=True))


def _thread(cut: Cut, panels: Sequence[Panel], words: Words) -> told.Thread:
    start = float(min(min(panel.sources) for panel in panels))
    end = float(max(max(panel.sources) for panel in panels) + 1)
    if len(panels) > 1:
        return told.Thread(start, end, age_ticks(words, start, end))
    if cut.until is not None:
        end = max(end, float((cut.until - panels[0].origin).days + 1))
    return told.Thread(start, end, month_ticks(words, panels[0].origin, start, end))

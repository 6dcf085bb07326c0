"""Geometry of the growth curves: values in, places on the paper out. Pure.

Lines are joined only where the days were measured about as densely as the season usually is;
a day without a value, a long pause, and a sudden loss leave the line open.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from itertools import compress

import numpy as np

from lapsekit.site.scales import date_ticks, decimals, doubling_levels, linear_levels, spread
from lapsekit.site.strokes import Place, Point, band, path, specks, stretches, usual_step
from lapsekit.when import plant_age

#: Dash patterns, told apart without colour.
DASHES = ("", "9 4", "2 4", "12 4 2 4", "5 3", "14 4 2 4 2 4", "1 3", "16 6")

#: Number of inks; `--ink-1` and so on in style.css. No divisor of the number of dashes, so that
#: ink and dash together tell 40 plants apart.
INKS = 5


@dataclass(frozen=True)
class Series:
    """A named curve; daily values and, where there is one, the smooth curve, in order of day.

    `breaks` are days on which the area had changed at once since the day before. `look` is the
    number that ink and dash go by.
    """

    label: str
    points: tuple[Point, ...]
    curve: tuple[Point, ...] = ()
    breaks: tuple[date, ...] = ()
    look: int = 0


@dataclass(frozen=True)
class Paper:
    """Size and margins of a chart, in px."""

    width: int
    height: int
    left: int
    right: int
    top: int = 30
    bottom: int = 48

    @property
    def end(self) -> int:
        """Right edge of the plot."""
        return self.width - self.right

    @property
    def base(self) -> int:
        """Lower edge of the plot."""
        return self.height - self.bottom


@dataclass(frozen=True)
class Line:
    """One curve on paper: paths for an SVG, and where its label stands.

    `dots` are daily values that lie beside the path or have none, `lone` its days that are joined
    to no other. Among other plants a curve is drawn without `band` and `dots`.
    """

    label: str
    ink: int
    dash: str
    path: str
    band: str
    dots: str
    lone: str
    end: Place | None
    label_y: float


@dataclass(frozen=True)
class Chart:
    """Everything a template needs to draw; a level is its place, its value and its decimals."""

    paper: Paper
    lines: tuple[Line, ...]
    levels: tuple[tuple[float, float, int], ...]
    dates: tuple[tuple[float, date, int], ...]
    events: tuple[float, ...]


def look_of(number: int) -> tuple[int, str]:
    """Ink (from 1) and dash of the series with this number."""
    return number % INKS + 1, DASHES[number % len(DASHES)]


def draw(
    series: Sequence[Series],
    paper: Paper,
    sown: date,
    *,
    doubling: bool = False,
    lines_alone: bool = False,
    events: Iterable[date] = (),
    label_gap: float = 17,
) -> Chart | None:
    """Lay out curves on paper.

    Parameters
    ----------
    series : sequence of Series
        Curves of one unit.
    paper : Paper
        Size and margins.
    sown : date
        Day from which the age axis counts.
    doubling : bool
        Draw on a scale on which each doubling is equally high; zeros cannot be shown on it.
    lines_alone : bool
        Leave out bands and dots of the days, which nobody could tell apart among many plants.
    events : iterable of date
        Days to tick at the top.

    Returns
    -------
    Chart or None
        None where no curve has a value.
    """
    known = [p for s in series for p in s.points if _shown(p, doubling)]
    if not known:
        return None
    tops = [p.high if p.high is not None else p.value for p in known]
    highest = max(tops)
    levels = (
        doubling_levels(min(p.value for p in known), highest)
        if doubling
        else linear_levels(highest)
    )
    first, last = min(p.day for p in known), max(p.day for p in known)
    sheet = _Sheet(
        usual_step(sorted({p.day for p in known})),
        doubling,
        lines_alone,
        _days(first, last, paper),
        _scale(np.log2 if doubling else np.asarray, levels, paper),
    )
    lines = [sheet.line(s) for s in series]
    return Chart(
        paper,
        tuple(_labelled(lines, paper, label_gap)),
        tuple(
            (y, level, decimals(level))
            for y, level in zip(sheet.ys_of(levels), levels, strict=True)
        ),
        tuple(
            (sheet.x_of(day), day, plant_age(day, sown))
            for day in date_ticks(first, last, sown, max(2, (paper.end - paper.left) // 55))
        ),
        tuple(sheet.x_of(day) for day in sorted(set(events)) if first <= day <= last),
    )


def _shown(point: Point, doubling: bool) -> bool:
    return point.value is not None and (point.value > 0 or not doubling)


def _scale(
    measure: Callable[[np.ndarray], np.ndarray], levels: Sequence[float], paper: Paper
) -> Callable[[Sequence[float | None]], list[float]]:
    """What gives the heights of values; NaN of none.

    On a scale of doublings the lower end of an interval may reach down to nothing.
    """
    low, high = (float(measure(level)) for level in (levels[0], levels[-1]))
    height = paper.base - paper.top

    def ys_of(values: Sequence[float | None]) -> list[float]:
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = (measure(np.array(values, float)) - low) / (high - low)
        places = paper.base - height * np.clip(shares, 0.0, 1.0)
        return [round(y, 1) for y in places.tolist()]

    return ys_of


def _days(first: date, last: date, paper: Paper) -> Callable[[date], float]:
    span = max(1, (last - first).days)
    width = paper.end - paper.left
    return cache(lambda day: round(paper.left + width * (day - first).days / span, 1))


@dataclass(frozen=True)
class _Sheet:
    """What all curves of a chart share."""

    longest: int
    doubling: bool
    lines_alone: bool
    x_of: Callable[[date], float]
    ys_of: Callable[[Sequence[float | None]], list[float]]

    def line(self, series: Series) -> Line:
        """The smooth curve, or the daily values joined where there is none."""
        curve = self._open(series.curve)
        smooth = any(p.value is not None for p in curve)
        points = curve if smooth else self._open(series.points)
        joined = stretches(points, self.longest, series.breaks if smooth else ())
        xs = [self.x_of(p.day) for p in points]
        places = list(zip(xs, self.ys_of([p.value for p in points]), strict=True))
        found = [places[each] for each in joined]
        lone = [run[0] for run in found if len(run) == 1]
        end = found[-1][-1] if found else None
        return Line(
            series.label,
            *look_of(series.look),
            "".join(path(run) for run in found if len(run) > 1),
            "" if self.lines_alone else self._band(points, xs, joined),
            ""
            if self.lines_alone
            else specks(self._dots(series) if smooth or self.longest > 2 else lone),
            specks(lone),
            end,
            end[1] if end else 0.0,
        )

    def _band(self, points: Sequence[Point], xs: Sequence[float], joined: Sequence[slice]) -> str:
        upper, lower = (
            list(zip(xs, self.ys_of(ends), strict=True))
            for ends in ([p.high for p in points], [p.low for p in points])
        )
        whole = [p.low is not None and p.high is not None for p in points]
        return "".join(
            band(*(list(compress(side[each], whole[each])) for side in (upper, lower)))
            for each in joined
        )

    def _dots(self, series: Series) -> list[Place]:
        """The days that have a value."""
        points = [p for p in series.points if _shown(p, self.doubling)]
        ys = self.ys_of([p.value for p in points])
        return [(self.x_of(p.day), y) for p, y in zip(points, ys, strict=True)]

    def _open(self, points: Sequence[Point]) -> Sequence[Point]:
        if not self.doubling:
            return points
        return [p if _shown(p, True) else Point(p.day, None) for p in points]


def _labelled(lines: Sequence[Line], paper: Paper, gap: float) -> list[Line]:
    shown = [line for line in lines if line.end is not None]
    places = spread([line.end[1] for line in shown], gap, paper.top, paper.base)
    return [replace(line, label_y=round(y, 1)) for line, y in zip(shown, places, strict=True)]

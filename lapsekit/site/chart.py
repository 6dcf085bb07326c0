"""Geometry of the growth curves: values in, places on the paper out. Pure.

Lines are joined only where the days were measured about as densely as the season usually is;
a day without a value, a long pause, and a sudden loss leave the line open.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from math import log2

from lapsekit.site.scales import date_ticks, decimals, doubling_levels, linear_levels, spread
from lapsekit.site.strokes import Place, Point, band, path, runs, specks, usual_step
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
        _scale(log2 if doubling else float, levels, paper),
    )
    lines = [sheet.line(s) for s in series]
    return Chart(
        paper,
        tuple(_labelled(lines, paper, label_gap)),
        tuple((sheet.y_of(level), level, decimals(level)) for level in levels),
        tuple(
            (sheet.x_of(day), day, plant_age(day, sown))
            for day in date_ticks(first, last, sown, max(2, (paper.end - paper.left) // 55))
        ),
        tuple(sheet.x_of(day) for day in sorted(set(events)) if first <= day <= last),
    )


def _shown(point: Point, doubling: bool) -> bool:
    return point.value is not None and (point.value > 0 or not doubling)


def _scale(
    measure: Callable[[float], float], levels: Sequence[float], paper: Paper
) -> Callable[[float], float]:
    low, high = measure(levels[0]), measure(levels[-1])
    base, height, span = paper.base, paper.base - paper.top, high - low

    def y_of(value: float) -> float:
        if value <= 0 and measure is log2:
            return float(base)  # the lower end of an interval that reaches down to nothing
        share = (measure(value) - low) / span
        return round(base - height * (0.0 if share < 0 else 1.0 if share > 1 else share), 1)

    return y_of


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
    y_of: Callable[[float], float]

    def line(self, series: Series) -> Line:
        """The smooth curve, or the daily values joined where there is none."""
        points = self._open(series.curve)
        smooth = any(p.value is not None for p in points)
        stretches = runs(points, self.longest, series.breaks) if smooth else self._days_of(series)
        joined = self._places(stretches)
        lone = [run[0] for run in joined if len(run) == 1]
        end = joined[-1][-1] if joined else None
        return Line(
            series.label,
            *look_of(series.look),
            "".join(path(run) for run in joined if len(run) > 1),
            *("", "") if self.lines_alone else self._days_around(series, stretches, smooth, lone),
            specks(lone),
            end,
            end[1] if end else 0.0,
        )

    def _days_around(
        self,
        series: Series,
        stretches: Sequence[Sequence[Point]],
        smooth: bool,
        lone: Sequence[Place],
    ) -> tuple[str, str]:
        """The band of a line that is drawn by itself, and the dots of its days."""
        band_of = "".join(band(run, self.x_of, self.y_of) for run in stretches)
        if not smooth and self.longest <= 2:
            return band_of, specks(lone)
        days = self._places(self._days_of(series) if smooth else stretches)
        return band_of, specks([place for run in days for place in run])

    def _days_of(self, series: Series) -> list[list[Point]]:
        return runs(self._open(series.points), self.longest)

    def _open(self, points: Sequence[Point]) -> Sequence[Point]:
        if not self.doubling:
            return points
        return [p if _shown(p, True) else Point(p.day, None) for p in points]

    def _places(self, stretches: Sequence[Sequence[Point]]) -> list[list[Place]]:
        x_of, y_of = self.x_of, self.y_of
        return [[(x_of(p.day), y_of(p.value)) for p in run] for run in stretches]


def _labelled(lines: Sequence[Line], paper: Paper, gap: float) -> list[Line]:
    shown = [line for line in lines if line.end is not None]
    places = spread([line.end[1] for line in shown], gap, paper.top, paper.base)
    return [replace(line, label_y=round(y, 1)) for line, y in zip(shown, places, strict=True)]

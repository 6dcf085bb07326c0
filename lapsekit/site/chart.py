"""Geometry of the growth curves: values in, places on the paper out. Pure.

Lines are joined only where the days were measured about as densely as the season usually is;
a day without a value, and a long pause, leave the line open.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import floor, log2
from statistics import median

from lapsekit.site.scales import date_ticks, doubling_levels, linear_levels, spread
from lapsekit.when import plant_age

#: Dash patterns, told apart without colour.
DASHES = ("", "9 4", "2 4", "12 4 2 4", "5 3", "14 4 2 4 2 4", "1 3", "16 6")


@dataclass(frozen=True)
class Point:
    """One day of a curve; `value` is None on a day without a usable frame."""

    day: date
    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Series:
    """A named curve; points in order of day."""

    label: str
    points: tuple[Point, ...]


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
    """One curve on paper: paths for an SVG, lone points, and where its label stands."""

    label: str
    dash: str
    path: str
    band: str
    dots: tuple[tuple[float, float], ...]
    end: tuple[float, float] | None
    label_y: float


@dataclass(frozen=True)
class Chart:
    """Everything a template needs to draw."""

    paper: Paper
    lines: tuple[Line, ...]
    levels: tuple[tuple[float, str], ...]
    dates: tuple[tuple[float, date, int], ...]
    events: tuple[float, ...]


def usual_step(days: Sequence[date]) -> int:
    """Longest step in days across which a curve is still joined.

    One and a half times the season's median step, so at daily frames only neighbours are joined.
    """
    steps = [(b - a).days for a, b in pairwise(sorted(days))]
    return max(1, floor(1.5 * median(steps))) if steps else 1


def runs(points: Sequence[Point], longest_step: int) -> list[list[Point]]:
    """Stretches of a curve that may be joined; never across a day known to have no value."""
    found: list[list[Point]] = []
    open_run = False
    for point in points:
        if point.value is None:
            open_run = False
            continue
        if open_run and (point.day - found[-1][-1].day).days <= longest_step:
            found[-1].append(point)
        else:
            found.append([point])
        open_run = True
    return found


def draw(
    series: Sequence[Series],
    paper: Paper,
    sown: date,
    *,
    doubling: bool = False,
    events: Sequence[date] = (),
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
    events : sequence of date
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
    y_of = _scale(log2 if doubling else float, levels, paper)
    first, last = min(p.day for p in known), max(p.day for p in known)
    x_of = _days(first, last, paper)
    longest = usual_step(sorted({p.day for p in known}))
    lines = [
        _line(s, DASHES[n % len(DASHES)], longest, doubling, x_of, y_of)
        for n, s in enumerate(series)
    ]
    return Chart(
        paper,
        tuple(_labelled(lines, paper, label_gap)),
        tuple((y_of(level), f"{level:g}") for level in levels),
        tuple(
            (x_of(day), day, plant_age(day, sown))
            for day in date_ticks(first, last, sown, max(2, (paper.end - paper.left) // 55))
        ),
        tuple(x_of(day) for day in sorted(set(events)) if first <= day <= last),
    )


def _shown(point: Point, doubling: bool) -> bool:
    return point.value is not None and (point.value > 0 or not doubling)


def _scale(
    measure: Callable[[float], float], levels: Sequence[float], paper: Paper
) -> Callable[[float], float]:
    low, high = measure(levels[0]), measure(levels[-1])
    height = paper.base - paper.top
    return lambda value: round(paper.base - height * (measure(value) - low) / (high - low), 1)


def _days(first: date, last: date, paper: Paper) -> Callable[[date], float]:
    span = max(1, (last - first).days)
    width = paper.end - paper.left
    return lambda day: round(paper.left + width * (day - first).days / span, 1)


def _line(
    series: Series,
    dash: str,
    longest: int,
    doubling: bool,
    x_of: Callable[[date], float],
    y_of: Callable[[float], float],
) -> Line:
    points = [p if _shown(p, doubling) else Point(p.day, None) for p in series.points]
    stretches = [[(p, x_of(p.day), y_of(p.value)) for p in run] for run in runs(points, longest)]
    path = "".join(_path([(x, y) for _, x, y in run]) for run in stretches if len(run) > 1)
    sparse = longest > 2
    dots = [(x, y) for run in stretches for _, x, y in run if sparse or len(run) == 1]
    bands = [] if doubling else [_band([p for p, _, _ in run], x_of, y_of) for run in stretches]
    end = stretches[-1][-1][1:] if stretches else None
    return Line(series.label, dash, path, "".join(bands), tuple(dots), end, end[1] if end else 0.0)


def _path(places: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in places)


def _band(
    run: Sequence[Point], x_of: Callable[[date], float], y_of: Callable[[float], float]
) -> str:
    """Outline of the days' intervals; a lone day gets a short bar."""
    whole = [p for p in run if p.low is not None and p.high is not None]
    if not whole:
        return ""
    if len(whole) == 1:
        x, low, high = x_of(whole[0].day), y_of(whole[0].low), y_of(whole[0].high)
        return _path([(x - 1.5, high), (x + 1.5, high), (x + 1.5, low), (x - 1.5, low)]) + "Z"
    upper = [(x_of(p.day), y_of(p.high)) for p in whole]
    lower = [(x_of(p.day), y_of(p.low)) for p in reversed(whole)]
    return _path(upper + lower) + "Z"


def _labelled(lines: Sequence[Line], paper: Paper, gap: float) -> list[Line]:
    shown = [line for line in lines if line.end is not None]
    places = spread([line.end[1] for line in shown], gap, paper.top, paper.base)
    return [
        Line(s.label, s.dash, s.path, s.band, s.dots, s.end, round(y, 1))
        for s, y in zip(shown, places, strict=True)
    ]

"""Geometry of the growth curves: values in, places on the paper out. Pure.

Lines are joined only where the days were measured about as densely as the season usually is;
a day without a value, a long pause, and a sudden loss leave the line open.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import compress
from math import ceil

import numpy as np

from lapsekit.site.scales import date_ticks, decimals, doubling_levels, linear_levels, spread
from lapsekit.site.strokes import Place, Strand, band, path, specks, stretches, usual_step
from lapsekit.when import plant_age

#: Dash patterns, told apart without colour.
DASHES = ("", "9 4", "2 4", "12 4 2 4", "5 3", "14 4 2 4 2 4", "1 3", "16 6")

#: Number of inks; `--ink-1` and so on in style.css. No divisor of the number of dashes, so that
#: ink and dash together tell 40 plants apart.
INKS = 5


HALF_A_DATE = 27
"""Half the width in px of the longest date on an axis, and a little."""

LEVEL_GAP = 8
"""Px between a level and the plot; as curves.html has it."""

_DIGIT_EM, _MARK_EM = 0.55, 0.3
"""How wide a figure is, and a mark between figures, as shares of the letters' height, or more."""

BAND_ROOM = 2.0
"""Up to so many times the highest value a band has its room. Beyond it, where next to nothing is
known of a day, it would press the curve flat, and leaves the paper."""

NOTHING = Strand.of(())


@dataclass(frozen=True)
class Series:
    """A named curve; daily values and, where there is one, the smooth curve.

    `breaks` are days on which the area had changed at once since the day before. `look` is the
    number that ink and dash go by.
    """

    label: str
    points: Strand
    curve: Strand = NOTHING
    breaks: tuple[date, ...] = ()
    look: int = 0


@dataclass(frozen=True)
class Paper:
    """Size and margins of a chart, and how high its letters are, in px.

    `left` is what it is at least: wider levels get the room that they take.
    """

    width: int
    height: int
    left: int
    right: int
    top: int = 30
    bottom: int = 48
    letter_px: int = 14

    def with_room_for(self, levels: Sequence[float]) -> "Paper":
        """The same, on which no level at the left edge is cut off."""
        widest_em = max(_width_em(level) for level in levels)
        return replace(self, left=max(self.left, LEVEL_GAP + ceil(widest_em * self.letter_px)))

    @property
    def end(self) -> int:
        """Right edge of the plot."""
        return self.width - self.right

    def for_words(self, x: float) -> float:
        """Where the middle of a date at x is written, so that none is cut off at the right."""
        return min(x, self.width - HALF_A_DATE)

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
    strands = [_shown(each.points, doubling) for each in series]
    values = np.concatenate([strand.values[strand.known] for strand in strands])
    if not values.size:
        return None
    highest = _highest(values, strands, [each.curve for each in series])
    levels = doubling_levels(float(values.min()), highest) if doubling else linear_levels(highest)
    paper = paper.with_room_for(levels)
    days = np.concatenate([strand.days[strand.known] for strand in strands])
    first, last = (date.fromordinal(int(day)) for day in (days.min(), days.max()))
    sheet = _Sheet(
        usual_step(days),
        doubling,
        lines_alone,
        _days(first, last, paper),
        _scale(np.log2 if doubling else np.asarray, levels, paper),
    )
    lines = [sheet.line(s) for s in series]
    ticks = date_ticks(first, last, sown, max(2, (paper.end - paper.left) // 55))
    marks = [day for day in sorted(set(events)) if first <= day <= last]
    return Chart(
        paper,
        tuple(_labelled(lines, paper, label_gap)),
        tuple(
            (y, level, decimals(level))
            for y, level in zip(sheet.ys_of(np.array(levels)), levels, strict=True)
        ),
        tuple(
            (x, day, plant_age(day, sown))
            for x, day in zip(sheet.xs_of(_ordinals(ticks)), ticks, strict=True)
        ),
        tuple(sheet.xs_of(_ordinals(marks))),
    )


def _highest(values: np.ndarray, strands: Sequence[Strand], curves: Sequence[Strand]) -> float:
    """What the highest level has to reach: values, their intervals, and bands within reason."""
    highs = np.concatenate([strand.highs[strand.known] for strand in strands])
    highest = float(np.where(np.isnan(highs), values, highs).max())
    bands = np.concatenate([curve.highs for curve in curves])
    return max([highest, *bands[bands <= BAND_ROOM * highest].tolist()])


def _width_em(level: float) -> float:
    """About how wide a level is as it is written, its thousands apart."""
    digits = decimals(level)
    whole = len(f"{abs(level):.0f}")
    return _DIGIT_EM * (whole + digits) + _MARK_EM * ((whole - 1) // 3 + bool(digits))


def _ordinals(days: Sequence[date]) -> np.ndarray:
    return np.array([day.toordinal() for day in days], int)


def _shown(strand: Strand, doubling: bool) -> Strand:
    return strand.above_zero if doubling else strand


def _scale(
    measure: Callable[[np.ndarray], np.ndarray], levels: Sequence[float], paper: Paper
) -> Callable[[np.ndarray], list[float]]:
    """What gives the heights of values; NaN of none.

    On a scale of doublings the lower end of an interval may reach down to nothing.
    """
    low, high = (float(measure(level)) for level in (levels[0], levels[-1]))
    height = paper.base - paper.top

    def ys_of(values: np.ndarray) -> list[float]:
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = (measure(values) - low) / (high - low)
        return np.round(paper.base - height * np.clip(shares, 0.0, 1.0), 1).tolist()

    return ys_of


def _days(first: date, last: date, paper: Paper) -> Callable[[np.ndarray], list[float]]:
    """What gives the places of days from left to right."""
    span, start = max(1, (last - first).days), first.toordinal()
    width = paper.end - paper.left
    return lambda days: np.round(paper.left + width * (days - start) / span, 1).tolist()


@dataclass(frozen=True)
class _Sheet:
    """What all curves of a chart share."""

    longest: int
    doubling: bool
    lines_alone: bool
    xs_of: Callable[[np.ndarray], list[float]]
    ys_of: Callable[[np.ndarray], list[float]]

    def line(self, series: Series) -> Line:
        """The smooth curve, or the daily values joined where there is none."""
        days, curve = (_shown(each, self.doubling) for each in (series.points, series.curve))
        smooth = bool(curve.known.size)
        strand = curve if smooth else days
        joined = stretches(strand, self.longest, series.breaks if smooth else ())
        places = self._places(strand.days, strand.values)
        found = [places[each] for each in joined]
        lone = specks([run[0] for run in found if len(run) == 1])
        with_dots = smooth or self.longest > 2
        end = found[-1][-1] if found else None
        return Line(
            series.label,
            *look_of(series.look),
            "".join(path(run) for run in found if len(run) > 1),
            "" if self.lines_alone else self._band(strand, joined),
            "" if self.lines_alone else self._dots(days) if with_dots else lone,
            lone,
            end,
            end[1] if end else 0.0,
        )

    def _places(self, days: np.ndarray, values: np.ndarray) -> list[Place]:
        return list(zip(self.xs_of(days), self.ys_of(values), strict=True))

    def _band(self, strand: Strand, joined: Sequence[slice]) -> str:
        ends = [self._places(strand.days, each) for each in (strand.highs, strand.lows)]
        whole = (~np.isnan(strand.highs + strand.lows)).tolist()
        return "".join(
            band(*(list(compress(side[each], whole[each])) for side in ends)) for each in joined
        )

    def _dots(self, days: Strand) -> str:
        """The days that have a value."""
        return specks(self._places(days.days[days.known], days.values[days.known]))


def _labelled(lines: Sequence[Line], paper: Paper, gap: float) -> list[Line]:
    shown = [line for line in lines if line.end is not None]
    places = spread([line.end[1] for line in shown], gap, paper.top, paper.base)
    return [replace(line, label_y=round(y, 1)) for line, y in zip(shown, places, strict=True)]

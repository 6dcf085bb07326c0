"""The plot of a collection: plants of one crop across seasons, a panel for each crop."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator, MaxNLocator

from lapsekit.area_scale import log_scale
from lapsekit.growing import Growth, has_value
from lapsekit.growth_plots import sheet
from lapsekit.plotting import BLUE, INK, panel_title, plain_axes

MOST_PANELS = 11
"""With the panel that is the key they fill six lines, a page of print."""

MOST_LINES = 40
"""Plants of one season up to which each has its line; more are told by their middle and range."""

_MOST_POINTS = 150
_STYLES = (
    (BLUE, "-"),
    (INK, "--"),
    ("#d55e00", "-."),
    ("#009e73", ":"),
    ("#cc79a7", (0, (7, 2))),
    ("#8a6d00", (0, (1, 1))),
)
"""Of Wong's colours, and told apart in grey by their dashes."""

_OTHERS = "earlier"
_RANGE = (10, 90)


@dataclass(frozen=True)
class PlantLine:
    """One plant's curve.

    Attributes
    ----------
    crop, season : str
        `season` is its title, with the year where that does not name it.
    year : int
        Of sowing.
    at : (n,) array
        Plant age in days, or days since the year of sowing began.
    area_cm2 : (n,) array
        By the smooth curve; NaN on days without a value.
    """

    crop: str
    season: str
    year: int
    at: np.ndarray
    area_cm2: np.ndarray


def line_of(growth: Growth, crop: str, title: str, sown: date, by_age: bool) -> PlantLine | None:
    """A plant's curve for the plot; None of one without a scale, or without a curve.

    `title` is its season's.
    """
    season = title if str(sown.year) in title else f"{title}, {sown.year}"
    if not growth.has_area or growth.curve is None:
        return None
    curve = growth.curve
    start = sown if by_age else date(sown.year, 1, 1)
    step = -(-len(curve.days) // _MOST_POINTS)
    at = (curve.days - start.toordinal())[::step].astype(np.float32)
    area = np.where(has_value(curve), curve.area_cm2, np.nan)[::step].astype(np.float32)
    return PlantLine(crop, season, sown.year, at, area)


def crops_plot(lines: Sequence[PlantLine], by_age: bool) -> dict[str, bytes]:
    """Canopy area of each crop's plants across seasons, by age or date.

    Parameters
    ----------
    lines : sequence of PlantLine
        At least one.
    by_age : bool
        Whether `PlantLine.at` is plant age.

    Returns
    -------
    dict of str to bytes
        See `lapsekit.plotting.files_of`.
    """
    panels, left = _panels(lines)
    ends = min(float(x.at[0]) for x in lines), max(float(x.at[-1]) for x in lines)
    names = _named(lines)
    styles = dict(zip(names, _STYLES, strict=False))
    below = "plant age, days since sowing" if by_age else "date"
    foot = (
        f"Canopy area in cm², equal steps multiply equally. Below: {below}.\n"
        f"A line is a plant's smooth curve; of more than {MOST_LINES} of one key, the\n"
        "median is drawn, and the range of eight in ten."
    )
    if left:
        foot += f" Not shown: {left} {'crop' if left == 1 else 'crops'}."

    def draw(axis: Axes, panel: str | None) -> None:
        if panel is None:
            _key(axis, styles)
            return
        _draw(axis, panel, [x for x in lines if x.crop == panel], styles)
        axis.set_xlim(ends[0] - 1, ends[1] + 1)
        if by_age:
            axis.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        else:
            _months(axis)

    return sheet([*panels, None], draw, foot)


def _panels(lines: Sequence[PlantLine]) -> tuple[list[str], int]:
    """Crops to show, by name: those of most seasons, then of most plants; how many are left."""
    seasons: dict[str, set[tuple[str, int]]] = {}
    plants: dict[str, int] = {}
    for line in lines:
        seasons.setdefault(line.crop, set()).add((line.season, line.year))
        plants[line.crop] = plants.get(line.crop, 0) + 1
    ranked = sorted(plants, key=lambda crop: (-len(seasons[crop]), -plants[crop], crop))
    return sorted(ranked[:MOST_PANELS]), len(ranked[MOST_PANELS:])


def _named(lines: Sequence[PlantLine]) -> list[str]:
    """What the key tells apart: seasons where they are few, else years, else the last year."""
    known = sorted({(line.year, line.season) for line in lines}, reverse=True)
    seasons = list(dict.fromkeys(season for _, season in known))
    if len(seasons) <= len(_STYLES):
        return seasons
    years = list(dict.fromkeys(str(year) for year, _ in known))
    return years if len(years) <= len(_STYLES) else [years[0], _OTHERS]


def _of_key(line: PlantLine, styles: Mapping[str, tuple]) -> str:
    if line.season in styles:
        return line.season
    return str(line.year) if str(line.year) in styles else _OTHERS


def _draw(axis: Axes, crop: str, lines: Sequence[PlantLine], styles: Mapping[str, tuple]) -> None:
    many = f"{len(lines)} plants" if len(lines) > 1 else "1 plant"
    panel_title(axis, crop, many)
    by_key: dict[str, list[PlantLine]] = {}
    for line in lines:
        by_key.setdefault(_of_key(line, styles), []).append(line)
    for name, (colour, dash) in reversed(styles.items()):  # the latest lies on top
        of_key = by_key.get(name, [])
        if len(of_key) > MOST_LINES:
            at, low, middle, high = _range(of_key)
            axis.fill_between(at, low, high, color=colour, alpha=0.2, linewidth=0)
            axis.plot(at, middle, linestyle=dash, color=colour, linewidth=1.4)
            continue
        for line in of_key:
            axis.plot(
                line.at, line.area_cm2, linestyle=dash, color=colour, linewidth=1.0, alpha=0.9
            )
    log_scale(axis, np.concatenate([line.area_cm2 for line in lines]))
    plain_axes(axis)


def _range(lines: Sequence[PlantLine]) -> tuple[np.ndarray, ...]:
    """Days, and the low end, middle and high end of the plants' areas on each."""
    by_day: dict[int, list[float]] = {}
    for line in lines:
        for at, area in zip(line.at.tolist(), line.area_cm2.tolist(), strict=True):
            if np.isfinite(area):
                by_day.setdefault(int(at), []).append(area)
    at = np.array(sorted(day for day, areas in by_day.items() if len(areas) >= len(lines) / 4))
    told = [np.percentile(by_day[day], (_RANGE[0], 50, _RANGE[1])) for day in at.tolist()]
    return at, *np.array(told).reshape(-1, 3).T


def _months(axis: Axes) -> None:
    """Names of months below; the day 0 is the first of a year of 365 days."""
    low, high = axis.get_xlim()
    starts = [
        (year * 365 + date(2031, month, 1).timetuple().tm_yday - 1, f"{date(2031, month, 1):%b}")
        for year in range(3)
        for month in range(1, 13)
    ]
    shown = [each for each in starts if low <= each[0] <= high]
    shown = shown[:: max(1, len(shown) // 4)]
    axis.xaxis.set_major_locator(FixedLocator([day for day, _ in shown]))
    axis.xaxis.set_major_formatter(FixedFormatter([name for _, name in shown]))


def _key(axis: Axes, styles: Mapping[str, tuple]) -> None:
    """The last panel: which line is which season."""
    axis.set_axis_off()
    axis.legend(handles=list(_handles(styles)), loc="upper left", frameon=False, fontsize=8.5)


def _handles(styles: Mapping[str, tuple]) -> Iterator[Line2D]:
    for name, (colour, dash) in styles.items():
        yield Line2D([], [], color=colour, linestyle=dash, linewidth=1.4, label=_plain(name))


def _plain(name: str) -> str:
    """A title as the legend takes it: a dollar begins no formula, an underscore hides nothing."""
    return _short(name).replace("$", r"\$").lstrip("_") or "?"


def _short(name: str, longest: int = 44) -> str:
    """A name with its end, which may be its year."""
    if len(name) <= longest:
        return name
    return f"{name[: longest - 7].rstrip()}… {name[-5:].lstrip()}"

"""Stage: this season and an earlier one -> how far each plant is ahead, and by how much."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from lapsekit.errors import SettingsError
from lapsekit.growing import Growth, grow, has_value
from lapsekit.growth.alignment import Beside, Line, side_by_side
from lapsekit.language.phrases import no_rate_text
from lapsekit.language.words import ENGLISH
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.settings import Region
from lapsekit.tables import Column, Table
from lapsekit.weather import degree_days_of

CLOCKS = {"age": "days since sowing", "date": "days of the year", "degree-days": "degree days"}

BESIDE = (
    Column("region", "string", "name in this season's regions.toml"),
    Column("day", "date", "local calendar day of this season"),
    Column("at", "number", "place on the clock: days since sowing, days of the year or °C · days"),
    Column("area_cm2", "number", "area by this season's smooth curve", "cm2"),
    Column("earlier_region", "string", "name in the earlier season's regions.toml"),
    Column("earlier_cm2", "number", "area by the earlier season's curve at the same place", "cm2"),
    Column("ratio", "number", "this season's area over the earlier one's", "1"),
    Column("ratio_low", "number", "lower end of its 95 % interval", "1"),
    Column("ratio_high", "number", "upper end of its 95 % interval", "1"),
)


@dataclass(frozen=True)
class Pair:
    """A plant of this season beside one of the earlier season, along one clock."""

    region: Region
    earlier: Region
    days: np.ndarray
    own_line: Line
    earlier_line: Line
    found: Beside


@dataclass(frozen=True)
class BesideReport:
    """Every pair, the clock they were held together by, and what was written.

    `refused` holds regions that could not be compared, each with the reason.
    """

    clock: str
    pairs: list[Pair]
    refused: dict[str, str]
    written: list[Path]


def beside(
    season: Season, earlier: Season, clock: str = "age", pairs: Sequence[tuple[str, str]] = ()
) -> BesideReport:
    """Hold the plants of a season against those of an earlier one and write table and plots.

    Parameters
    ----------
    season, earlier : Season
        The caller holds the first one's stage lock.
    clock : str
        One of `CLOCKS`.
    pairs : sequence of (own, earlier) names
        By default regions of the same name.

    Raises
    ------
    SettingsError
        If the clock or a region is unknown, no region has the same name in both, or weather.csv
        cannot be read.
    """
    if clock not in CLOCKS:
        raise SettingsError(f"--by {clock}: choose from {', '.join(CLOCKS)}{_near(clock, CLOCKS)}")
    if season.folder.resolve() == earlier.folder.resolve() and not pairs:
        raise SettingsError(
            f"{earlier.folder}: is this season itself; name an earlier one's folder"
        )
    own, then = grow(season), grow(earlier)
    found, refused = [], {}
    for name, other in _pairs(own, then, pairs, earlier.folder):
        lines = line_of(season, own[name], clock), line_of(earlier, then[other], clock)
        if clock == "date":
            lines = _same_year(*lines)
        told = [line for line in lines if isinstance(line, str)]
        if told:
            refused[name] = told[0]
            continue
        result = side_by_side(*lines)
        if not result.index.size:
            refused[name] = f"both seasons have no {CLOCKS[clock]} in common"
            continue
        days = own[name].curve.days
        found.append(Pair(own[name].region, then[other].region, days, *lines, result))
    if not found:
        name, why = next(iter(refused.items()))
        raise SettingsError(f"nothing could be compared; {name}: {why}")
    report = BesideReport(clock, found, refused, [])
    _write(season, earlier, report)
    return report


def _pairs(
    own: Mapping[str, Growth],
    then: Mapping[str, Growth],
    asked: Sequence[tuple[str, str]],
    folder: Path,
) -> list[tuple[str, str]]:
    for name, other in asked:
        for each, known, where in ((name, own, "this season"), (other, then, str(folder))):
            if each not in known:
                raise SettingsError(
                    f'--pair {name}={other}: {where} has no region "{each}"{_near(each, known)}'
                )
    found = list(asked) or [(name, name) for name in own if name in then]
    if not found:
        raise SettingsError(
            f"{folder}: no region has the same name as one of this season; name them with "
            "--pair OWN=EARLIER"
        )
    return found


def _near(word: str, known: Mapping[str, object]) -> str:
    close = get_close_matches(word, known, 1)
    return f'; did you mean "{close[0]}"?' if close else ""


def line_of(season: Season, growth: Growth, clock: str = "age") -> Line | str:
    """A region's curve along one of `CLOCKS`, or why there is none."""
    curve = growth.curve
    if not any(d.cover is not None for d in growth.daily):
        return "no day has a value"
    if not growth.has_area:
        return "its camera has no scale"
    if growth.bare_days:
        return no_rate_text(ENGLISH, growth.bare_days)
    if curve is None:
        return "too few measured days for a curve"
    sown = season.sown(growth.region)
    if clock == "age":
        at = curve.days - float(sown.toordinal())
    elif clock == "date":
        at = np.array([_day_of_year(date.fromordinal(int(day))) for day in curve.days])
        at = np.unwrap(at, period=_YEAR_DAYS)  # a season may run across New Year
    else:
        sums = degree_days_of(season, growth.region)
        at = np.array([sums.get(date.fromordinal(int(day)), np.nan) for day in curve.days])
        if not np.isfinite(at).any():
            return (
                f"the weather.csv of {season.settings.season.title} has no readings from its "
                f"sowing on {sown} on; lapsekit weather FILE adds a logger's, --by age needs none"
            )
    kept = slice(0, int(np.isfinite(at).sum()))  # a sum ends with the first gap of the weather
    shown = np.where(has_value(curve), 1.0, np.nan)  # a gap stays one
    values = (curve.area_cm2, curve.low_cm2, curve.high_cm2)
    return Line(at[kept], *((each * shown)[kept] for each in values))


_YEAR_DAYS = 366


def _day_of_year(day: date) -> float:
    """Counted in a leap year, so that a date has one number in all years."""
    return float(date(2032, day.month, day.day).timetuple().tm_yday)


def _same_year(own: Line | str, then: Line | str) -> tuple[Line | str, Line | str]:
    """The earlier line moved by whole years to where both overlap most."""
    if isinstance(own, str) or isinstance(then, str):
        return own, then
    years = round(float(own.at.mean() - then.at.mean()) / _YEAR_DAYS)
    return own, replace(then, at=then.at + years * _YEAR_DAYS)


def _write(season: Season, earlier: Season, report: BesideReport) -> None:
    rows = [
        (
            pair.region.name,
            *(date.fromordinal(int(pair.days[k])), float(pair.own_line.at[k])),
            *(float(pair.own_line.area_cm2[k]), pair.earlier.name, float(then)),
            *(float(ratio), float(low), float(high)),
        )
        for pair in report.pairs
        for k, then, ratio, low, high in zip(
            pair.found.index,
            pair.found.earlier_cm2,
            pair.found.ratio,
            pair.found.low,
            pair.found.high,
            strict=True,
        )
    ]
    title = f"Beside {earlier.settings.season.title}, by {CLOCKS[report.clock]}"
    table = Table("beside", title, ("region", "day"), BESIDE, rows)
    season.tables.mkdir(exist_ok=True)
    contents = {"beside.csv": table.csv}
    from lapsekit.growth_plots import beside_plot

    names = [s.settings.season.title for s in (season, earlier)]
    if names[0] == names[1]:
        names = [
            f"{s.settings.season.title}, sown {s.settings.season.sown}" for s in (season, earlier)
        ]
    plots = beside_plot(report, (names[0], names[1]))
    contents |= {f"beside.{kind}": content for kind, content in plots.items()}
    for name, content in contents.items():
        report.written.append(season.tables / name)
        write_safely(report.written[-1], content)

"""weather.csv: what a logger told, by UTC time; read, and new readings laid among the old ones."""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from math import isfinite
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.growth.weather import (
    CAUTIONS,
    Reading,
    WeatherDay,
    cold_flags,
    daily_weather,
    summed_degree_days,
)
from lapsekit.season import REGIONS_FILE, Season
from lapsekit.settings import Region
from lapsekit.when import utc_text

WEATHER_FILE = "weather.csv"
VALUES = {"temp_c": (-60.0, 70.0), "humidity": (0.0, 100.0), "light": (0.0, 3000.0)}
"""Columns beside the time, with what they can hold; their units are `UNITS`."""
UNITS = {"temp_c": "°C", "humidity": "%", "light": "µmol per m² and second (PPFD; lux is not)"}
_SAME = 1e-9


@dataclass
class _Line:
    """A reading's line: its cells by column, and the comments that stand before it."""

    at: datetime
    cells: dict[str, str]
    comments: list[str] = field(default_factory=list)


@dataclass
class WeatherTable:
    """weather.csv in memory; every line, comment and column of it is kept.

    Attributes
    ----------
    columns : list of str
    lines : list of readings, as they stand in the file
    before, after : list of str
        Comments before the header and after the last reading.
    """

    columns: list[str] = field(default_factory=list)
    lines: list[_Line] = field(default_factory=list)
    before: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)

    @property
    def readings(self) -> list[Reading]:
        """Readings in order of time."""
        found = [Reading(x.at, *(_value(x.cells.get(name)) for name in VALUES)) for x in self.lines]
        return sorted(found, key=lambda reading: reading.at)

    @property
    def text(self) -> str:
        """The file's text, readings in order of time."""
        out = io.StringIO()
        table = csv.writer(out, lineterminator="\n")
        out.writelines(f"{line}\n" for line in self.before)
        table.writerow(self.columns)
        for line in sorted(self.lines, key=lambda each: each.at):
            out.writelines(f"{comment}\n" for comment in line.comments)
            table.writerow([line.cells.get(name, "") for name in self.columns])
        out.writelines(f"{line}\n" for line in self.after)
        return out.getvalue()


@dataclass(frozen=True)
class Laid:
    """What became of new readings.

    Attributes
    ----------
    added : int
        Readings at moments that the table had not.
    filled : int
        Readings that gave a known moment a value it lacked.
    there : int
        Readings that were there already, alike.
    kept : list of tuple
        Moment, column, the table's value and the other one, where the two differ; the table's
        stands.
    """

    added: int
    filled: int
    there: int
    kept: list[tuple[datetime, str, float, float]]


def read_weather(path: Path) -> WeatherTable:
    """The table of weather.csv; an empty one where there is no such file.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with the columns time (ISO 8601, with Z or an offset) and temp_c, and, if
        wanted, humidity and light. Other columns are kept, as are lines that begin with #.

    Raises
    ------
    SettingsError
        If the file is not such a table; names file, line, column and value.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return WeatherTable()
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it as CSV in UTF-8") from error
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    table, comments = WeatherTable(), []
    for number, line in enumerate(text.splitlines(), start=1):
        if line.lstrip().startswith("#") or not line.strip():
            comments.append(line)
            continue
        cells = next(csv.reader([line]))
        if not table.columns:
            table.columns, table.before = _header(path, number, cells), comments
        else:
            table.lines.append(_line(path, number, table.columns, cells, comments))
        comments = []
    table.after = comments
    return table


def lay(table: WeatherTable, readings: Sequence[Reading]) -> Laid:
    """Lay new readings among those of the table, which changes; what stands there stays.

    Parameters
    ----------
    table : WeatherTable
    readings : sequence of Reading
    """
    names = [name for name in VALUES if any(getattr(r, name) is not None for r in readings)]
    wanted = dict.fromkeys(("time", "temp_c", *names))
    table.columns += [name for name in wanted if name not in table.columns]
    known = {line.at: line for line in table.lines}
    added = filled = there = 0
    kept: list[tuple[datetime, str, float, float]] = []
    for reading in readings:
        told = {n: v for n in names if (v := getattr(reading, n)) is not None}
        at = reading.at.replace(microsecond=0)  # as the file tells it
        line = known.get(at)
        if line is None:
            cells = {"time": utc_text(at)} | {n: _shortest(v) for n, v in told.items()}
            known[at] = line = _Line(at, cells)
            table.lines.append(line)
            added += 1
            continue
        new = {n: v for n, v in told.items() if _value(line.cells.get(n)) is None}
        line.cells |= {n: _shortest(v) for n, v in new.items()}
        other = [
            (at, n, old, v)
            for n, v in told.items()
            if n not in new and abs((old := _value(line.cells[n])) - v) > _SAME
        ]
        kept += other
        filled += bool(new)
        there += not new and not other
    return Laid(added, filled, there, kept)


def degree_days_of(season: Season, region: Region) -> dict[date, float]:
    """Degree days of a region from its sowing to the end of each day, by single sine, °C · days.

    They end with the first day without readings.

    Raises
    ------
    SettingsError
        If weather.csv cannot be read, or the region's cap is not above its base.
    """
    base_c, cap_c = season.base_and_cap_c(region)
    days = daily_weather(read_weather(season.folder / WEATHER_FILE).readings, season.zone)
    days = [day for day in days if day.day >= season.sown(region)]
    if not days or days[0].day != season.sown(region):
        return {}
    try:
        sums = summed_degree_days(days, base_c, cap_c, sine=True)
    except ValueError as error:
        raise SettingsError(f"{REGIONS_FILE}: {region.name}: {error}") from error
    return {d.day: total for d, total in zip(days, sums, strict=True) if total is not None}


def days_of_weather(
    season: Season,
    base_c: float,
    cap_c: float | None = None,
    sine: bool = False,
    chill_c: float | None = None,
) -> tuple[list[WeatherDay], list[float | None], list[tuple[str, ...]], dict[str, str]]:
    """The season's weather by local day.

    Parameters
    ----------
    season : Season
    base_c, cap_c, sine
        Of degree days, which are summed from the first day on.
    chill_c : float, optional
        Temperature from which on down a night is flagged.

    Returns
    -------
    days : list of WeatherDay, length n
    sums : list of float or None, length n
        Degree days.
    flags : list of tuple of str, length n
    cautions : dict of str to str
        What each flag means.

    Raises
    ------
    SettingsError
        If weather.csv cannot be read, or the cap is not above the base.
    """
    days = daily_weather(read_weather(season.folder / WEATHER_FILE).readings, season.zone)
    try:
        sums = summed_degree_days(days, base_c, cap_c, sine=sine)
    except ValueError as error:
        raise SettingsError(f"--base {base_c:g} --cap {cap_c}: {error}") from error
    return days, sums, [cold_flags(day, chill_c) for day in days], CAUTIONS


def number_in(text: str, name: str, scale: Callable[[float], float] = float) -> float:
    """A cell as a number that its column can hold; `scale` makes its unit of the cell's.

    Raises
    ------
    ValueError
        Says what is wrong with it.
    """
    try:
        value = scale(float(text))
    except ValueError:
        raise ValueError("is no number") from None
    low, high = VALUES[name]
    if not (isfinite(value) and low <= value <= high):
        raise ValueError(f"cannot be {name}: it lies outside {low:g} to {high:g} {UNITS[name]}")
    return value


def _shortest(value: float) -> str:
    short = f"{value:g}"
    return short if float(short) == value else repr(value)


def _value(cell: str | None) -> float | None:
    return float(cell) if cell and cell.strip() else None


def _header(path: Path, number: int, cells: list[str]) -> list[str]:
    columns = [cell.strip() for cell in cells]
    twice = {name for name in columns if columns.count(name) > 1}
    if not {"time", "temp_c"} <= set(columns) or twice:
        raise SettingsError(
            f'{path}: line {number} = "{",".join(cells)}": the first line must name the columns '
            "time,temp_c[,humidity,light], each once; bring a logger's own file in with lapsekit "
            "weather FILE --time COLUMN --temp COLUMN"
        )
    return columns


def _line(
    path: Path, number: int, columns: list[str], cells: list[str], comments: list[str]
) -> _Line:
    if len(cells) > len(columns):
        raise SettingsError(
            f"{path}: line {number} has {len(cells)} cells for {len(columns)} columns; write a "
            "decimal point, not a comma"
        )
    row = dict(zip(columns, cells, strict=False))
    try:
        at = datetime.fromisoformat(row["time"].strip())
        if at.tzinfo is None:
            raise ValueError
    except ValueError as error:
        raise SettingsError(
            f'{path}: line {number}, time = "{row["time"]}": write a moment with its offset, like '
            "2031-04-17T11:30:00Z"
        ) from error
    for name in VALUES:
        try:
            if row.get(name, "").strip():
                number_in(row[name], name)
        except ValueError as error:
            raise SettingsError(
                f'{path}: line {number}, {name} = "{row[name]}" {error}; correct it or empty it'
            ) from error
    return _Line(at.astimezone(UTC), row, comments)

"""Any logger's CSV file, understood by the names of its columns; rows in, readings out."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from lapsekit.errors import SettingsError
from lapsekit.growth.weather import Reading
from lapsekit.locks import writing
from lapsekit.logger_header import SEPARATORS, find_header
from lapsekit.logger_times import LoggerClock
from lapsekit.texts import write_whole
from lapsekit.weather import VALUES, Laid, lay, number_in, read_weather


@dataclass(frozen=True)
class Columns:
    """What a logger calls its columns, and how it writes times.

    `time` and `temp` are needed; `form` holds strptime fields where times are written in a way
    that could mean two days; `fahrenheit` says that temperatures are in °F.
    """

    time: str
    temp: str
    humidity: str | None = None
    light: str | None = None
    form: str | None = None
    fahrenheit: bool = False

    @property
    def by_value(self) -> dict[str, str]:
        """The logger's column of each value that it has."""
        named = dict(zip(VALUES, (self.temp, self.humidity, self.light), strict=True))
        return {value: name for value, name in named.items() if name is not None}

    @property
    def by_option(self) -> dict[str, str]:
        """The logger's columns by the option of ``lapsekit weather`` that names each."""
        options = ("--time", "--temp", "--humidity", "--light")
        named = zip(options, (self.time, self.temp, self.humidity, self.light), strict=True)
        return {option: name for option, name in named if name is not None}


@dataclass(frozen=True)
class Refused:
    """One cell that cannot be used; without its time or temperature, the whole row is not."""

    line: int
    column: str
    value: str
    why: str


@dataclass
class LoggerReadings:
    """What was understood of a logger's file.

    Attributes
    ----------
    readings : list of Reading
        In order of time.
    refused : list of Refused
    rows : int
        Rows that hold anything, below the header.
    header_line : int
    separator, decimal : str
        ``"semicolons"`` and so on; ``"comma"`` or ``"point"``.
    with_offset : int
        Rows whose time came with its own offset; the others are of the zone.
    encoding : str
    """

    header_line: int
    separator: str
    decimal: str
    encoding: str
    readings: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    rows: int = 0
    with_offset: int = 0


@dataclass(frozen=True)
class WeatherBrought:
    """What bringing a logger's file in came to; `written` is False on a dry run."""

    found: LoggerReadings
    laid: Laid
    written: bool


def bring_weather_in(
    path: Path,
    columns: Columns,
    zone: ZoneInfo,
    weather: Path,
    dry_run: bool = False,
    now: datetime | None = None,
) -> WeatherBrought:
    """Lay a logger's readings into weather.csv, which keeps all that stands there.

    Parameters
    ----------
    path : pathlib.Path
        The logger's file.
    columns : Columns
    zone : zoneinfo.ZoneInfo
        Of times without an offset.
    weather : pathlib.Path
        The season's weather.csv; made if it does not exist.
    dry_run : bool
        Say what would become of it, write nothing.
    now : datetime, optional
        As for `read_logger`.

    Raises
    ------
    SettingsError
        If either file cannot be understood.
    SeasonBusy
        If another process holds the season's texts for ten seconds.
    """
    found = read_logger(path, columns, zone, now)
    with writing(weather.parent, "weather"):
        table = read_weather(weather)
        laid = lay(table, found.readings)
        changed = bool(laid.added or laid.filled) and not dry_run
        if changed:
            write_whole(weather, table.text)
    return WeatherBrought(found, laid, changed)


def read_logger(
    path: Path, columns: Columns, zone: ZoneInfo, now: datetime | None = None
) -> LoggerReadings:
    """Readings of a logger's CSV file.

    Separator, decimal comma and lines above the header are found out. Times may be ISO 8601,
    year/month/day or day.month.year; others need `Columns.form`. Of an hour that occurs twice in
    autumn the first is meant until the clock jumps back.

    Parameters
    ----------
    path : pathlib.Path
    columns : Columns
    zone : zoneinfo.ZoneInfo
        Of times without an offset.
    now : datetime, optional
        Readings of more than a day after it, that a wrong clock may allow for, are refused.

    Raises
    ------
    SettingsError
        If the file cannot be read, or no line of it names the columns; names the nearest.
    """
    text, encoding = _text(path)
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    header = find_header(path, text, columns.by_option)
    at = {name: header.cells.index(name) for name in columns.by_option.values()}
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=header.separator)
    rows = [
        (reader.line_num, row)
        for row in reader
        if reader.line_num > header.line and any(cell.strip() for cell in row)
    ]
    temps = [_cell(row, at[columns.temp]) for _, row in rows]
    comma = any("," in temp for temp in temps)  # between commas, it stood in quotation marks
    decimal = "comma" if comma else "point"
    found = LoggerReadings(header.line, SEPARATORS[header.separator], decimal, encoding)
    clock = LoggerClock(zone, columns.form)
    latest = now and now + timedelta(days=1)
    times = [_cell(row, at[columns.time]) for _, row in rows]
    for line, row in reversed(rows) if _newest_first(clock, times) else rows:
        cells = {name: _cell(row, place) for name, place in at.items()}
        _take(found, line, cells, columns, clock, comma, latest)
    found.readings.sort(key=lambda reading: reading.at)
    return found


def _take(
    found: LoggerReadings,
    line: int,
    cells: dict[str, str],
    columns: Columns,
    clock: LoggerClock,
    comma: bool,
    latest: datetime | None,
) -> None:
    found.rows += 1
    try:
        moment, has_offset = clock.instant(cells[columns.time])
        if latest and moment > latest:
            raise ValueError("has not come yet")
    except ValueError as error:
        found.refused.append(Refused(line, columns.time, cells[columns.time], str(error)))
        return
    values: dict[str, float | None] = {}
    for value, name in columns.by_value.items():
        text = cells[name]
        try:
            if text or value == "temp_c":
                values[value] = _number(text, value, comma, columns.fahrenheit)
        except ValueError as error:
            found.refused.append(Refused(line, name, text, str(error)))
    if "temp_c" in values:
        found.with_offset += has_offset
        found.readings.append(Reading(moment, *(values.get(name) for name in VALUES)))


def _number(text: str, value: str, comma: bool, fahrenheit: bool) -> float:
    if not text:
        raise ValueError("is empty")
    text = text.removesuffix("%").removesuffix("°C").removesuffix("°F").strip()
    text = text.replace(",", ".") if comma else text
    return number_in(text, value, fahrenheit and value == "temp_c")


def _newest_first(clock: LoggerClock, times: Sequence[str]) -> bool:
    """Whether rows run back in time; then they are read from the last."""
    known = []
    for time in (*times[:1], *times[-1:]):
        try:
            known.append(clock.parsed(time).replace(tzinfo=None))
        except ValueError:
            return False
    return len(known) == 2 and known[0] > known[1]


def _text(path: Path) -> tuple[str, str]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read ({error.strerror})") from error
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace"), "UTF-16"
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows-1252"


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""

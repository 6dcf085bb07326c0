"""Any logger's CSV file, understood by the names of its columns; rows in, readings out."""

import csv
import io
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from lapsekit.errors import SettingsError
from lapsekit.growth.weather import Reading
from lapsekit.locks import writing
from lapsekit.logger_columns import Columns
from lapsekit.logger_header import SEPARATORS, TIME, Header, find_header
from lapsekit.logger_times import LoggerClock, Writing, writing_of
from lapsekit.logger_units import TO_CELSIUS, split_cell, unit_in_name
from lapsekit.texts import write_whole
from lapsekit.weather import VALUES, Laid, lay, number_in, read_weather


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
    temp_unit : str
        In which temperatures are; what stands beside a figure goes before it.
    form : str
        How times are written, where the whole column had to settle it.
    """

    header_line: int
    separator: str
    decimal: str
    encoding: str
    temp_unit: str = "°C"
    form: str = ""
    readings: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    rows: int = 0
    with_offset: int = 0

    def extremes(self, value: str) -> tuple[float, float] | None:
        """The lowest and the highest of a value, in weather.csv's unit; None without any."""
        told = [each for each in (getattr(r, value) for r in self.readings) if each is not None]
        return (min(told), max(told)) if told else None


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

    Separator, decimal comma, lines above the header and the unit of temperatures are found out, and
    how times are written if all of them together can mean one thing only; others need
    `Columns.form`. Of an hour that occurs twice in autumn the first is meant until the clock jumps
    back.

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
        If the file cannot be read, no line of it names the columns (names the nearest), or no time
        in it can be understood.
    """
    text, encoding = _text(path)
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    header = find_header(path, text, columns.wanted)
    at = {name: header.cells.index(name) for _, name in columns.wanted}
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=header.separator)
    rows = [
        (reader.line_num, row)
        for row in reader
        if reader.line_num > header.line and any(cell.strip() for cell in row)
    ]
    cells = [(line, {name: _cell(row, place) for name, place in at.items()}) for line, row in rows]
    figure, sign = split_cell(cells[0][1][columns.temp]) if cells else ("", None)
    if sign and not figure:  # a line of units below the names
        cells = cells[1:]
    temps = [cell[columns.temp] for _, cell in cells]
    decimal = "comma" if any("," in temp for temp in temps) else "point"
    unit = columns.temp_unit or unit_in_name(columns.temp) or sign or "°C"
    found = LoggerReadings(header.line, SEPARATORS[header.separator], decimal, encoding, unit)
    times = [_time_of(cell, columns) for _, cell in cells]
    clock = _clock(path, columns, zone, times, header)
    found.form = " or ".join(clock.settled)
    latest = now and now + timedelta(days=1)
    for line, cell in reversed(cells) if _newest_first(clock, times) else cells:
        _take(found, line, cell, columns, clock, latest)
    found.readings.sort(key=lambda reading: reading.at)
    return found


def _clock(
    path: Path, columns: Columns, zone: ZoneInfo, times: Sequence[str], header: Header
) -> LoggerClock:
    """What reads these times; refused once where it could read none of them."""
    writing = Writing() if columns.form else writing_of(times)
    if writing.why_not:
        two = header.names_of("day")[:1] + header.names_of("clock")[:1]
        is_half = set(columns.time) < set(two)
        both = " ".join(f"{TIME} {shlex.quote(name)}" for name in two)
        ask = f"; name both columns: {both}" if is_half else ""
        raise SettingsError(f'{path}: times of "{columns.times_named}" {writing.why_not}{ask}')
    clock = LoggerClock(zone, columns.form, writing.forms)
    if times and columns.form and not any(map(clock.reads, times)):
        raise SettingsError(
            f'{path}: no time of "{columns.times_named}" fits --time-form {columns.form}, '
            f'not "{times[0]}" either'
        )
    return clock


def _time_of(cell: dict[str, str], columns: Columns) -> str:
    return " ".join(cell[name] for name in columns.time if cell[name])


def _take(
    found: LoggerReadings,
    line: int,
    cells: dict[str, str],
    columns: Columns,
    clock: LoggerClock,
    latest: datetime | None,
) -> None:
    found.rows += 1
    when = _time_of(cells, columns)
    try:
        moment, has_offset = clock.instant(when)
        if latest and moment > latest:
            raise ValueError("has not come yet")
    except ValueError as error:
        found.refused.append(Refused(line, columns.times_named, when, str(error)))
        return
    values: dict[str, float | None] = {}
    for value, name in columns.by_value.items():
        text = cells[name]
        try:
            if text or value == "temp_c":
                values[value] = _number(text, value, found)
        except ValueError as error:
            found.refused.append(Refused(line, name, text, str(error)))
    if "temp_c" in values:
        found.with_offset += has_offset
        found.readings.append(Reading(moment, *(values.get(name) for name in VALUES)))


def _number(text: str, value: str, found: LoggerReadings) -> float:
    if not text:
        raise ValueError("is empty")
    text = text.removesuffix("%").strip()
    figure, unit = split_cell(text) if value == "temp_c" else (text, None)
    # Between commas a decimal comma stood in quotation marks.
    figure = figure.replace(",", ".") if found.decimal == "comma" else figure
    scale = TO_CELSIUS[unit or found.temp_unit] if value == "temp_c" else float
    return number_in(figure.strip(), value, scale)


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
    if b"\0" in data:
        raise SettingsError(f"{path}: is no text; export the logger's readings as CSV")
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows-1252"


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""

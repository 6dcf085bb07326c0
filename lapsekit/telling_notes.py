"""What the commands say about diary and weather."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lapsekit.counted import counted

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from lapsekit.diary import Event
    from lapsekit.growth.weather import WeatherDay
    from lapsekit.logger_columns import Columns
    from lapsekit.logger_file import LoggerReadings, WeatherBrought
    from lapsekit.noting import Diary

_FEW = 20
_FEW_DAYS = 5
_FEW_ALIKE = 3


def noted(events: Sequence[Event]) -> list[str]:
    """After ``diary add``."""
    return [f"noted: {_event(event)}" for event in events]


def diary_told(found: Diary) -> list[str]:
    """After ``diary``: one line an event."""
    if not found.events:
        return ['no events yet; lapsekit diary add DATE "potted on" --region NAME writes one']
    return [_event(event) for event in found.events]


def diary_facts(found: Diary) -> dict[str, object]:
    """What ``diary --json`` prints."""
    return {"events": [event_facts(e) for e in found.events], "problems": found.problems}


def event_facts(event: Event) -> dict[str, object]:
    """One event, with the figures its note tells."""
    return {
        "date": event.day,
        "region": event.region or None,
        "event": event.what,
        "note": event.note,
        "bbch": event.bbch,
        "weight_g": event.weight_g,
        "height_cm": event.height_cm,
    }


def _event(event: Event) -> str:
    figures = ((event.weight_g, "g"), (event.height_cm, "cm"))
    counts = [f"; counts as {n:g} {unit}" for n, unit in figures if n is not None]
    note = f" ({event.note}{''.join(counts)})" if event.note else ""
    return f"{event.day}  {event.region or 'whole bench':16}  {event.what}{note}"


def weather_brought(
    brought: WeatherBrought, columns: Columns, zone: ZoneInfo, dry_run: bool
) -> list[str]:
    """After ``weather FILE``: what was understood, what became of it, what was refused."""
    found, laid = brought.found, brought.laid
    lines = [
        f"understood: columns between {found.separator}, named in line {found.header_line}; "
        f"decimal {found.decimal}; {found.encoding}",
        f"understood: time from {' and '.join(map(repr, columns.time))}, {_times(found, zone)}",
        *(f"understood: {_column(found, *each)}" for each in columns.by_value.items()),
    ]
    if found.readings:
        first, last = (r.at.astimezone(zone) for r in (found.readings[0], found.readings[-1]))
        lines.append(
            f"{counted(found.rows, 'row')}, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"
        )
    verb = "would add" if dry_run else "added"
    lines.append(f"{verb} {counted(laid.added, 'reading')}; {laid.there} were there already")
    if laid.filled:
        lines.append(f"{laid.filled} known moments get a value they lacked")
    if laid.kept:
        lines.append(f"{len(laid.kept)} differ from what weather.csv says, which stays as it is:")
        lines += few(
            [
                f"  {at:%Y-%m-%d %H:%M} UTC, {name}: {old:g} there, {new:g} in the file"
                for at, name, old, new in laid.kept
            ]
        )
    return lines


def weather_refused(file: object, brought: WeatherBrought) -> list[str]:
    """Cells that were refused, by file, line, column and value; all of them."""
    return [
        f'{file}: line {each.line}, {each.column} = "{each.value}" {each.why}'
        for each in brought.found.refused
    ]


def weather_refused_told(file: object, brought: WeatherBrought) -> list[str]:
    """The same for people: of cells of one column refused for one reason, the first three."""
    alike: dict[tuple[str, str], list[int]] = {}
    told = weather_refused(file, brought)
    for place, each in enumerate(brought.found.refused):
        alike.setdefault((each.column, each.why), []).append(place)
    lines = []
    for places in alike.values():
        lines += [told[place] for place in places[:_FEW_ALIKE]]
        if len(places) > _FEW_ALIKE:
            rest = len(places) - _FEW_ALIKE
            lines.append(f"  and {rest} more like that; --json lists them all")
    return few(lines)


def columns_facts(brought: WeatherBrought, columns: Columns) -> dict[str, object]:
    """For scripts: of each value its column, the column's unit, lowest and highest as stored."""
    facts: dict[str, object] = {}
    for value, name in columns.by_value.items():
        low, high = brought.found.extremes(value) or (None, None)
        unit = brought.found.temp_unit if value == "temp_c" else None
        facts[value] = {"column": name, "unit": unit, "lowest": low, "highest": high}
    return facts


def few(lines: Sequence[str]) -> list[str]:
    """The first of many lines, and how many more there are."""
    rest = len(lines) - _FEW
    return list(lines) if rest <= 0 else [*lines[:_FEW], f"and {rest} more; --json lists them all"]


def _times(found: LoggerReadings, zone: ZoneInfo) -> str:
    own, form = found.with_offset, f"read as {found.form}, " if found.form else ""
    if own and own == len(found.readings):
        return "each with its own offset"
    return f"{form}in {zone}" + (f", {own} with their own offset" if own else "")


def _column(found: LoggerReadings, value: str, name: str) -> str:
    """A column, its unit where that is not the stored one, and what it holds at most and least."""
    from lapsekit.weather import UNITS

    short = UNITS[value].partition(" (")[0]
    is_other = value == "temp_c" and found.temp_unit != short
    unit = f" in {found.temp_unit}, stored in {short}" if is_other else ""
    ends = found.extremes(value)
    held = f"{ends[0]:.4g} to {ends[1]:.4g} {short}" if ends else "no value"
    return f"{value} from {name!r}{unit}: {held}"


def weather_told(
    days: Sequence[WeatherDay],
    sums: Sequence[float | None],
    flags: Sequence[tuple[str, ...]],
    cautions: dict[str, str],
) -> list[str]:
    """After ``weather`` without a file: one line a day, then what its flags mean."""
    if not days:
        return ["no readings yet; lapsekit weather FILE --time COLUMN --temp COLUMN brings them in"]
    lines = [
        f"{'day':10}  {'lowest':>6} {'highest':>7} {'mean':>6}  {'°C·days':>7}  {'VPD kPa':>7}  "
        f"{'light mol':>9}"
    ]
    lines += [
        f"{d.day}  {_number(d.min_c):>6} {_number(d.max_c):>7} {_number(d.mean_c):>6}  "
        f"{_number(total):>7}  {_number(d.vpd_kpa, 2):>7}  {_number(d.light_mol):>9}  "
        f"{', '.join(told)}".rstrip()
        for d, total, told in zip(days, sums, flags, strict=True)
    ]
    seen = [flag for flag in cautions if any(flag in told for told in flags)]
    return lines + _left_open(days, sums) + [f"{flag}: {cautions[flag]}" for flag in seen]


def _left_open(days: Sequence[WeatherDay], sums: Sequence[float | None]) -> list[str]:
    """Why some days have no extremes and, from the first of them on, none has degree days."""
    from lapsekit.growth.weather import MAX_GAP

    bare = [day for day in days if day.min_c is None]
    if not bare:
        return []
    hours = MAX_GAP.total_seconds() / 3600
    told = [f"{day.day} ({counted(day.readings, 'reading')})" for day in bare[:_FEW_DAYS]]
    more = f" and {counted(len(bare) - _FEW_DAYS, 'day')} more" if len(bare) > _FEW_DAYS else ""
    first = next(day for day, total in zip(days, sums, strict=True) if total is None)
    return [
        f"no extremes: the temperatures leave more than {hours:g} hours open on "
        f"{', '.join(told)}{more}; a day needs one at least every {hours:g} hours, that is "
        f"{24 / hours:.0f} spread evenly",
        f"no degree days from {first.day} on: a sum over a gap would be too small",
    ]


def _number(value: float | None, places: int = 1) -> str:
    return "-" if value is None else f"{value:.{places}f}"

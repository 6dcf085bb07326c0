"""The grower's diary: what was done and seen, by day."""

import csv
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from lapsekit.errors import SettingsError
from lapsekit.season import DIARY_HEADER


@dataclass(frozen=True)
class Event:
    """One line of diary.csv; `region` is empty where the whole bench is meant."""

    day: date
    region: str
    what: str
    note: str


def read_diary(path: Path) -> tuple[list[Event], list[str]]:
    """Events of the diary, in order of day, and what is wrong with lines that were passed over.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with the columns date, region, event, note; it may be absent.

    Returns
    -------
    events : list of Event
    problems : list of str
        One sentence for each line whose date or event cannot be read.

    Raises
    ------
    SettingsError
        If the file is there and is not text.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return [], []
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read ({error}); save it as CSV in UTF-8") from error
    events, problems = [], []
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    reader = csv.DictReader(text.splitlines())
    if text.strip() and not {"date", "event"} <= set(reader.fieldnames or ()):
        return [], [
            f"{path}: passed over; its first line must be {DIARY_HEADER.strip()} (with commas)"
        ]
    for row in reader:
        event = _event(row)
        if event is None:
            problems.append(
                f"{path}: line {reader.line_num} is passed over; it needs a date like 2031-04-17 "
                "and an event"
            )
        else:
            events.append(event)
    return sorted(events, key=lambda e: e.day), problems


def _event(row: dict[str | None, str | None]) -> Event | None:
    day, region, what, note = (
        (row.get(name) or "").strip() for name in ("date", "region", "event", "note")
    )
    try:
        return Event(date.fromisoformat(day), region, what, note) if what else None
    except ValueError:
        return None

"""Lines added to the diary's text (pure): what stands in it stays, and nothing stands twice."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from lapsekit.diary import (
    COLUMNS,
    PICTURE,
    PICTURE_COLUMNS,
    Event,
    columns_of,
    parse_diary,
    whole_cells,
)
from lapsekit.errors import SettingsError
from lapsekit.rows import replaced, rows, with_rows
from lapsekit.season import DIARY_HEADER

_TWICE = "if it happened twice, tell the second by its note"


def with_event(path: Path, text: str, event: Event) -> str:
    """The text of a diary with one more line at its end; all else in it stays as it is.

    Parameters
    ----------
    path : pathlib.Path
        The diary, for messages.
    text : str
        Its content; "" for none.
    event : Event

    Returns
    -------
    str

    Raises
    ------
    SettingsError
        If the diary's columns have no place for the event, a quotation mark left open in it would
        swallow the line, or the event already stands there.
    """
    require_new(path, text, event)
    text = with_columns(text, event)
    found = rows(text)
    columns = columns_of(found[0])
    added = with_rows(text, [cells_of(path, event, columns)])
    if len(rows(added)) != len(found) + 1:
        raise SettingsError(
            f'{path}: a quotation mark (") in it is not closed, so that no line can be added; '
            "close it first"
        )
    return added


def with_events(path: Path, text: str, events: Iterable[Event]) -> str:
    """The text of a diary with lines at its end, as `with_event` adds each."""
    for event in events:
        text = with_event(path, text, event)
    return text


def not_there(path: Path, text: str, events: Sequence[Event]) -> tuple[list[Event], list[str]]:
    """Those of some events that the text of a diary does not hold yet, and a hint on the others.

    Parameters
    ----------
    path : pathlib.Path
        The diary, for messages.
    text : str
        Its content; "" for none.
    events : sequence of Event
        The same of several regions, or one.

    Returns
    -------
    new : list of Event
    hints : list of str
        Names the regions for which the event stands there, and their lines.

    Raises
    ------
    SettingsError
        If all of them stand there.
    """
    known = parse_diary(text, path)[0]
    lines = {e.region: next((k.line for k in known if _says(k, e)), 0) for e in events}
    new = [event for event in events if not lines[event.region]]
    there = ", ".join(f"{name} (line {line})" for name, line in lines.items() if line)
    if not new and len(events) > 1:
        first = events[0]
        raise SettingsError(
            f"{path}: {first.day}, {first.what}: already stands for {there}; {_TWICE}"
        )
    if not new:
        require_new(path, text, events[0])
    return new, [f"already in the diary, not written again: {there}; {_TWICE}"] if there else []


def require_new(path: Path, text: str, event: Event, but_line: int = 0) -> None:
    """Refuse an event that stands in the text of a diary already, in another line than `but_line`.

    One with photographs of its own is another.

    Raises
    ------
    SettingsError
        Names the file and the line.
    """
    there = [e for e in parse_diary(text, path)[0] if e.line != but_line and _says(e, event)]
    if there:
        raise SettingsError(
            f"{path}: {event.day}, {event.region or 'whole bench'}, {event.what}: already stands "
            f"in line {there[0].line}; {_TWICE}"
        )


def _says(known: Event, event: Event) -> bool:
    """Whether one line says all that another would."""
    same = (known.day, known.region, known.note) == (event.day, event.region, event.note)
    return (
        same
        and known.what.lower() == event.what.lower()
        and set(event.pictures) <= set(known.pictures)
    )


def with_columns(text: str, event: Event) -> str:
    """The text of a diary with a first line that has the columns for an event's photographs."""
    found = rows(text)
    if not found:
        wanted = [*COLUMNS, *(PICTURE_COLUMNS if event.pictures else ())]
        return with_rows(text, [wanted])
    columns = columns_of(found[0])
    missing = [name for name in PICTURE_COLUMNS if name not in columns]
    if not event.pictures or not missing:
        return text
    for row in reversed(found[1:]):  # a note's rest would stand in the new columns
        cells = whole_cells(row.cells, columns)
        text = text if cells == row.cells else replaced(text, row, cells)
    return replaced(text, found[0], [*found[0].cells, *missing])


def cells_of(
    path: Path, event: Event, columns: Sequence[str], before: Sequence[str] = ()
) -> list[str]:
    """An event as cells of a row; columns of the grower's own keep what stood there before.

    Raises
    ------
    SettingsError
        If a value of the event has no column.
    """
    was = [*before, *[""] * len(columns)]
    values = (event.day.isoformat(), event.region, event.what, event.note)
    fields = dict(zip(COLUMNS, values, strict=True))
    fields |= _picture_cells(event, dict(zip(columns, was, strict=False)))
    homeless = [n for n, v in fields.items() if v and n not in columns]
    if homeless:
        raise SettingsError(
            f"{path}: no column {', '.join(homeless)}; make its first line "
            f"{DIARY_HEADER.strip()} (with commas)"
        )
    cells = [fields.get(name, old) for name, old in zip(columns, was, strict=False)]
    return [*cells, *before[len(columns) :]]


def _picture_cells(event: Event, was: Mapping[str, str]) -> dict[str, str]:
    """Cells of an event's photographs; what is none of ours in a cell stays there."""
    own = [word for word in was.get("picture", "").split() if not PICTURE.fullmatch(word)]
    may_show = was.get("picture_on_site", "")
    if event.pictures or may_show.strip().lower() == "yes":
        may_show = "yes" if event.pictures and event.on_site else ""
    return dict(zip(PICTURE_COLUMNS, (" ".join([*event.pictures, *own]), may_show), strict=True))

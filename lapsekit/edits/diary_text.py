"""Lines of diary.csv added, changed, taken out (pure). What is new is checked by `noting`."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from lapsekit.diary import Event, columns_of, event_in, whole_cells
from lapsekit.diary_lines import cells_of, require_new, with_columns
from lapsekit.diary_lines import not_there as missing
from lapsekit.diary_lines import with_events as added
from lapsekit.errors import ChangedMeanwhile
from lapsekit.rows import Row, replaced, rows
from lapsekit.season import DIARY_FILE

_FILE = Path(DIARY_FILE)


def with_events(text: str, events: Iterable[Event]) -> str:
    """The diary with lines added at its end; raises `SettingsError` where it cannot."""
    return added(_FILE, text, events)


def not_there(text: str, events: Sequence[Event]) -> tuple[list[Event], list[str]]:
    """Those of some events that the diary does not hold yet; as `lapsekit.diary_lines` tells."""
    return missing(_FILE, text, events)


def with_changed_event(text: str, was: Event, now: Event) -> str:
    """The diary with one line changed; columns of the grower's own keep their cells.

    Parameters
    ----------
    text : str
    was : Event
        As `read_diary` gave it, with its line. If it stands in another line by now, that is found.
    now : Event
        Its own line does not matter.

    Raises
    ------
    ChangedMeanwhile
        If the event is not in the diary any more, or twice and in other lines.
    SettingsError
        If the diary has no column for a value, or another line says the same already.
    """
    if was == now:
        return text
    text = with_columns(text, now)
    row = _row_of(text, was)
    require_new(_FILE, text, now, row.line)
    columns = columns_of(rows(text)[0])
    cells = cells_of(_FILE, now, columns, whole_cells(row.cells, columns))
    return replaced(text, row, cells)


def without_event(text: str, was: Event) -> str:
    """The diary without one line; finds it and raises as `with_changed_event` does."""
    return replaced(text, _row_of(text, was), None)


def _row_of(text: str, was: Event) -> Row:
    header, *others = rows(text) or [None]
    columns = columns_of(header) if header else []
    same = [row for row in others if event_in(row, columns) == was]
    there = [row for row in same if row.line == was.line]
    if len(there or same) != 1:
        raise ChangedMeanwhile(
            f"{DIARY_FILE}: {was.day} {was.what} is not in line {was.line} any more; somebody "
            "changed the diary meanwhile: read it again"
        )
    return (there or same)[0]

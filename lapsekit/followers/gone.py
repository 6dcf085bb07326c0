"""followers/taken-down.csv: ids of what was deleted, with the day and why; nothing else of it.

Copies of the season and folders restored from them know by it what must not be there any more.
"""

import csv
import io
from collections.abc import Callable
from pathlib import Path

from lapsekit.followers.originals import erase_originals
from lapsekit.followers.records import (
    FOLDER,
    STATES,
    Record,
    erase,
    is_id,
    place_of,
    private_folder,
    read_record,
    writing,
)
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.when import local_day

TAKEN_DOWN = "taken-down.csv"
WAS_TAKEN_DOWN, TIME_WAS_UP = "taken down", "time was up"

_HEADER = "id,day,why\n"


def gone_ids(season_folder: Path) -> set[str]:
    """Ids of what was deleted in a season folder."""
    file = season_folder / FOLDER / TAKEN_DOWN
    text = file.read_text(errors="replace") if file.exists() else ""
    return {row[0] for row in csv.reader(io.StringIO(text)) if row and is_id(row[0])}


def forget(
    season: Season,
    record_id: str,
    why: str,
    require: Callable[[Record], None] | None = None,
) -> None:
    """Delete a picture with its record, and what of it lies in ``taken/`` of the grower's folder.

    What cannot be deleted there, `finish` tries again and tells.

    Parameters
    ----------
    season : Season
    record_id : str
    why : str
    require : callable or None
        Given the record as it is under the lock. What it raises goes to the caller, and nothing is
        deleted.

    Raises
    ------
    FollowerError
        If there is none of that id.
    """
    with writing(season):
        place_of(season, record_id)
        if require is not None:
            require(read_record(season, record_id))
        _note(season, record_id, why)  # first: what is cut off here, `finish` ends
        erase(season, record_id)
        erase_originals(season, {record_id})


def finish(season: Season) -> list[str]:
    """Delete what is on the list and still there; the caller holds the lock for texts.

    Returns
    -------
    list of str
        A sentence for each original of the grower's folder that cannot be deleted.
    """
    gone = gone_ids(season.folder)
    for record_id in gone:
        if any((season.folder / FOLDER / state / record_id).is_dir() for state in STATES):
            erase(season, record_id)
    return erase_originals(season, gone)


def _note(season: Season, record_id: str, why: str) -> None:
    file = season.folder / FOLDER / TAKEN_DOWN
    if record_id in gone_ids(season.folder):
        return
    private_folder(file.parent)
    text = file.read_text() if file.exists() else _HEADER
    day = local_day(season.clock(), season.zone)
    write_safely(file, f"{text}{record_id},{day},{why}\n".encode(), 0o600)

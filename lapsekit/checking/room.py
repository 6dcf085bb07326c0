"""For how many days the disk has room, and whether the season folder can be written."""

import shutil
from collections.abc import Iterator
from datetime import timedelta

from lapsekit.checking.finding import FINE, RECENT_DAYS, WATCH, WRONG, Finding, Look
from lapsekit.errors import CatalogueError
from lapsekit.frames.room import days_left
from lapsekit.season import Season

WATCH_DAYS, WRONG_DAYS = 60, 7
"""Days for which the disk still has room."""


def disk(look: Look) -> Iterator[Finding]:
    """Room on the disk."""
    yield from _disk(look.season)


def _disk(season: Season) -> Iterator[Finding]:
    """For how many days there is room, at the pace of the last days."""
    free = shutil.disk_usage(season.folder).free
    left = days_left(free, _pace(season))
    told = f"{free / 1e9:.1f} GB free"
    how = WRONG if free < 200e6 else FINE
    if left is not None:
        told += f", room for {min(left, 9999):.0f} days of frames"
        how = max(how, WRONG if left < WRONG_DAYS else WATCH if left < WATCH_DAYS else FINE,
                  key=(FINE, WATCH, WRONG).index)  # fmt: skip
    if how != FINE:
        told += "; copy frames elsewhere and make room"
    yield Finding("disk", how, told)
    if not season.is_writable:
        yield Finding("season folder", WRONG, f"{season.folder} cannot be written; check its owner")


def _pace(season: Season) -> float:
    """Bytes a day of late; 0, nobody can tell, where the catalogue cannot be read (a full disk)."""
    try:
        now = season.clock()
        since = now - timedelta(days=RECENT_DAYS)
        return season.catalogue.bytes_between(since, now) / RECENT_DAYS
    except CatalogueError:
        return 0.0

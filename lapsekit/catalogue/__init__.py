"""The SQLite catalogue of a season. All SQL lives here.

The catalogue is derived: ``lapsekit index --rebuild`` makes it again from the frame files, and
``lapsekit measure`` fills in what was measured. Every write is one transaction. Work that is
not done yet is work whose row is not there: storing measurements of a frame deletes the daily
values of its day in the same transaction, so an interruption never leaves an old value behind.
"""

from lapsekit.catalogue.daily import DailyValues
from lapsekit.catalogue.database import is_damaged
from lapsekit.catalogue.days import Days
from lapsekit.catalogue.folders import Folders
from lapsekit.catalogue.frames import Frames
from lapsekit.catalogue.judgings import Judgings
from lapsekit.catalogue.measurements import Measurements
from lapsekit.catalogue.rows import (
    NOT_JUDGED,
    NOT_WATCHED,
    Daily,
    Figured,
    Frame,
    FrameVerdict,
    Judging,
    Measurement,
    Placement,
    Screening,
    reaches_beyond,
)
from lapsekit.catalogue.standing_in import stand_in
from lapsekit.catalogue.thinned import Thinned
from lapsekit.catalogue.verdicts import Verdicts
from lapsekit.catalogue.work import Done, Work

__all__ = [
    "NOT_JUDGED",
    "NOT_WATCHED",
    "Catalogue",
    "Daily",
    "Done",
    "Figured",
    "Frame",
    "FrameVerdict",
    "Judging",
    "Measurement",
    "Placement",
    "Screening",
    "is_damaged",
    "reaches_beyond",
    "stand_in",
]


class Catalogue(
    Frames, Days, Folders, Thinned, Verdicts, Judgings, Measurements, Work, DailyValues
):
    """An open catalogue.

    Parameters
    ----------
    path : pathlib.Path
        The SQLite file; made if it does not exist.

    Raises
    ------
    CatalogueError
        If the file is damaged or was written by a newer lapsekit.
    """

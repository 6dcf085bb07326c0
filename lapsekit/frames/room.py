"""How long the disk still has room, and what may still be written when it has little."""

import shutil
from pathlib import Path

from lapsekit.errors import ArchiveError


def days_left(free_bytes: float, a_day_bytes: float, keep_free_bytes: float = 0.0) -> float | None:
    """For how many days there is room at the pace of late.

    Parameters
    ----------
    free_bytes : float
        Free on the disk.
    a_day_bytes : float
        What frames of late take up a day; 0 where none came.
    keep_free_bytes : float
        What is not to be used up.

    Returns
    -------
    float or None
        At least 0; None where nothing was written lately, so that nobody can tell.
    """
    if a_day_bytes <= 0:
        return None
    return max(0.0, free_bytes - keep_free_bytes) / a_day_bytes


def room_for(folder: Path, keep_free_mb: float, is_daily: bool) -> bool:
    """Whether a frame may be taken: a daily picture always, others while so much stays free.

    Parameters
    ----------
    folder : pathlib.Path
        On the disk in question.
    keep_free_mb : float
        Of 10⁶ bytes.
    is_daily : bool
        Whether it is to be the day's picture.
    """
    return is_daily or shutil.disk_usage(folder).free >= keep_free_mb * 1e6


def require_room(folder: Path, keep_free_mb: float, is_daily: bool) -> None:
    """Refuse a frame that `room_for` would not let be taken.

    Raises
    ------
    ArchiveError
        Says how much is free, and how to make room.
    """
    if not room_for(folder, keep_free_mb, is_daily):
        raise ArchiveError(
            f"{folder}: less than {keep_free_mb:g} MB free: only the daily picture is taken; copy "
            "frames elsewhere and make room (lapsekit thin, once [thinning] is set up), or lower "
            "capture.keep_free_mb in season.toml"
        )

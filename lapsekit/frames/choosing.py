"""Which of a day's frames is its daily picture."""

from collections.abc import Iterable
from datetime import datetime

from lapsekit.catalogue import Frame


def daily_picture(usable: Iterable[Frame], wanted_at: datetime) -> Frame | None:
    """The frame taken nearest to `wanted_at`; the earlier of two equally near.

    Parameters
    ----------
    usable : iterable of Frame
        One camera's usable frames of one day.
    wanted_at : datetime
        The instant of the fixed daily picture.

    Returns
    -------
    Frame or None
        None on a day without a usable frame.
    """
    return min(usable, key=lambda f: (abs(f.taken_at - wanted_at), f.taken_at), default=None)

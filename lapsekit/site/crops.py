"""Which crops of a region are shown, and how one is made. Pure."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

import cv2
import numpy as np

from lapsekit.site.turning import Size

EVERY = timedelta(days=7)
#: How far from its day a picture may be that stands for a week.
WITHIN_DAYS = 3
_AROUND = sorted(range(-WITHIN_DAYS, WITHIN_DAYS + 1), key=lambda off: (abs(off), off))
#: Longer side of a crop in px; small regions are not enlarged.
LONG_SIDE = 320
_BLANK = (128, 124, 116)


@dataclass(frozen=True)
class Moment:
    """One place in a region's row of crops.

    Attributes
    ----------
    day : date
        The day it stands for: a number of weeks after the region's first outline, or the latest.
    shown : date or None
        The day of its picture; None is a gap.
    """

    day: date
    shown: date | None


def moments(first: date, seen: Collection[date]) -> list[Moment]:
    """One moment a week, and the latest.

    Parameters
    ----------
    first : date
        Day of the region's first outline.
    seen : collection of date
        Days of which there is a picture.

    Returns
    -------
    list of Moment
        In order of day, from the first week that has a picture to the latest picture. A week has
        the picture nearest to its day, at most `WITHIN_DAYS` away, the earlier of two; else it is
        a gap.
    """
    usable = {day for day in seen if day >= first}
    if not usable:
        return []
    latest = max(usable)
    weeks = range((latest - first).days // EVERY.days + 1)
    wanted = [first + number * EVERY for number in weeks]
    found = [Moment(day, nearest(day, seen)) for day in wanted]
    while found and found[0].shown is None:
        del found[0]
    if not found or found[-1].shown != latest:
        found.append(Moment(latest, latest))
    return found


def nearest(day: date, usable: Collection[date]) -> date | None:
    """The nearest of the days at most `WITHIN_DAYS` from one, the earlier of two."""
    days = (day + timedelta(off) for off in _AROUND)
    return next((each for each in days if each in usable), None)


def reduction_for(turn: np.ndarray, size: Size) -> int:
    """How many times smaller a frame may be decoded for a crop: 1, 2, 4 or 8.

    Parameters
    ----------
    turn : ndarray of float, shape (3, 3)
        From px of the crop to px of the frame.
    size : (int, int)
        Width and height of the crop.
    """
    scale = _scale(turn, size)
    return next((by for by in (8, 4, 2) if scale >= by), 1)


def cut(frame: np.ndarray, turn: np.ndarray, size: Size, by: int = 1) -> np.ndarray:
    """A crop of a frame, each of its pixels the mean of what it covers.

    Parameters
    ----------
    frame : ndarray of uint8, shape (height, width, 3)
        Pixels of a frame, decoded `by` times smaller.
    turn : ndarray of float, shape (3, 3)
        From px of the crop to px of the frame at its own size.
    size : (int, int)
        Width and height of the crop.
    by : {1, 2, 4, 8}
        See `frame`.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Grey where the crop is out of the frame.
    """
    finer = max(1, min(4, round(_scale(turn, size) / by)))
    matrix = _smaller(by) @ turn @ _smaller(finer)
    large = cv2.warpPerspective(
        frame,
        matrix,
        (size[0] * finer, size[1] * finer),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=_BLANK,
    )
    return cv2.resize(large, size, interpolation=cv2.INTER_AREA)


def _smaller(by: int) -> np.ndarray:
    """From px of a picture to px of the same `by` times smaller: (3, 3)."""
    return np.array([[1 / by, 0, (1 - by) / (2 * by)], [0, 1 / by, (1 - by) / (2 * by)], [0, 0, 1]])


def _scale(turn: np.ndarray, size: Size) -> float:
    """How many px of the frame a px of the crop's middle is wide."""
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2, 1.0])
    here, right, below = (
        (placed := turn @ (middle + step))[:2] / placed[2]
        for step in ((0, 0, 0), (1, 0, 0), (0, 1, 0))
    )
    (ax, ay), (bx, by) = right - here, below - here
    return float(abs(ax * by - ay * bx) ** 0.5)

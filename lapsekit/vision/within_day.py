"""What happens to a plant within a day: movement, wilting, greenness, yellow and red leaves.

These stand beside the day's area and do not change it.

Movement and wilting
    Leaves of many species lift and sink by tens of degrees between noon and evening, and a plant
    short of water hangs its leaves at midday; either shows as a change of projected area within a
    day that growth cannot explain.
Greenness
    Green chromatic coordinate GCC = G / (R + G + B), over the canopy (Sonnentag et al. 2012,
    Agricultural and Forest Meteorology 152: 159, doi:10.1016/j.agrformet.2011.09.009); one third
    is grey. Taken from the numbers of the picture as they are, as there.
Yellowing and red shares
    Shares of the canopy whose CIELAB hue lies in a sector, beyond a least chroma: see `YELLOW`.
    Where a red leaf turns green it passes through olive, which counts as yellow, as do petals: the
    share says most in its change from day to day.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache

import cv2
import numpy as np

from lapsekit.vision.neighbours import Points, homes_of

YELLOW = (70.0, 105.0)
"""Hue angles in degrees, atan2(b*, a*), that count as yellow. The unique hues of CIELAB lie near
90 (yellow) and 162 degrees (green); green leaves lie between about 110 and 140, since chlorophyll
leaves both green and some red light; 105 is nearer to yellow than any of them."""

RED = (-60.0, 70.0)
"""Hue angles of red, purple and orange: from violet to where yellow begins. Anthocyanin leaves lie
between about 340 and 40 degrees."""

LEAST_CHROMA = 8.0
"""Below this chroma a leaf is grey (a glint, deep shade), and its hue is noise: 8-bit colour
subsampled by a JPEG is right to about 2 units, which turns the hue by 15 degrees there."""

MORNING_UNTIL, EVENING_FROM = 0.40, 0.60
"""Bounds of midday as shares of the day's light, 0 at sunrise and 1 at sunset."""


@dataclass(frozen=True)
class Colour:
    """Colour of one plant in one frame; all None where it has no canopy.

    Attributes
    ----------
    greenness : float or None
        Mean green chromatic coordinate over the canopy, 0 to 1.
    yellow_share, red_share : float or None
        Shares of the canopy that are yellow, and red or purple, 0 to 1.
    """

    greenness: float | None
    yellow_share: float | None
    red_share: float | None


@dataclass(frozen=True)
class Movement:
    """How a plant's projected area changes within a day.

    Attributes
    ----------
    range_share : float or None
        Largest less smallest area, as a share of the day's median; None with one frame.
    midday_change : float or None
        Median area at midday against the mean of the morning's and the evening's medians, as a
        share of the latter: below 0, leaves hang or fold at midday (wilting); above 0, they
        spread. None if one of the three has no frame: growth from morning to evening would
        otherwise pass for movement.
    """

    range_share: float | None
    midday_change: float | None


def colours(picture: np.ndarray, labels: np.ndarray, count: int) -> tuple[Colour, ...]:
    """Colour of every region's canopy in a frame.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, its light evened out if it can be.
    labels : (H, W) integer ndarray
        Number of the region from 1, 0 for none, in the same view.
    count : int
        Number of regions.

    Returns
    -------
    tuple of Colour
        One for each region.
    """
    rows, columns = np.nonzero(labels)
    number, pixels = labels[rows, columns], picture[rows, columns]
    sizes = np.bincount(number, minlength=count + 1)
    # A black pixel has no colour; it counts as grey
    total = pixels.sum(1, dtype=np.float64)
    green = np.where(total > 0, pixels[:, 1] / np.maximum(total, 1), 1 / 3)
    yellow, red = _hues(pixels)
    sums = [np.bincount(number, what, count + 1) for what in (green, yellow, red)]
    return tuple(
        Colour(*(float(s[n] / sizes[n]) for s in sums)) if sizes[n] else Colour(None, None, None)
        for n in range(1, count + 1)
    )


def colours_within(
    picture: np.ndarray,
    cover: np.ndarray,
    outlines: Sequence[Points | None],
    matrix: np.ndarray | None,
) -> tuple[Colour, ...]:
    """Colour of the canopy inside every outline, of which one pixel in four is looked at.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, as the frame shows it.
    cover : (H, W) uint8 ndarray
        Share of canopy in each pixel of the reference view, 0 to 255; whole pixels count.
    outlines : sequence of sequence of (x, y), or None
        In px of the reference view; None for the whole of it.
    matrix : (3, 3) ndarray or None
        From the reference view to the frame.
    """
    homes = homes_of(cover.shape, outlines)[::2, ::2]
    rows, columns = np.nonzero((cover[::2, ::2] == 255) & (homes > 0))
    numbers = homes[rows, columns]
    places = np.stack([2 * columns, 2 * rows], 1).astype(np.float64)
    if matrix is not None and len(places):
        places = cv2.perspectiveTransform(places[None], matrix)[0]
    x, y = np.rint(places).astype(np.intp).T
    seen = (x >= 0) & (y >= 0) & (x < picture.shape[1]) & (y < picture.shape[0])
    pixels = picture[y[seen], x[seen]]
    return colours(pixels[None], numbers[seen][None], len(outlines))


@cache
def _kinds() -> np.ndarray:
    """What a colour counts as by its a* and b*, each with 128 added: 1 yellow, 2 red, 0 neither."""
    a, b = np.mgrid[-128:128, -128:128]
    hue, coloured = np.degrees(np.arctan2(b, a)), np.hypot(a, b) >= LEAST_CHROMA
    kinds = np.zeros((256, 256), np.uint8)
    for kind, (first, end) in enumerate((YELLOW, RED), start=1):
        kinds[coloured & (hue >= first) & (hue < end)] = kind
    return kinds


def _hues(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which of (N, 3) pixels are yellow, and which are red."""
    if not len(pixels):
        return np.zeros(0, bool), np.zeros(0, bool)
    _, a, b = cv2.split(cv2.cvtColor(pixels[None], cv2.COLOR_RGB2LAB))
    kinds = _kinds()[a[0], b[0]]
    return kinds == 1, kinds == 2


def movement(
    moments: Sequence[datetime],
    areas: Sequence[float],
    sunrise: datetime,
    sunset: datetime,
) -> Movement:
    """Leaf movement and wilting of one plant on one day.

    Parameters
    ----------
    moments : sequence of datetime
        When the usable frames were taken.
    areas : sequence of float
        Canopy area in each, in any unit.
    sunrise, sunset : datetime
        Bounds of the day's light, or any two moments that stand for them.

    Returns
    -------
    Movement

    Raises
    ------
    ValueError
        If the sun sets before it rises.
    """
    if sunset <= sunrise:
        raise ValueError(f"sunset {sunset} is not after sunrise {sunrise}")
    found = np.asarray(areas, float)
    middle = float(np.median(found)) if found.size else 0.0
    if found.size < 2 or middle <= 0:
        return Movement(None, None)
    spread = float(np.ptp(found)) / middle
    when = np.array([(m - sunrise) / (sunset - sunrise) for m in moments])
    parts = (
        when < MORNING_UNTIL,
        (when >= MORNING_UNTIL) & (when < EVENING_FROM),
        when >= EVENING_FROM,
    )
    if not all(part.any() for part in parts):
        return Movement(spread, None)
    morning, midday, evening = (float(np.median(found[part])) for part in parts)
    ends = (morning + evening) / 2
    return Movement(spread, (midday - ends) / ends if ends > 0 else None)

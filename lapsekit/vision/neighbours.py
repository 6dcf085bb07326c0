"""Which plant a pixel of canopy belongs to: neighbours that meet are split by yesterday's plants.

Outlines are drawn when plants are small; grown leaves cross them and lie over each other. What a
leaf belongs to is then told by where it grew from. Yesterday's plants, as far as they are canopy
still, are the seeds; today's canopy is grown from them through canopy only, no farther than a
plant can grow (`reach_px`); canopy that no plant reaches stays with the outline it lies in. Where
two plants come near each other the border is not carried on but found again in the picture
(`lapsekit.vision.borders`), since a leaf that lies over another hides what was seen yesterday.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import find_objects
from skimage.segmentation import watershed

from lapsekit.vision.borders import Border, any_meet, find_borders
from lapsekit.vision.regions import Inside, Points, region_window

GAP_PX = 3
"""A thin leaf breaks into pieces where it is narrower than a pixel: pieces up to this far from a
plant hang together with it. It is the width of one sample of colour in a 4:2:0 JPEG, and one."""

GROWTH_PER_DAY = 0.25
"""Most that a plant's radius grows in a day, as a share. The fastest relative growth rates seen in
herbs are about 0.4 per day of mass (Grime & Hunt 1975, J. Ecology 63: 393); area keeps step with
it at most, and the radius with half of it: exp(0.4 / 2) - 1 = 0.22."""

SWAY = 0.25
"""How far leaves move against yesterday without growing, as a share of the radius: a leaf as long
as the radius that lifts or sinks by 40 degrees from the level shortens by 1 - cos 40° = 0.23."""

_CARDINAL = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
CROFTON = np.pi / 4
"""Length of an edge for each crossing of it along both pixel axes (Crofton), on average."""


@dataclass(frozen=True)
class Standing:
    """How one region's plant stands among the others.

    Attributes
    ----------
    canopy_px : int
        Pixels of canopy that belong to the region.
    touches : tuple of int
        Numbers of the regions whose canopy it touches, in order.
    contact_px : float
        Length of its border with them in px (Crofton's estimate from both pixel axes).
    reaches_outline : bool
        Whether its canopy lies on or beyond its own outline: it is crowded, or the outline is
        too small.
    beyond_px : int
        Pixels of its canopy outside its outline.
    doubtful_px : float
        Pixels that are expected to be given to the wrong one of two touching plants.
    """

    canopy_px: int
    touches: tuple[int, ...]
    contact_px: float
    reaches_outline: bool
    beyond_px: int
    doubtful_px: float


@dataclass(frozen=True, eq=False)
class Division:
    """Canopy divided among the regions.

    Attributes
    ----------
    labels : (H, W) uint16 ndarray
        Number of the region from 1 in the order of the outlines; 0 where there is no canopy, or
        canopy of no region.
    standings : tuple of Standing
        One for each region.
    """

    labels: np.ndarray
    standings: tuple[Standing, ...]


def reach_px(canopy_px: float, days: float = 1) -> float:
    """How far from yesterday's plant its canopy may lie, in px.

    Parameters
    ----------
    canopy_px : float
        Yesterday's canopy, whose equivalent radius sets the measure.
    days : float
        Days between; 0 for frames of the same day.

    Returns
    -------
    float
        At least `GAP_PX`.
    """
    radius = np.sqrt(canopy_px / np.pi)
    return GAP_PX + radius * (SWAY + (1 + GROWTH_PER_DAY) ** min(days, 7) - 1)


def divide(
    canopy: np.ndarray,
    outlines: Sequence[Points | None],
    before: np.ndarray | None = None,
    look: Callable[[], np.ndarray] | None = None,
    days: float = 1,
    moved: Collection[int] = (),
) -> Division:
    """Give every pixel of canopy to the plant it grew out of.

    Parameters
    ----------
    canopy : (H, W) bool ndarray
        Canopy, in the reference view.
    outlines : sequence of sequence of (x, y), or None
        Outline of each region valid today, in px of the reference view; None for the whole view.
        Where outlines overlap, the later one counts; a region that holds others inside it wants
        a division of its own.
    before : (H, W) integer ndarray, optional
        Division of an earlier day, or of this day for one of its frames. Without one the
        outlines alone are the plants' homes.
    look : callable, optional
        Gives the picture, (H, W, 3) uint8 RGB in the reference view, from which the border of
        plants that meet is found; asked only if any do. Without it, the border of yesterday is
        carried on.
    days : float
        Days since `before`; 0 if it is of this day.
    moved : collection of int
        Numbers of regions whose pot was moved since `before` (their outline has changed): they
        start from their outline again.

    Returns
    -------
    Division
    """
    insides, homes = _insides(canopy.shape, outlines), homes_of(canopy.shape, outlines)
    if _keeps_home(canopy, homes, before):
        labels = np.where(canopy, homes, np.uint16(0))
        return Division(labels, _standings(labels, insides, np.zeros(len(outlines) + 1)))
    carried = _carried(canopy, before, moved)
    fresh = set(moved) if before is not None else set(range(1, len(outlines) + 1))
    labels = _grown(canopy, _seeds(canopy, homes, carried, fresh))
    if before is not None:
        _hold_back(labels, homes, carried, fresh, days)
    _stay_home(labels, canopy, homes)
    doubt = np.zeros(len(outlines) + 1)
    if look is not None and any_meet(labels):
        widths = [reach_px(n, days) / 2 for n in np.bincount(labels.ravel(), minlength=doubt.size)]
        for border in find_borders(labels, carried, look(), widths):
            _redraw(labels, border, doubt)
    return Division(labels, _standings(labels, insides, doubt))


def homes_of(shape: tuple[int, int], outlines: Sequence[Points | None]) -> np.ndarray:
    """Number of the outline that a pixel lies in, the later one where they overlap; 0 outside.

    Parameters
    ----------
    shape : (height, width)
    outlines : sequence of sequence of (x, y), or None
        As for `divide`.

    Returns
    -------
    (H, W) uint16 ndarray
    """
    homes = np.zeros(shape, np.uint16)
    for number, (window, inside) in enumerate(_insides(shape, outlines), start=1):
        homes[window][inside] = number
    return homes


def _insides(shape: tuple[int, int], outlines: Sequence[Points | None]) -> list[Inside]:
    return [region_window(shape, points) for points in outlines]


def _carried(canopy: np.ndarray, before: np.ndarray | None, moved: Collection[int]) -> np.ndarray:
    """Yesterday's plants as far as they are canopy still, but those that were moved."""
    if before is None:
        return np.zeros(canopy.shape, np.uint16)
    carried = np.where(canopy, before, 0).astype(np.uint16)
    carried[np.isin(carried, list(moved))] = 0
    return carried


def _seeds(
    canopy: np.ndarray, homes: np.ndarray, carried: np.ndarray, fresh: Collection[int]
) -> np.ndarray:
    """Carried plants, and the largest piece of canopy in the home of each one that starts."""
    seeds = carried.copy()
    free = np.where(canopy & (carried == 0), homes, 0)
    for number in fresh:
        count, pieces, stats, _ = cv2.connectedComponentsWithStats(
            (free == number).view(np.uint8), connectivity=8
        )
        if count > 1:
            largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
            seeds[pieces == largest] = number
    return seeds


def _keeps_home(canopy: np.ndarray, homes: np.ndarray, before: np.ndarray | None) -> bool:
    """Whether no canopy joins across outlines, nor did: then nothing is to be divided.

    Grown through canopy and its gaps, plants that keep to their outlines fill these and no more.
    """
    if before is not None and ((before != homes) & (before > 0) & canopy).any():
        return False
    joined = _bridged(canopy)
    across = (np.s_[:, 1:], np.s_[1:], np.s_[1:, 1:], np.s_[1:, :-1])
    back = (np.s_[:, :-1], np.s_[:-1], np.s_[:-1, :-1], np.s_[:-1, 1:])
    return not any(
        (joined[one] & joined[other] & (homes[one] != homes[other])).any()
        for one, other in zip(across, back, strict=True)
    )


def _bridged(canopy: np.ndarray) -> np.ndarray:
    """Canopy with its gaps of up to `GAP_PX` closed."""
    kernel = np.ones((GAP_PX, GAP_PX), np.uint8)
    return cv2.morphologyEx(canopy.view(np.uint8), cv2.MORPH_CLOSE, kernel).astype(bool) | canopy


def _grown(canopy: np.ndarray, seeds: np.ndarray) -> np.ndarray:
    """Seeds grown through canopy, over gaps of `GAP_PX`, each pixel to the nearest one."""
    flat = np.zeros(canopy.shape, np.uint8)
    labels = watershed(flat, seeds.astype(np.int32), mask=_bridged(canopy), connectivity=2)
    labels[~canopy] = 0
    return labels.astype(np.uint16)


def _hold_back(
    labels: np.ndarray,
    homes: np.ndarray,
    carried: np.ndarray,
    fresh: Collection[int],
    days: float,
) -> None:
    """Take from each carried plant what lies outside its outline and beyond its reach."""
    for number, box in enumerate(find_objects(labels), start=1):
        if box is None or number in fresh:
            continue
        seed = carried[box] == number
        away = (labels[box] == number) & (homes[box] != number)
        if away.any():
            distance = cv2.distanceTransform((~seed).view(np.uint8), cv2.DIST_L2, 5)
            labels[box][away & (distance > reach_px(np.count_nonzero(seed), days))] = 0


def _stay_home(labels: np.ndarray, canopy: np.ndarray, homes: np.ndarray) -> None:
    """Canopy that no plant has reached stays with the outline it lies in."""
    stray = canopy & (labels == 0)
    labels[stray] = homes[stray]


def _redraw(labels: np.ndarray, border: Border, doubt: np.ndarray) -> None:
    labels[border.window][border.contested] = border.owners
    for number, share in zip(border.numbers, border.doubtful_px, strict=True):
        doubt[number] += share


def _standings(
    labels: np.ndarray, insides: Sequence[Inside], doubt: np.ndarray
) -> tuple[Standing, ...]:
    contacts = _contacts(labels, len(insides) + 1)
    sizes = np.bincount(labels.ravel(), minlength=len(insides) + 1)
    found = []
    for number, (window, inside) in enumerate(insides, start=1):
        # The outline's own pixels and the picture's border are no room to grow into
        room = cv2.erode(inside.astype(np.uint8), _CARDINAL, borderValue=0).astype(bool)
        own = labels[window] == number
        beyond = int(sizes[number] - np.count_nonzero(own & inside))
        reaches = beyond > 0 or bool((own & inside & ~room).any())
        touched = np.flatnonzero(contacts[number])
        found.append(
            Standing(
                int(sizes[number]),
                tuple(int(other) for other in touched),
                float(CROFTON * contacts[number].sum()),
                reaches,
                beyond,
                float(doubt[number]),
            )
        )
    return tuple(found)


def _contacts(labels: np.ndarray, count: int) -> np.ndarray:
    """How many pixel edges each two regions share: (count, count)."""
    shared = np.zeros((count, count), np.int64)
    for one, other in ((labels[:, 1:], labels[:, :-1]), (labels[1:], labels[:-1])):
        met = (one != other) & (one > 0) & (other > 0)
        np.add.at(shared, (one[met], other[met]), 1)
    return shared + shared.T

"""A day's frames together: what they agree on, whose canopy it is, and what each frame says of it.

All covers lie in the reference view. The day's *middle cover* is the median of the frames' at every
pixel: a shadow or a glint that one frame mistakes in one place is outvoted there. It is divided
among the plants once, and every frame is measured by that division: what lies in a plant's
*territory* counts for it, which is its canopy of the day, what its leaves can reach within a day,
and the rest of its outline. So frames of one day differ by what they see, never by how neighbours
were told apart.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np

from lapsekit.vision.cover import HALF
from lapsekit.vision.neighbours import CROFTON, Points, Standing, divide, homes_of, reach_px

HOLDS = 0.5
"""A region that holds so much of another's outline is a view over many plants, not a plant."""


@dataclass(frozen=True, eq=False)
class DayOfCanopy:
    """What a day's frames say of every region.

    Attributes
    ----------
    labels : (H, W) uint16 ndarray
        Number of the region, from 1 in the order of the outlines, that canopy belongs to; 0
        elsewhere, and for regions that hold others (`holders`).
    standings : tuple of Standing
        How each region's plant stands among the others.
    areas : (frames, regions) float64 ndarray
        Canopy of each region in each frame, in the unit of the weights.
    middle : (regions,) float64 ndarray
        The same of the day's middle cover.
    disputed : (regions,) float64 ndarray
        Mean difference between a frame's cover and the middle one.
    edges_px : (regions,) float64 ndarray
        Length of each plant's edge against what is no canopy.
    """

    labels: np.ndarray
    standings: tuple[Standing, ...]
    areas: np.ndarray
    middle: np.ndarray
    disputed: np.ndarray
    edges_px: np.ndarray


def middle_cover(covers: Sequence[np.ndarray]) -> np.ndarray:
    """Median of the frames' covers at every pixel, the mean of the two middle ones if even.

    Parameters
    ----------
    covers : sequence of (H, W) uint8 ndarray
        Share of canopy in each pixel, 0 to 255, one for each frame.

    Returns
    -------
    (H, W) uint8 ndarray

    Raises
    ------
    ValueError
        If there is no frame: such a day is a gap.
    """
    if not len(covers):
        raise ValueError("no frame, so nothing to agree on: such a day is a gap")
    found, most = covers[0].copy(), covers[0].copy()
    for cover in covers[1:]:
        np.minimum(found, cover, out=found)
        np.maximum(most, cover, out=most)
    differ = np.flatnonzero(found != most)
    if differ.size:
        told = np.sort(np.stack([cover.ravel()[differ] for cover in covers]), axis=0)
        low, high = told[(len(covers) - 1) // 2], told[len(covers) // 2]
        found.ravel()[differ] = (low.astype(np.uint16) + high + 1) // 2
    return found


def holders(shape: tuple[int, int], outlines: Sequence[Points | None]) -> frozenset[int]:
    """Numbers, from 0, of the outlines that hold another one: views over several plants.

    Parameters
    ----------
    shape : (height, width)
    outlines : sequence of sequence of (x, y), or None
        None for the whole view.
    """
    return _holders(shape, _fixed(outlines))


def _fixed(outlines: Sequence[Points | None]) -> tuple:
    """Outlines as a key of a cache."""
    return tuple(points and tuple(map(tuple, points)) for points in outlines)


@lru_cache(maxsize=32)
def _holders(shape: tuple[int, int], outlines: tuple) -> frozenset[int]:
    masks = [homes_of(shape, [points]) > 0 for points in outlines]
    sizes = [int(mask.sum()) for mask in masks]
    found = set()
    for one, mask in enumerate(masks):
        for other, inner in enumerate(masks):
            if sizes[one] > sizes[other] > 0 and (mask & inner).sum() >= HOLDS * sizes[other]:
                found.add(one)
    return frozenset(found)


@lru_cache(maxsize=8)
def _homes(shape: tuple[int, int], outlines: tuple, without: frozenset[int]) -> np.ndarray:
    """`homes_of` without some of the outlines, whose numbers stay free; not to be changed."""
    zone = np.zeros(shape, np.uint16)
    for number, points in enumerate(outlines):
        if number not in without:
            zone[homes_of(shape, [points]) > 0] = number + 1
    return zone


def work_out(
    covers: Sequence[np.ndarray],
    outlines: Sequence[Points | None],
    weights: np.ndarray | float = 1.0,
    before: np.ndarray | None = None,
    look: Callable[[], np.ndarray] | None = None,
    days: float = 1,
    moved: Collection[int] = (),
) -> DayOfCanopy:
    """Measure every region in a day's frames.

    Parameters
    ----------
    covers : sequence of (H, W) uint8 ndarray
        Share of canopy in each pixel of the reference view, 0 to 255, for each usable frame.
    outlines : sequence of sequence of (x, y), or None
        Outline of each region valid on the day, in px of the reference view; None for the whole.
    weights : (H, W) float ndarray or float
        What a whole pixel counts: cm² on the bench, or 1.
    before, look, days, moved
        As for `lapsekit.vision.neighbours.divide`; regions are counted from 1 in the order of
        `outlines`.

    Returns
    -------
    DayOfCanopy

    Raises
    ------
    ValueError
        If there is no frame.
    """
    middle = middle_cover(covers)
    shape, count = middle.shape, len(outlines)
    wide = holders(shape, outlines)
    plants = [number for number in range(count) if number not in wide]
    known = {number + 1: place for place, number in enumerate(plants, start=1)}
    division = divide(
        middle >= HALF,
        [outlines[number] for number in plants],
        None if before is None else _renumbered(before, known, count),
        look,
        days,
        [known[number] for number in moved if number in known],
    )
    numbers = np.array([0, *(number + 1 for number in plants)], np.uint16)
    labels = numbers[division.labels]
    kept = [(territories(labels, outlines, wide), plants)]
    kept += [(homes_of(shape, [outlines[number]]), [number]) for number in sorted(wide)]
    standings = [Standing(0, (), 0.0, False, 0, 0.0)] * count
    areas, middles = np.zeros((len(covers), count)), np.zeros(count)
    disputed = np.zeros(count)
    anywhere = np.maximum.reduce(covers) > 0 if len(covers) > 1 else middle > 0
    for zone, here in kept:
        tally = _Tally(np.where(anywhere, zone, 0), weights, here, count)
        middles += tally(middle)
        for row, cover in enumerate(covers):
            areas[row] += tally(cover)
            disputed += tally(cv2.absdiff(cover, middle)) / len(covers)
    for number, standing in zip(plants, division.standings, strict=True):
        touches = tuple(int(numbers[place]) for place in standing.touches)
        standings[number] = replace(standing, touches=touches)
    edges = edge_lengths(labels, count)
    return DayOfCanopy(labels, tuple(standings), areas, middles, disputed, edges)


def _renumbered(labels: np.ndarray, known: dict[int, int], count: int) -> np.ndarray:
    table = np.zeros(max(count, int(labels.max(initial=0))) + 1, np.uint16)
    for number, place in known.items():
        table[number] = place
    return table[labels]


def territories(
    labels: np.ndarray, outlines: Sequence[Points | None], without: Collection[int] = ()
) -> np.ndarray:
    """Which plant a pixel counts for, whether it is canopy or not.

    Parameters
    ----------
    labels : (H, W) uint16 ndarray
        The day's canopy by plant, from 1.
    outlines : sequence of sequence of (x, y), or None
    without : collection of int
        Numbers, from 0, of outlines that are no plant's.

    Returns
    -------
    (H, W) uint16 ndarray
        0 where no plant's leaves can be.
    """
    zone = _homes(labels.shape, _fixed(outlines), frozenset(without)).copy()
    if not labels.any():
        return zone
    away, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    there = labels > 0
    number_of = np.zeros(int(nearest.max()) + 1, np.uint16)
    number_of[nearest[there]] = labels[there]
    sizes = np.bincount(labels.ravel(), minlength=len(outlines) + 1)
    reach = np.array([reach_px(size, 0) for size in sizes], np.float32)
    whose = number_of[nearest]
    near = away <= reach[whose]
    zone[near] = whose[near]
    return zone


class _Tally:
    """Sums of covers by territory, over the pixels that lie in any."""

    def __init__(self, zone, weights, regions, count):
        self._places = np.flatnonzero(zone)
        self._numbers = zone.ravel()[self._places].astype(np.intp)
        if len(regions) == 1:
            self._numbers[:] = regions[0] + 1
        here = np.asarray(weights)
        here = here.ravel()[self._places] if here.ndim else np.full(len(self._places), here)
        self._weights, self._count = here / 255, count

    def __call__(self, cover: np.ndarray) -> np.ndarray:
        found = cover.ravel()[self._places] * self._weights
        return np.bincount(self._numbers, found, self._count + 1)[1:]


def edge_lengths(labels: np.ndarray, count: int) -> np.ndarray:
    """Length of each region's free edge, against what is no canopy: (count,) float64 in px.

    Crossings along both pixel axes times pi / 4, after Crofton: right on average for edges of all
    directions, within 11 % for any one.
    """
    crossings = np.zeros(count + 1, np.int64)
    padded = cv2.copyMakeBorder(labels.astype(np.uint16), 1, 1, 1, 1, cv2.BORDER_REPLICATE)
    for one, other in ((padded[:, 1:], padded[:, :-1]), (padded[1:], padded[:-1])):
        crossed = (one != other) & ((one == 0) | (other == 0))
        crossings += np.bincount(one[crossed] + other[crossed], minlength=count + 1)[: count + 1]
    return CROFTON * crossings[1:]

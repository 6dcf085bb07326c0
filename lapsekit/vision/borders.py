"""Where one plant ends and the next begins: the border of plants that meet, from the picture.

Around a meeting place a band of canopy is contested. Each of its pixels has a chance of belonging
to each of the plants near it, from two witnesses: where the plants were before, and which plant's
colours it has; the colours are learned from the plants' own undisputed leaves nearby, in the same
picture, so that light and cultivar need not be known (a rim has its leaf's: what it shows is half
ground, and half ground is like any darker leaf). Chances are then evened out within leaves and
not across their edges: the random walker with prior models of Grady 2005 (Proc. CVPR 1: 763,
doi:10.1109/CVPR.2005.239), a sparse linear system with one right-hand side a plant.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import convolve1d
from scipy.sparse import csr_matrix, diags
from scipy.sparse.linalg import splu

from lapsekit.vision.edges import window

_BINS = 10
_LEAST_SAMPLE_PX = 30
_BLOCK_PX = 8
_PRIOR_WEIGHT = 0.05
_FEWEST_LAB_UNITS = 2.0
_RIM_PX, _RIM_REACH_PX = 2, 4.3
"""A rim is as wide as a lens and a 4:2:0 JPEG spread an edge. Leaves that are all rim, and the ends
of pointed ones, keep the colours that they show."""


@dataclass(frozen=True, eq=False)
class Border:
    """A contested band, settled.

    Attributes
    ----------
    window : tuple of slice
        The part of the picture that the band lies in.
    contested : (h, w) bool ndarray
        The band within the window.
    owners : (N,) uint16 ndarray
        Number of the plant for each pixel of the band, row by row.
    numbers : tuple of int
        Plants that contest the band.
    doubtful_px : tuple of float
        For each of them, the pixels expected to be in the wrong hands.
    """

    window: tuple[slice, slice]
    contested: np.ndarray
    owners: np.ndarray
    numbers: tuple[int, ...]
    doubtful_px: tuple[float, ...]


def find_borders(
    labels: np.ndarray, carried: np.ndarray, picture: np.ndarray, widths_px: Sequence[float]
) -> Iterator[Border]:
    """Settle the band around each meeting place of two plants.

    Parameters
    ----------
    labels : (H, W) uint16 ndarray
        Canopy by plant, as it is grown from yesterday's; may be changed between two borders.
    carried : (H, W) uint16 ndarray
        Yesterday's plants where they are canopy still.
    picture : (H, W, 3) uint8 ndarray
        RGB.
    widths_px : sequence of float
        How far into a neighbour each plant may have grown unseen, by number, in px.

    Yields
    ------
    Border
    """
    for (one, other), places in sorted(_meetings(labels).items()):
        width = max(widths_px[one], widths_px[other])
        window = _shared_window(labels, one, other, width, _around(places, width))
        if window is None:  # an earlier border has moved them apart
            continue
        part = labels[window]
        contested = _contested(part, one, other, widths_px)
        if contested.any():
            plants = (one, other)
            chances = _chances(part, carried[window], picture[window], contested, plants)
            yield _settled(window, contested, chances, plants)


def any_meet(labels: np.ndarray) -> bool:
    """Whether canopy of two plants touches anywhere in (H, W) labels."""
    steps = ((labels[:, 1:], labels[:, :-1]), (labels[1:], labels[:-1]))
    return any(((one != other) & (one > 0) & (other > 0)).any() for one, other in steps)


def _meetings(labels: np.ndarray) -> dict[tuple[int, int], np.ndarray]:
    """Where each two plants touch: (N, 2) of row and column by their numbers, the lower first."""
    found: dict[tuple[int, int], list[np.ndarray]] = {}
    for one, other in ((labels[:, 1:], labels[:, :-1]), (labels[1:], labels[:-1])):
        met = np.flatnonzero((one != other) & (one > 0) & (other > 0))
        places = np.stack(np.unravel_index(met, one.shape), 1)
        low, high = np.minimum(one, other)[*places.T], np.maximum(one, other)[*places.T]
        for pair in set(zip(low.tolist(), high.tolist(), strict=True)):
            found.setdefault(pair, []).append(places[(low == pair[0]) & (high == pair[1])])
    return {pair: np.concatenate(places) for pair, places in found.items()}


def _around(places: np.ndarray, width: float) -> tuple[slice, slice]:
    """The box around places, four widths wide."""
    margin = int(np.ceil(4 * width)) + 2
    low, high = places.min(0), places.max(0)
    return tuple(slice(max(0, a - margin), b + margin + 1) for a, b in zip(low, high, strict=True))


def _shared_window(
    labels: np.ndarray, one: int, other: int, width: float, box: tuple[slice, slice]
) -> tuple[slice, slice] | None:
    """The box around the meeting of two plants, looked for in another; None if they do not meet."""
    part = labels[box]
    near = cv2.dilate((part == one).view(np.uint8), np.ones((3, 3), np.uint8)) > 0
    places = np.argwhere(near & (part == other))
    if not len(places):
        return None
    return _around(places + np.array([box[0].start, box[1].start]), width)


def _near(mask: np.ndarray, width: float) -> np.ndarray:
    """Pixels within `width` of a mask."""
    if not mask.any():
        return np.zeros(mask.shape, bool)
    return cv2.distanceTransform((~mask).view(np.uint8), cv2.DIST_L2, 5) <= width


def _contested(part: np.ndarray, one: int, other: int, widths_px: Sequence[float]) -> np.ndarray:
    first, second = part == one, part == other
    return (first & _near(second, widths_px[other])) | (second & _near(first, widths_px[one]))


def _chances(
    part: np.ndarray,
    carried: np.ndarray,
    picture: np.ndarray,
    contested: np.ndarray,
    plants: tuple[int, int],
) -> np.ndarray:
    """Chance that a contested pixel belongs to the first plant: (N,) in 0 to 1."""
    lab = _without_rims(_lab(picture), part > 0)
    odds = _odds_by_place(part, carried, contested, plants)
    odds = odds + _odds_by_colour(part, lab, contested, plants)
    return _evened_out(part, lab, contested, plants, 1 / (1 + np.exp(-odds)))


def _lab(picture: np.ndarray) -> np.ndarray:
    """CIELAB of a lightly smoothed picture: sensor noise and blocks are no colours of leaves."""
    smooth = cv2.GaussianBlur(picture, (0, 0), 1)
    return cv2.cvtColor(smooth.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _without_rims(lab: np.ndarray, canopy: np.ndarray) -> np.ndarray:
    """Colours of the canopy, those of a rim taken from inside the leaf: a rim is half ground."""
    inner = cv2.erode(canopy.view(np.uint8), window(_RIM_PX)) > 0
    away, nearest = cv2.distanceTransformWithLabels(
        (~inner).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    place_of = np.zeros(nearest.max() + 1, np.intp)
    place_of[nearest[inner]] = np.flatnonzero(inner)
    rim = canopy & ~inner & (away <= _RIM_REACH_PX)
    found = lab.copy()
    found[rim] = lab.reshape(-1, 3)[place_of[nearest[rim]]]
    return found


def _odds_by_place(
    part: np.ndarray, carried: np.ndarray, contested: np.ndarray, plants: tuple[int, int]
) -> np.ndarray:
    """Log odds that yesterday's shapes give: none on yesterday's border, firm far behind it."""
    inside = [
        cv2.distanceTransform((carried == plant).astype(np.uint8), cv2.DIST_L2, 5)
        for plant in plants
    ]
    scale = max(1.0, float(np.percentile((inside[0] + inside[1])[contested], 90)))
    return 2 * ((inside[0] - inside[1])[contested] / scale)


def _odds_by_colour(
    part: np.ndarray, lab: np.ndarray, contested: np.ndarray, plants: tuple[int, int]
) -> np.ndarray:
    """Log odds of the first plant by the colours of both plants' undisputed leaves.

    The colours count for as much as they tell the two plants' own leaves apart: learned on one
    half of the leaves (blocks of a chessboard), tried on the other.
    """
    known = [(part == plant) & ~contested for plant in plants]
    black = (np.add.outer(*(np.arange(n) // _BLOCK_PX for n in part.shape)) % 2).astype(bool)
    halves = [[lab[k & half] for k in known] for half in (black, ~black)]
    if min(len(sample) for half in halves for sample in half) < _LEAST_SAMPLE_PX:
        return np.zeros(np.count_nonzero(contested))
    told_apart = [
        np.mean((_colour_odds(*learned, sample) > 0) == first)
        for learned, tried in (halves, halves[::-1])
        for sample, first in zip(tried, (True, False), strict=True)
    ]
    weight = max(0.0, 2 * float(np.mean(told_apart)) - 1)
    return weight * _colour_odds(*(lab[k] for k in known), lab[contested])


def _colour_odds(one: np.ndarray, other: np.ndarray, colours: np.ndarray) -> np.ndarray:
    """Log odds that colours are of the first sample: two smoothed histograms, (N,)."""
    both = np.concatenate([one, other])
    low, high = both.min(0) - 1, both.max(0) + 1

    def cells(lab: np.ndarray) -> np.ndarray:
        return np.clip((lab - low) / (high - low) * _BINS, 0, _BINS - 1).astype(int)

    index = tuple(cells(colours).T)
    floor = 0.1 / _LEAST_SAMPLE_PX
    first, second = (_smooth_histogram(cells(sample))[index] + floor for sample in (one, other))
    return np.log(first / second)


def _smooth_histogram(cells: np.ndarray) -> np.ndarray:
    """Shares of the sample by cell, each cell blended with its neighbours."""
    counts = np.zeros((_BINS,) * 3)
    np.add.at(counts, tuple(cells.T), 1)
    for axis in range(3):
        counts = convolve1d(counts, [0.25, 0.5, 0.25], axis, mode="constant")
    return counts / len(cells)


def _evened_out(
    part: np.ndarray,
    lab: np.ndarray,
    contested: np.ndarray,
    plants: tuple[int, int],
    chance: np.ndarray,
) -> np.ndarray:
    """Solve the random walker: contested pixels free, undisputed neighbours held fixed."""
    free = np.full(part.shape, -1)
    free[contested] = np.arange(chance.size)
    held = np.isin(part, plants) & ~contested
    usable = contested | held
    value = (part == plants[0]).astype(float)
    diagonal = np.full(chance.size, _PRIOR_WEIGHT)
    right = _PRIOR_WEIGHT * chance
    rows, columns, weights = [], [], []
    softness = _softness(lab, usable)
    for step in ((slice(None), slice(1, None)), (slice(1, None), slice(None))):
        back = tuple(slice(None, -1) if s.start == 1 else s for s in step)
        linked = usable[step] & usable[back] & (contested[step] | contested[back])
        difference = np.square(lab[step] - lab[back]).sum(-1)[linked]
        weight = np.exp(-difference / softness) + 1e-4
        for a, b in ((step, back), (back, step)):
            mine, theirs = free[a][linked], free[b][linked]
            own = mine >= 0
            np.add.at(diagonal, mine[own], weight[own])
            inner, outer = own & (theirs >= 0), own & (theirs < 0)
            rows.append(mine[inner])
            columns.append(theirs[inner])
            weights.append(-weight[inner])
            np.add.at(right, mine[outer], (weight * value[b][linked])[outer])
    links = (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns)))
    matrix = csr_matrix(links, (chance.size,) * 2) + diags(diagonal)
    return np.clip(splu(matrix.tocsc()).solve(right), 0, 1)


def _softness(lab: np.ndarray, usable: np.ndarray) -> float:
    """Squared colour step that counts as an edge: four times the usual step within leaves."""
    steps = np.square(lab[:, 1:] - lab[:, :-1]).sum(-1)[usable[:, 1:] & usable[:, :-1]]
    return max(_FEWEST_LAB_UNITS**2, 4 * float(np.median(steps)))


def _settled(
    window: tuple[slice, slice],
    contested: np.ndarray,
    chances: np.ndarray,
    plants: tuple[int, int],
) -> Border:
    owners = np.where(chances >= 0.5, plants[0], plants[1]).astype(np.uint16)
    doubtful = float(np.minimum(chances, 1 - chances).sum())
    return Border(window, contested, owners, plants, (doubtful, doubtful))

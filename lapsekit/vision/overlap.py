"""How well canopy masks agree with drawn ones: overlap, area and cover over many pictures."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Counts:
    """Pixels of one picture: in both masks, in either, in the found one, in the true one, in all.

    `found` may hold parts of pixels where shares are summed.
    """

    both: int
    either: int
    found: float
    true: int
    size: int

    @property
    def true_cover(self) -> float:
        """Canopy share of the picture by the drawn mask, 0 to 1."""
        return self.true / self.size


@dataclass(frozen=True)
class Overlap:
    """Agreement over pictures.

    Attributes
    ----------
    pictures : int
    pooled_iou : float
        Pixels in both masks over pixels in either, of all pictures together (the Jaccard index).
    median_iou, median_dice : float
        Of single pictures; 1 where both masks are empty.
    area_bias : float
        Found over true area of all pictures together, less 1.
    cover_bias, cover_error : float
        Mean and mean absolute error of cover, 0 to 1.
    """

    pictures: int
    pooled_iou: float
    median_iou: float
    median_dice: float
    area_bias: float
    cover_bias: float
    cover_error: float


def counts(found: np.ndarray, true: np.ndarray) -> Counts:
    """Compare a found with a true mask, both (height, width) of bool."""
    both, either = np.count_nonzero(found & true), np.count_nonzero(found | true)
    return Counts(both, either, np.count_nonzero(found), np.count_nonzero(true), true.size)


def overlap(rows: Sequence[Counts]) -> Overlap | None:
    """Agreement over pictures; None without any, or without any true canopy."""
    if not rows or not any(row.true for row in rows):
        return None
    table = [(r.both, r.either, r.found, r.true, r.size) for r in rows]
    both, either, found, true, size = np.array(table, np.float64).T
    each = np.where(either > 0, both / np.maximum(either, 1), 1.0)
    return Overlap(
        pictures=len(rows),
        pooled_iou=round(float(both.sum() / either.sum()), 4),
        median_iou=round(float(np.median(each)), 4),
        median_dice=round(float(np.median(2 * each / (1 + each))), 4),
        area_bias=round(float(found.sum() / true.sum() - 1), 4),
        cover_bias=round(float(np.mean((found - true) / size)), 4),
        cover_error=round(float(np.mean(np.abs(found - true) / size)), 4),
    )

"""Plants that stand in a row in a long container."""

import cv2
import numpy as np

from lapsekit.vision.free_plants import LESSER

LONG = 1.8
"""From this ratio of its sides a container may hold plants in a row, each a region."""

ROW = 0.5
"""Plants of a row stand at least this share of the container's short side apart."""


def turned(points: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Points (n, 2) by an affine matrix (2, 3)."""
    return points @ turn[:, :2].T + turn[:, 2]


def middles_of_row(container, sights, turn, along: int, short: float) -> list[float]:
    """Where plants stand along a container, from the latest picture that shows most of them."""
    best: list[float] = []
    inside = container.mask(sights[-1].leaf.shape)
    for sight in reversed(sights):
        found = _gathered(sight.leaf & inside, turn, along, short)
        if len(found) > len(best):
            best = found
    return best


def _gathered(leaf: np.ndarray, turn, along: int, short: float) -> list[float]:
    """Middles of the plants of a row, seen at one time."""
    _, _, stats, middles = cv2.connectedComponentsWithStats(leaf.view(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA].astype(float)
    if not len(areas):
        return []
    at = turned(middles[1:], turn)[:, along]
    groups: list[tuple[float, float]] = []
    for place, area in sorted(zip(at, areas, strict=True)):
        if groups and place - groups[-1][0] < ROW * short:
            before, size = groups[-1]
            groups[-1] = (before * size + place * area) / (size + area), size + area
        else:
            groups.append((place, area))
    least = LESSER * max(size for _, size in groups)
    return [float(place) for place, size in groups if size >= least]

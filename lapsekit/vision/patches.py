"""Small patches of a picture that tell how far each of them has moved."""

from functools import cached_property

import cv2
import numpy as np

from lapsekit.vision.homographies import project

HALF_PX = 7
"""Patches are squares of 15 px: wide enough to be told from others, small beside a shadow."""


class Patches:
    """Patches of one picture, prepared once.

    Parameters
    ----------
    fine : ndarray of float32, shape (height, width)
        From `evened`.
    usable : ndarray of bool, shape (height, width)
        What does not grow.
    most : int
        How many patches to keep: the best of each cell of an even grid.
    """

    def __init__(self, fine: np.ndarray, usable: np.ndarray, most: int):
        self.shape = fine.shape
        slopes = [cv2.Scharr(fine, cv2.CV_32F, *along) for along in ((1, 0), (0, 1))]
        slopes = np.stack(slopes) / 32
        self.centres = _best_centres(slopes, usable, most)
        reach = np.arange(-HALF_PX, HALF_PX + 1, dtype=np.float32)
        offset = np.stack(np.meshgrid(reach, reach), -1).reshape(-1, 2)
        places = (self.centres[:, None] + offset).astype(np.float32)
        self._x, self._y = (np.ascontiguousarray(places[..., k]) for k in (0, 1))
        column, row = self._x.astype(int), self._y.astype(int)
        self.pattern, norm = _standardised(fine[row, column])
        slope = slopes[:, row, column] / norm
        self.slope = np.ascontiguousarray((slope - slope.mean(-1, keepdims=True)).swapaxes(0, 1))
        self.strength = np.einsum("nip,njp->nij", self.slope, self.slope).astype(float)
        self.echo = self.echo_of(self.pattern)

    def __len__(self):
        return len(self.centres)

    @cached_property
    def unsure(self) -> np.ndarray:
        """Inverse of each patch's strength (n, 2, 2); a direction without pattern is no news."""
        floor = 1e-3 * np.trace(self.strength, axis1=1, axis2=2) + 1e-9
        return np.linalg.inv(self.strength + floor[:, None, None] * np.eye(2))

    def echo_of(self, seen: np.ndarray) -> np.ndarray:
        """How far the slopes of patches seen (n, p) go along with the patches' own: (n, 2, 2)."""
        size = 2 * HALF_PX + 1
        down, across = np.gradient(seen.reshape(-1, size, size), axis=(1, 2))
        slopes = np.stack([across, down], 1).reshape(len(seen), 2, size * size)
        return np.matmul(self.slope, slopes.swapaxes(1, 2)).astype(float)

    def pulls(self, fine: np.ndarray, matrix: np.ndarray):
        """What is seen where `matrix` puts each patch, its pull (n, 2), likeness, and if inside."""
        x, y = self._x, self._y
        (a, b, c), (d, e, f), (g, h, i) = matrix.astype(np.float32)
        below = g * x + h * y + i
        at_x, at_y = (a * x + b * y + c) / below, (d * x + e * y + f) / below
        seen, _ = _standardised(cv2.remap(fine, at_x, at_y, cv2.INTER_LINEAR))
        height, width = fine.shape
        corners_x, corners_y = at_x[:, [0, -1]], at_y[:, [0, -1]]
        inside = (
            (corners_x.min(1) >= 0) & (corners_x.max(1) <= width - 1)
            & (corners_y.min(1) >= 0) & (corners_y.max(1) <= height - 1)
        )  # fmt: skip
        likeness = np.einsum("np,np->n", seen, self.pattern)
        pull = np.matmul(self.slope, (self.pattern - seen)[..., None])[..., 0]
        return seen, pull.astype(float), likeness.astype(float), inside

    def free_in(self, mask: np.ndarray, matrix: np.ndarray) -> np.ndarray:
        """Which patches' middles `matrix` puts on true pixels of another picture's mask."""
        height, width = mask.shape
        x, y = np.round(project(matrix, self.centres)).astype(int).T
        inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        return inside & mask[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]


def _standardised(patches):
    """Patches (n, p) with mean 0 and length 1, and their lengths (n, 1)."""
    patches = patches - patches.mean(1, keepdims=True)
    norm = np.sqrt(np.einsum("np,np->n", patches, patches))[:, None] + np.float32(1e-6)
    return patches / norm, norm


def _best_centres(slopes, usable, most):
    """The best patch of each cell of an even grid: most pattern in its poorer direction."""
    window = (2 * HALF_PX + 1, 2 * HALF_PX + 1)
    xx, xy, yy = (cv2.blur(slopes[i] * slopes[j], window) for i, j in ((0, 0), (0, 1), (1, 1)))
    poorer = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    whole = cv2.erode(usable.astype(np.uint8), np.ones(window, np.uint8), borderValue=0) > 0
    margin = HALF_PX + 3
    whole[:margin] = whole[-margin:] = whole[:, :margin] = whole[:, -margin:] = False
    score = np.where(whole, poorer, 0)
    height, width = score.shape
    cell = max(HALF_PX, int(np.sqrt(height * width / most)))
    rows, columns = height // cell, width // cell
    cells = score[: rows * cell, : columns * cell].reshape(rows, cell, columns, cell)
    cells = cells.swapaxes(1, 2).reshape(rows, columns, -1)
    best = cells.argmax(-1)
    y, x = np.mgrid[:rows, :columns] * cell
    found = cells.max(-1) > 0
    return np.stack([x + best % cell, y + best // cell], -1)[found].astype(float)

"""Exact visibility by a z-buffer at pixel centres (numpy only)."""

from __future__ import annotations

import numpy as np

_SIZES = (2, 3, 4, 6, 8, 12, 16, 24, 32, 64, 128, 256, 512, 1024, 4096)
_EDGE = -1e-6


class Buffer:
    """A picture of numbers with depth, filled triangle by triangle.

    Parameters
    ----------
    rows, columns : int
    """

    def __init__(self, rows: int, columns: int):
        self.shape = (rows, columns)
        self.nearness = np.full(rows * columns, -np.inf)
        self.labels = np.zeros(rows * columns, np.uint8)

    def fill(self, points, nearness, triangles, label: int):
        """Draw triangles where they are nearer than what is there.

        Parameters
        ----------
        points : ndarray, shape (n, 2)
            Pixels, x right and y down; a pixel's centre lies at .5.
        nearness : ndarray, shape (n,)
            Grows towards the eye and is linear over the picture (1/depth, or height).
        triangles : ndarray of int, shape (m, 3)
        label : int
        """
        for pixel, near in _fragments(points, nearness, triangles, self.shape):
            ahead = near > self.nearness[pixel]
            pixel, near = pixel[ahead], near[ahead]
            np.maximum.at(self.nearness, pixel, near)
            self.labels[pixel] = label


def _fragments(points, nearness, triangles, shape):
    """Yield pixel numbers and nearness of every triangle's covered pixel centres, in chunks."""
    rows, columns = shape
    a, b, c = (points[triangles[:, k]] for k in range(3))
    det = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    least, most = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    low = np.maximum(np.ceil(least - 0.5).astype(np.int32), 0)
    high = np.minimum(np.floor(most - 0.5).astype(np.int32), np.int32([columns - 1, rows - 1]))
    span = high - low + 1
    size = span.max(1)
    use = (span > 0).all(1) & (np.abs(det) > 1e-12)
    safe = np.where(use, det, 1.0)
    to_one = (np.stack([c[:, 1] - a[:, 1], a[:, 0] - c[:, 0]], -1) / safe[:, None]).astype(
        np.float32
    )
    to_two = (np.stack([a[:, 1] - b[:, 1], b[:, 0] - a[:, 0]], -1) / safe[:, None]).astype(
        np.float32
    )
    before = 0
    for side in _SIZES:
        chosen = np.nonzero(use & (size > before) & (size <= side))[0]
        before = side
        if not len(chosen):
            continue
        step = max(1, 2_000_000 // side**2)
        dy, dx = (g.ravel() for g in np.mgrid[0:side, 0:side].astype(np.int32))
        for start in range(0, len(chosen), step):
            k = chosen[start : start + step]
            x, y = low[k, 0, None] + dx, low[k, 1, None] + dy
            px, py = ((g + 0.5 - a[k, i, None]).astype(np.float32) for i, g in enumerate((x, y)))
            one = px * to_one[k, 0, None] + py * to_one[k, 1, None]
            two = px * to_two[k, 0, None] + py * to_two[k, 1, None]
            inside = (one >= _EDGE) & (two >= _EDGE) & (one + two <= 1 - _EDGE)
            inside &= (x <= high[k, 0, None]) & (y <= high[k, 1, None])
            n, at = np.nonzero(inside)
            first, second = one[n, at].astype(float), two[n, at].astype(float)
            which = triangles[k[n]]
            near = nearness[which[:, 0]] * (1 - first - second)
            near = near + nearness[which[:, 1]] * first + nearness[which[:, 2]] * second
            yield y[n, at] * columns + x[n, at], near


def triangles_of(faces: np.ndarray) -> np.ndarray:
    """Quads (m, 4) split into triangles as Cycles splits them; triangles pass through."""
    if faces.shape[1] == 3:
        return faces
    return np.concatenate([faces[:, [0, 1, 2]], faces[:, [0, 2, 3]]])

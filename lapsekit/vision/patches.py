"""Many small patches of a picture, each asked how far it moved, and one movement that they share.

Shadows move over a bench and the sun models every crumb of soil, so that what stands still seems
to move. Both are kept small here: brightness is compared as its logarithm, evened out within a
few pixels (what is left is the material's own fine pattern, which light can hardly move), and the
patches vote robustly: each counts by how much its pattern says in each direction and how well it
was found again, and those that moved otherwise lose their vote.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from lapsekit.vision.homographies import corners_of, normal_form, project
from lapsekit.vision.robust import TUKEY_SIGMAS

HALF_PX = 7
"""Patches are squares of 15 px: wide enough to be told from others, small beside a shadow."""

_NOISE = 8.0
_EVENED_WITHIN_PX = 7
_FLAT = 0.02
_FOUND_AGAIN = 0.3
_LOG = np.log(np.arange(256) + _NOISE).astype(np.float32)
_FIRST_VOTES, _LATER_VOTES = 5, 2
_SETTLED_PX = 0.005
_MEDIAN_OF_CHI2 = 1.386
"""Median of a chi-squared variable of two degrees of freedom."""


def log_luma(luma: np.ndarray) -> np.ndarray:
    """Logarithm of an 8-bit picture; 8 levels are added, so that the noise of the dark is small."""
    return cv2.LUT(luma, _LOG)


def evened(log_picture: np.ndarray) -> np.ndarray:
    """The picture's fine pattern: local mean 0, local contrast 1, within 7 px.

    Parameters
    ----------
    log_picture : ndarray of float32, shape (height, width)
        From `log_luma`.

    Returns
    -------
    ndarray of float32, shape (height, width)
        What is flatter than 2 % of contrast stays flat.
    """
    smooth = cv2.GaussianBlur(log_picture, (5, 5), 0.7)
    window = (_EVENED_WITHIN_PX, _EVENED_WITHIN_PX)
    off = smooth - cv2.blur(smooth, window)
    contrast = cv2.sqrt(cv2.blur(cv2.multiply(off, off), window))
    return cv2.divide(off, contrast + np.float32(_FLAT))


@dataclass(frozen=True)
class Vote:
    """What the patches say of a movement.

    Attributes
    ----------
    matrix : ndarray of float64, shape (3, 3)
        Homography from the patches' picture to the other.
    numbers : int
        How many numbers it has beyond its start.
    agree, looked_at : int
        Patches that moved with it, and those that could be compared.
    share : float
        How much of the compared patches' pattern is found again by the agreeing ones, about 0 to
        1, in the direction in which it is least: boards all agree across their grain, however far
        they slid along it.
    residual_px : float
        Typical distance, along what its pattern shows, of an agreeing patch from its place.
    error_px : float
        Standard error that this leaves of the movement, at the worst corner of the picture.
    misfit : float
        Sum of squares of what the patches leave over, outliers cut off, in units of their own
        noise.
    noise : float
        That noise: robust, one for all patches.
    """

    matrix: np.ndarray
    numbers: int
    agree: int
    looked_at: int
    share: float
    residual_px: float
    error_px: float
    misfit: float
    noise: float


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
        slopes = np.stack([cv2.Scharr(fine, cv2.CV_32F, 1, 0), cv2.Scharr(fine, cv2.CV_32F, 0, 1)])
        self.centres = _best_centres(slopes / 32, usable, most)
        reach = np.arange(-HALF_PX, HALF_PX + 1, dtype=np.float32)
        offset = np.stack(np.meshgrid(reach, reach), -1).reshape(-1, 2)
        self.places = (self.centres[:, None] + offset).astype(np.float32)
        column, row = self.places[..., 0].astype(int), self.places[..., 1].astype(int)
        self.pattern, norm = _standardised(fine[row, column])
        slope = slopes[:, row, column] / 32 / norm
        self.slope = np.ascontiguousarray((slope - slope.mean(-1, keepdims=True)).swapaxes(0, 1))
        self.strength = np.einsum("nip,njp->nij", self.slope, self.slope).astype(float)
        self.echo = self._echo_of(self.pattern)

    def __len__(self):
        return len(self.centres)

    @cached_property
    def unsure(self) -> np.ndarray:
        """Inverse of each patch's strength (n, 2, 2); a direction without pattern is no news."""
        floor = 1e-3 * np.trace(self.strength, axis1=1, axis2=2) + 1e-9
        return np.linalg.inv(self.strength + floor[:, None, None] * np.eye(2))

    @cached_property
    def levers(self) -> np.ndarray:
        """How each patch moves with the eight numbers of `_moved`: (n, 2, 8)."""
        return _levers(self.centres, self.shape)

    def _echo_of(self, seen: np.ndarray) -> np.ndarray:
        """How far the slopes of patches seen (n, p) go along with the patches' own: (n, 2, 2)."""
        size = 2 * HALF_PX + 1
        down, across = np.gradient(seen.reshape(-1, size, size), axis=(1, 2))
        slopes = np.stack([across, down], 1).reshape(len(seen), 2, size * size)
        return np.matmul(self.slope, slopes.swapaxes(1, 2)).astype(float)

    def pulls(self, fine: np.ndarray, matrix: np.ndarray):
        """What is seen where `matrix` puts each patch, its pull (n, 2), likeness, and if inside."""
        x, y = self.places[..., 0], self.places[..., 1]
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

    def agree_on(
        self, fine: np.ndarray, start: np.ndarray, numbers: int, rounds: int, free=None
    ) -> Vote | None:
        """The movement that most patches share, near `start`.

        Gauss-Newton on all patches at once with Tukey weights, from the side of the prepared
        picture (inverse compositional: Baker & Matthews 2004, IJCV 56: 221-255).

        Parameters
        ----------
        fine : ndarray of float32
            The other picture, from `evened`.
        start : ndarray, shape (3, 3)
            First guess, good to two or three pixels.
        numbers : {2, 4, 6, 8}
            Parameters of the movement on top of `start`: a shift; with turn and zoom; with the
            perspective of a turned camera; any homography.
        rounds : int
        free : ndarray of bool, shape of `fine`, optional
            What of the other picture may be used.

        Returns
        -------
        Vote or None
            None when fewer than two patches for each number are found again.
        """
        matrix, weights = np.asarray(start, float), None
        levers = self.levers[:, :, :numbers]
        pushed = self.strength @ levers
        normal = np.einsum("nik,nil->nkl", levers, pushed).reshape(len(self), -1)
        for _ in range(rounds):
            seen, pull, likeness, compared = self.pulls(fine, matrix)
            if free is not None:
                compared &= _lies_in(free, project(matrix, self.centres))
            found = compared & (likeness > _FOUND_AGAIN)
            if np.count_nonzero(found) < 2 * numbers:
                return None
            # What a patch does not explain of its pattern is its noise.
            trust = found / np.maximum(1 - likeness**2, 0.02)
            if weights is not None and np.count_nonzero(weights[found]) < 2 * numbers:
                weights = None
            step, weights, off, noise = _voted(
                pull, trust, levers, pushed, normal, self.unsure, weights
            )
            matrix = _moved(matrix, step, self.shape)
            if np.abs(step).max() < _SETTLED_PX:
                break
        strength = (weights @ normal).reshape(numbers, numbers) / noise
        corners = _levers(corners_of(self.shape), self.shape)[:, :, :numbers]
        spread = np.einsum("nik,kl,nil->n", corners, np.linalg.pinv(strength), corners)
        agree = weights > 0
        moved = np.einsum("nij,nj->ni", self.unsure, off)[agree]
        cut = np.minimum(_chi2(off, self.unsure, trust)[found] / noise, TUKEY_SIGMAS**2)
        return Vote(
            matrix,
            numbers=numbers,
            agree=int(agree.sum()),
            looked_at=int(compared.sum()),
            share=_least_share(self._echo_of(seen)[agree].sum(0), self.echo[compared].sum(0)),
            residual_px=float(np.sqrt(np.median((moved**2).sum(1)) / _MEDIAN_OF_CHI2)),
            error_px=float(np.sqrt(spread.max())),
            misfit=float(cut.sum()),
            noise=float(noise),
        )


def _voted(pull, trust, levers, pushed, normal, unsure, weights):
    """One robust Gauss-Newton step: numbers, weights, what is left of the pulls, noise.

    Starts from the weights of the step before, if there was one.
    """
    numbers = levers.shape[2]
    votes = _FIRST_VOTES if weights is None else _LATER_VOTES
    weights = trust if weights is None else weights * (trust > 0)
    flat, rows = levers.reshape(-1, numbers), pushed.reshape(-1, numbers)
    for _ in range(votes):
        left = (weights[:, None] * pull).ravel() @ flat
        strength = (weights @ normal).reshape(numbers, numbers)
        strength.flat[:: numbers + 1] *= 1 + 1e-9
        step = np.linalg.solve(strength, left)
        off = pull - (rows @ step).reshape(-1, 2)
        misfit = _chi2(off, unsure, trust)
        noise = np.median(misfit[trust > 0]) / _MEDIAN_OF_CHI2 + 1e-12
        weights = trust * (1 - np.minimum(misfit / (noise * TUKEY_SIGMAS**2), 1)) ** 2
    return step, weights, off, noise


def _chi2(off, unsure, trust):
    x, y = off[:, 0], off[:, 1]
    across, both, down = unsure[:, 0, 0], unsure[:, 0, 1], unsure[:, 1, 1]
    return trust * (across * x * x + 2 * both * x * y + down * y * y)


def _least_share(part, whole):
    """Least eigenvalue of `part` against `whole`, (2, 2) each, of their symmetric halves."""
    values, vectors = np.linalg.eigh(whole + whole.T)
    halves = vectors / np.sqrt(np.maximum(values, 1e-12))
    return float(np.linalg.eigvalsh(halves.T @ (part + part.T) @ halves)[0])


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


def _levers(points, shape):
    """Moves of points (n, 2), in px, with shift, zoom and turn, perspective, stretch and shear."""
    x, y = (project(normal_form(shape), points)).T
    one, none = np.ones_like(x), np.zeros_like(x)
    across = (one, none, x, -y, x * x, x * y, x, y)
    down = (none, one, y, x, x * y, y * y, -y, x)
    return np.stack([np.stack(across, -1), np.stack(down, -1)], 1)


def _moved(matrix, step, shape):
    """`matrix` after the small movement of those numbers (px at the picture's sides)."""
    a = np.zeros(8)
    a[: len(step)] = step / (shape[1] / 2)
    small = np.array([[a[2] + a[6], a[7] - a[3], a[0]], [a[3] + a[7], a[2] - a[6], a[1]],
                      [-a[4], -a[5], 0]])  # fmt: skip
    form = normal_form(shape)
    moved = matrix @ np.linalg.inv(form) @ (np.eye(3) + small) @ form
    return moved / moved[2, 2]


def _lies_in(mask, points):
    """Whether points, rounded, lie on true pixels of a mask."""
    height, width = mask.shape
    x, y = np.round(points).astype(int).T
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    return inside & mask[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]

"""One movement on which most of a picture's patches agree.

Shadows move over a bench and the sun models every crumb of soil, so that what stands still seems
to move. The patches vote: each counts by how much its pattern says in each direction and by how
well it was found again, and those that moved otherwise lose their vote.
"""

from dataclasses import dataclass

import numpy as np

from lapsekit.vision.homographies import corners_of, normal_form, project
from lapsekit.vision.patches import Patches
from lapsekit.vision.robust import TUKEY_SIGMAS

_FOUND_AGAIN = 0.3
_FIRST_VOTES, _LATER_VOTES = 5, 2
_SETTLED_PX = 0.005
_MEDIAN_OF_CHI2 = 1.386
"""Median of a chi-squared variable of two degrees of freedom."""


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


def agree(
    patches: Patches,
    fine: np.ndarray,
    start: np.ndarray,
    numbers: int,
    rounds: int,
    free: np.ndarray | None = None,
) -> Vote | None:
    """The movement that most patches share, near `start`.

    Gauss-Newton on all patches at once with Tukey weights, from the side of the prepared
    picture (inverse compositional: Baker & Matthews 2004, IJCV 56: 221-255).

    Parameters
    ----------
    patches : Patches
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
    ballot, matrix, weights = _Ballot(patches, numbers), np.asarray(start, float), None
    for _ in range(rounds):
        seen, pull, likeness, compared = patches.pulls(fine, matrix)
        if free is not None:
            compared &= patches.free_in(free, matrix)
        found = compared & (likeness > _FOUND_AGAIN)
        if np.count_nonzero(found) < 2 * numbers:
            return None
        # What a patch does not explain of its pattern is its noise.
        trust = found / np.maximum(1 - likeness**2, 0.02)
        if weights is not None and np.count_nonzero(weights[found]) < 2 * numbers:
            weights = None
        step, weights, off, noise = ballot.count(pull, trust, weights)
        matrix = _moved(matrix, step, patches.shape)
        if np.abs(step).max() < _SETTLED_PX:
            break
    return ballot.told(matrix, seen, compared, trust, weights, off, noise)


class _Ballot:
    """How patches vote on a movement of so many numbers."""

    def __init__(self, patches: Patches, numbers: int):
        self.patches, self.numbers = patches, numbers
        levers = _levers(patches.centres, patches.shape)[:, :, :numbers]
        pushed = patches.strength @ levers
        self.normal = np.einsum("nik,nil->nkl", levers, pushed).reshape(len(patches), -1)
        self.levers, self.pushed = levers.reshape(-1, numbers), pushed.reshape(-1, numbers)

    def count(self, pull, trust, weights):
        """One robust Gauss-Newton step: numbers, weights, what is left of the pulls, noise.

        Starts from the weights of the step before, if there was one.
        """
        votes = _FIRST_VOTES if weights is None else _LATER_VOTES
        weights = trust if weights is None else weights * (trust > 0)
        for _ in range(votes):
            left = (weights[:, None] * pull).ravel() @ self.levers
            strength = self.strength(weights)
            strength.flat[:: self.numbers + 1] *= 1 + 1e-9
            step = np.linalg.solve(strength, left)
            off = pull - (self.pushed @ step).reshape(-1, 2)
            misfit = self.misfit(off, trust)
            noise = np.median(misfit[trust > 0]) / _MEDIAN_OF_CHI2 + 1e-12
            weights = trust * (1 - np.minimum(misfit / (noise * TUKEY_SIGMAS**2), 1)) ** 2
        return step, weights, off, noise

    def strength(self, weights):
        return (weights @ self.normal).reshape(self.numbers, self.numbers)

    def misfit(self, off, trust):
        """Squares of what is left of the pulls, in units of each patch's own strength."""
        unsure, (x, y) = self.patches.unsure, off.T
        across, both, down = unsure[:, 0, 0], unsure[:, 0, 1], unsure[:, 1, 1]
        return trust * (across * x * x + 2 * both * x * y + down * y * y)

    def told(self, matrix, seen, compared, trust, weights, off, noise) -> Vote:
        patches, agreed, shape = self.patches, weights > 0, self.patches.shape
        corners = _levers(corners_of(shape), shape)[:, :, : self.numbers]
        unsure = np.linalg.pinv(self.strength(weights) / noise)
        moved = np.einsum("nij,nj->ni", patches.unsure, off)[agreed]
        misfit = np.minimum(self.misfit(off, trust)[trust > 0] / noise, TUKEY_SIGMAS**2)
        again = patches.echo_of(seen)[agreed].sum(0)
        return Vote(
            matrix,
            numbers=self.numbers,
            agree=int(agreed.sum()),
            looked_at=int(compared.sum()),
            share=_least_share(again, patches.echo[compared].sum(0)),
            residual_px=float(np.sqrt(np.median((moved**2).sum(1)) / _MEDIAN_OF_CHI2)),
            error_px=float(np.sqrt(np.einsum("nik,kl,nil->n", corners, unsure, corners).max())),
            misfit=float(misfit.sum()),
            noise=float(noise),
        )


def _least_share(part, whole):
    """Least eigenvalue of `part` against `whole`, (2, 2) each, of their symmetric halves."""
    values, vectors = np.linalg.eigh(whole + whole.T)
    halves = vectors / np.sqrt(np.maximum(values, 1e-12))
    return float(np.linalg.eigvalsh(halves.T @ (part + part.T) @ halves)[0])


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

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
_SETTLING_PX, _SETTLED_PX = 0.15, 0.01
_NEIGHBOURS = 4.0
"""Patches beside each other see the same light, so that their errors are not independent: four
count as one where fits are compared. (Frames that did not move gain seven times what independent
errors would from two numbers too many.)"""
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
        Standard error that this leaves of the movement, at the worst corner of the picture, with
        what a movement of more numbers would say differently as long as that is in doubt.
    """

    matrix: np.ndarray
    numbers: int
    agree: int
    looked_at: int
    share: float
    residual_px: float
    error_px: float


def agree(
    patches: Patches,
    fine: np.ndarray,
    start: np.ndarray,
    rounds: int,
    free: np.ndarray | None = None,
    most: int = 4,
    least: float = 0.0,
) -> Vote | None:
    """The movement on which most patches agree, near `start`, in as few numbers as explain it.

    Gauss-Newton on all patches at once with Tukey weights, from the side of the prepared
    picture (inverse compositional: Baker & Matthews 2004, IJCV 56: 221-255). It begins with a
    shift, turn and zoom (4 numbers); where `most` allows, and as soon as it settles, the
    perspective of a turned camera (6) and then any homography (8) are tried, and kept if the
    patches say so (Bayesian information criterion: Schwarz 1978, Annals of Statistics 6:
    461-464).

    Parameters
    ----------
    patches : Patches
    fine : ndarray of float32
        The other picture, from `evened`.
    start : ndarray, shape (3, 3)
        First guess, good to two or three pixels.
    rounds : int
    free : ndarray of bool, shape of `fine`, optional
        What of the other picture may be used.
    most : {4, 6, 8}
    least : float
        Share of the patches that must be found again; chance finds 0.08 of them in a wrong place.

    Returns
    -------
    Vote or None
        None when fewer than two patches for each number are found again, or too few of all.
    """
    ballot, matrix, weights = _Ballot(patches, 4), np.asarray(start, float), None
    doubt_px = 0.0
    for _ in range(rounds):
        seen, pull, likeness, compared = patches.pulls(fine, matrix)
        if free is not None:
            compared &= patches.free_in(free, matrix)
        found = compared & (likeness > _FOUND_AGAIN)
        if np.count_nonzero(found) < max(2 * most, least * np.count_nonzero(compared)):
            return None
        # A patch seen half as like pulls half as far; what it does not explain is its noise.
        like = np.where(found, likeness, 1.0)
        pull /= like[:, None]
        trust = found * like**2 / np.maximum(1 - like**2, 0.02)
        count = ballot.count(pull, trust, weights)
        enlarged = False
        if count.reach_px < _SETTLING_PX and ballot.numbers < most:
            more = _Ballot(patches, ballot.numbers + 2)
            again = more.count(pull, trust, None)
            voices = np.count_nonzero(found)
            enlarged = _worth(count, again, voices, _NEIGHBOURS)
            if not enlarged:
                # What is not worth it near the place is not worth it there either, but as long
                # as it would be if patches were independent, what it says differently is doubt.
                unsettled = _worth(count, again, voices, 1.0)
                doubt_px = more.apart_px(count.step, again.step) if unsettled else 0.0
                most = ballot.numbers
            ballot, count = (more, again) if enlarged else (ballot, count)
        matrix, weights = _moved(matrix, count.step, patches.shape), count.weights
        if count.reach_px < _SETTLED_PX and not enlarged:
            break
    return ballot.told(matrix, seen, compared, count, doubt_px)


def _worth(simple, more, patches: int, neighbours: float) -> bool:
    """Whether two more numbers lower the misfit by more than they would by chance."""
    gain = simple.misfit * simple.noise / more.noise - more.misfit
    return gain / neighbours > 2 * np.log(max(2 * patches / neighbours, 2.0))


@dataclass(frozen=True)
class _Count:
    """One step of a vote: its numbers, the weights, what is left of the pulls, their noise."""

    step: np.ndarray
    weights: np.ndarray
    off: np.ndarray
    noise: float
    misfit: float

    @property
    def reach_px(self) -> float:
        return float(np.abs(self.step).max())


class _Ballot:
    """How patches vote on a movement of so many numbers."""

    def __init__(self, patches: Patches, numbers: int):
        self.patches, self.numbers = patches, numbers
        levers = _levers(patches.centres, patches.shape)[:, :, :numbers]
        self.corners = _levers(corners_of(patches.shape), patches.shape)[:, :, :numbers]
        pushed = patches.strength @ levers
        self.normal = np.einsum("nik,nil->nkl", levers, pushed).reshape(len(patches), -1)
        self.levers, self.pushed = levers.reshape(-1, numbers), pushed.reshape(-1, numbers)

    def count(self, pull, trust, weights):
        """One robust Gauss-Newton step, from the weights of the step before if there was one."""
        if weights is not None and np.count_nonzero(weights * trust) < 2 * self.numbers:
            weights = None
        votes = _FIRST_VOTES if weights is None else _LATER_VOTES
        weights = trust if weights is None else weights * (trust > 0)
        for _ in range(votes):
            left = (weights[:, None] * pull).ravel() @ self.levers
            strength = self.strength(weights)
            strength.flat[:: self.numbers + 1] *= 1 + 1e-9
            step = np.linalg.solve(strength, left)
            off = pull - (self.pushed @ step).reshape(-1, 2)
            misfit = self.misfit(off, trust)
            noise = _median(misfit[trust > 0]) / _MEDIAN_OF_CHI2 + 1e-12
            cut = np.minimum(misfit / noise, TUKEY_SIGMAS**2)
            weights = trust * (1 - cut / TUKEY_SIGMAS**2) ** 2
        return _Count(step, weights, off, noise, float(cut.sum()))

    def apart_px(self, step, other) -> float:
        """How far apart two steps, of these or fewer numbers, put a corner of the picture."""
        off = other - np.pad(step, (0, len(other) - len(step)))
        return float(np.linalg.norm(self.corners @ off, axis=1).max())

    def strength(self, weights):
        return (weights @ self.normal).reshape(self.numbers, self.numbers)

    def misfit(self, off, trust):
        """Squares of what is left of the pulls, in units of each patch's own strength."""
        unsure, (x, y) = self.patches.unsure, off.T
        across, both, down = unsure[:, 0, 0], unsure[:, 0, 1], unsure[:, 1, 1]
        return trust * (across * x * x + 2 * both * x * y + down * y * y)

    def told(self, matrix, seen, compared, count: _Count, doubt_px: float) -> Vote:
        patches, agreed, corners = self.patches, count.weights > 0, self.corners
        unsure = np.linalg.pinv(self.strength(count.weights) / (count.noise * _NEIGHBOURS))
        moved = np.einsum("nij,nj->ni", patches.unsure, count.off)[agreed]
        again = patches.echo_of(seen)[agreed].sum(0)
        error = np.sqrt(np.einsum("nik,kl,nil->n", corners, unsure, corners).max())
        return Vote(
            matrix,
            numbers=self.numbers,
            agree=int(agreed.sum()),
            looked_at=int(compared.sum()),
            share=_least_share(again, patches.echo[compared].sum(0)),
            residual_px=float(np.sqrt(np.median((moved**2).sum(1)) / _MEDIAN_OF_CHI2)),
            error_px=float(np.hypot(error, doubt_px)),
        )


def _median(values: np.ndarray) -> float:
    """As numpy's own, without its checks, which take longer than four hundred numbers."""
    upper = len(values) // 2
    lower = upper - 1 + len(values) % 2
    return float(np.partition(values, (lower, upper))[[lower, upper]].mean())


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

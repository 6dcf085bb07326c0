"""What light a frame should have: a smooth function of the day and of the time of day.

Flicker is what differs between a frame and the frames of a week before and after at the same time
of day. What changes over weeks (the sun climbs, leaves shade the bench) or within a day (morning,
sunset) is no flicker and stays. So a frame's slow level is a local regression (Cleveland 1979,
J. Am. Stat. Assoc. 74: 829-836): a line in days and a parabola in hours, fitted to the frames
around it with weights that fall to nothing `REACH_DAYS` away, and with less weight for frames that
stand far off (Huber). Nothing beyond that reach counts, so the light of old days stays as it is
while a season grows.
"""

from dataclasses import dataclass

import numpy as np

from lapsekit.vision.robust import MAD_TO_SIGMA

REACH_DAYS = 7.5
"""How far away in days a frame may be and count."""

_REACHES_H = (0.75, 1.5, 3.0, 6.0, 12.0)
"""How far away in hours of the day; the first that finds enough."""

_ENOUGH = 2.5
"""Sum of weights (1 for a frame of that very moment) that is enough to rest on."""

_RIDGE = 0.001
"""Keeps a slope at nothing where the frames do not tell it, as when all are of noon."""

_HUBER = 1.5
_LEAST_SIGMA = 0.02
_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Around:
    """The frames that a frame's slow level rests on.

    Attributes
    ----------
    frames : (m,) int ndarray
        Their places in the series.
    nearness : (m,) float ndarray
        1 for the moment itself, falling to 0 at the end of the reach.
    terms : (m, 4) float ndarray
        1, days, hours and their square away from the frame, in units of the reach.
    """

    frames: np.ndarray
    nearness: np.ndarray
    terms: np.ndarray

    def shares(self, values: np.ndarray | None = None) -> np.ndarray:
        """What each frame adds to the slow value: shares that add up to 1, shape (m,).

        Parameters
        ----------
        values : ndarray of float, shape (m,), optional
            One number a frame, in natural logarithms; frames whose number lies far off from what
            comes out count less.
        """
        weights = self.nearness
        shares = self._fit(weights)
        for _ in range(_ROUNDS if values is not None else 0):
            off = np.abs(values - self._smooth(weights, values))
            sigma = max(_LEAST_SIGMA, MAD_TO_SIGMA * float(np.median(off)))
            weights = self.nearness * np.minimum(1, _HUBER * sigma / np.maximum(off, 1e-9))
            shares = self._fit(weights)
        return shares

    def _fit(self, weights: np.ndarray) -> np.ndarray:
        weighted = self.terms * weights[:, None]
        return np.linalg.solve(self._normal(weighted), weighted.T)[0]

    def _smooth(self, weights: np.ndarray, values: np.ndarray) -> np.ndarray:
        weighted = self.terms * weights[:, None]
        return self.terms @ np.linalg.solve(self._normal(weighted), weighted.T @ values)

    def _normal(self, weighted: np.ndarray) -> np.ndarray:
        ridge = _RIDGE * weighted[:, 0].sum() * np.diag([0.0, 1, 1, 1])
        return weighted.T @ self.terms + ridge


def around(
    at_days: np.ndarray, hour_of_day: np.ndarray | None, frame: int, among: np.ndarray
) -> Around:
    """The frames that count for one frame's slow level.

    Parameters
    ----------
    at_days : ndarray of float, shape (n,)
        Days since some midnight.
    hour_of_day : ndarray of float, shape (n,), or None
        In 0 to 24; None where the time of day shall make no difference.
    frame : int
        Place of the frame in the series.
    among : ndarray of int
        Places of frames that may count, itself among them.

    Returns
    -------
    Around
    """
    days = (at_days[among] - at_days[frame]) / REACH_DAYS
    by_days = _fading(days)
    if hour_of_day is None:
        return _around(among, by_days, days, np.zeros_like(days))
    hours = (hour_of_day[among] - hour_of_day[frame] + 12) % 24 - 12
    for reach in _REACHES_H:
        nearness = by_days * _fading(hours / reach)
        if nearness.sum() >= _ENOUGH:
            break
    return _around(among, nearness, days, hours / reach)


def _around(among, nearness, days, hours) -> Around:
    near = nearness > 0
    terms = np.stack([np.ones_like(days), days, hours, hours**2], axis=1)
    return Around(among[near], nearness[near], terms[near])


def _fading(away: np.ndarray) -> np.ndarray:
    """1 where nothing is away, 0 from the reach on, smooth at both (triweight)."""
    return (1 - np.minimum(np.abs(away), 1) ** 2) ** 3


def slow(
    values: np.ndarray, at_days: np.ndarray, hour_of_day: np.ndarray | None = None
) -> np.ndarray:
    """The slow part of a series of one number a frame.

    Parameters
    ----------
    values : ndarray of float, shape (n,)
        In natural logarithms.
    at_days, hour_of_day
        As for `around`, in order of time.

    Returns
    -------
    ndarray of float, shape (n,)
    """
    at_days = np.asarray(at_days, float)
    found = np.empty(len(values))
    for frame in range(len(values)):
        near = around(at_days, hour_of_day, frame, within_reach(at_days, frame))
        found[frame] = near.shares(values[near.frames]) @ values[near.frames]
    return found


def within_reach(at_days: np.ndarray, frame: int) -> np.ndarray:
    """Places of the frames within reach of one, of a series in order of time."""
    ends = np.searchsorted(at_days, at_days[frame] + np.array([-1, 1]) * REACH_DAYS)
    return np.arange(*ends)

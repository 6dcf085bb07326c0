"""Take the jitter of registration out of a series of placements: a camera hardly moves by itself.

Each frame is placed on its own, so a placement carries that frame's error: a tenth of a pixel or
two, other at every light. The camera's own way is simpler. Between knocks its mount sags over
days and warms up over the day. So the place of a frame is put together from that of its
neighbours: the slow way of its view, fitted to all frames of the days around it, and, as a shift
alone, what frames at the same time of day lie off it. Warming tilts a camera, which shifts its
picture; turn, zoom and perspective change slowly or at once. A camera that does move from frame
to frame, as on a mast in the wind, scatters by more than the error of its placements; then these
are believed.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lapsekit.vision.homographies import corners_of, homography, project
from lapsekit.vision.knocks import Knock
from lapsekit.vision.robust import robust_sigma, tukey_weights

REACH_DAYS = 6.0
"""How far a line looks to both sides of its noon, which is up to a day from the frame."""

_SAME_HOUR_DAYS = 1.75 / 24
_ROUNDS = 3
_SLOPE_DAYS = 0.5
"""Frames that span less than this tell where the view is, not which way it goes."""
_ERROR_FLOOR_PX = 0.05
_UNKNOWN_ERROR_PX = 0.3
_ELSEWHERE_SIGMAS, _ELSEWHERE_SHARE = 4.0, 5e-4
_LEAST_FRAMES = 5
_STEPS_ACROSS = 20_000
"""Corners are rounded to this part of the long side: a twentieth of a pixel at 1000 px."""


def steadied(
    placements: Sequence[np.ndarray | None],
    error_px: Sequence[float | None],
    at_days: Sequence[float],
    knocks: Sequence[Knock],
    shape: tuple[int, int],
) -> list[np.ndarray | None]:
    """Placements as a camera that hardly moves between knocks would have them.

    Corners of the picture, as the placements move them, are fitted by a local line over the days
    (tricube weights, biweights against outliers) [1]_ [2]_, never across a knock. A frame that
    stands clear of its neighbours really was elsewhere, and keeps its own placement.

    Parameters
    ----------
    placements : sequence of ndarray of float (3, 3) or None
        From the reference view to each frame, in order of time; None where a frame could not be
        registered or is taken as it is.
    error_px : sequence of float or None
        Standard error of each placement at the worst corner.
    at_days : sequence of float
        Local time of each frame in days; midnight is a whole number.
    knocks : sequence of Knock
        Lasting changes of view, as `lapsekit.vision.knocks.knocks` finds them in `placements`.
    shape : (height, width)
        Of the pictures.

    Returns
    -------
    list of ndarray (3, 3) or None
        None where there was none. Rounded to a twenty-thousandth of the long side at the corners,
        so that later frames, which move old ones by less than can be seen, mostly leave them be.
        A frame depends on those of its view within seven days.

    References
    ----------
    .. [1] Cleveland (1979), Journal of the American Statistical Association 74: 829-836.
    .. [2] Beaton & Tukey (1974), Technometrics 16: 147-185.
    """
    found: list[np.ndarray | None] = [None] * len(placements)
    corners = corners_of(shape)
    starts = [0, *(knock.at for knock in knocks), len(placements)]
    for start, end in pairwise(starts):
        known = [k for k in range(start, end) if placements[k] is not None]
        if not known:
            continue
        off = np.array([project(placements[k], corners) - corners for k in known])
        told = [_UNKNOWN_ERROR_PX if error_px[k] is None else error_px[k] for k in known]
        at = np.array([at_days[k] for k in known], float)
        calm = _calmed(off, at, np.array(told, float), max(shape))
        for k, moved in zip(known, _rounded(calm, max(shape)), strict=True):
            found[k] = homography(corners, corners + moved)
    return found


def _calmed(off, at, error_px, long_side_px):
    """What the corners (n, 4, 2) of one view's frames are off, without jitter."""
    weights = 1 / (np.square(error_px) + _ERROR_FLOOR_PX**2)
    knots, lines = _lines(off.reshape(len(off), -1), at, weights)
    calm = np.empty_like(off)
    for k, moment in enumerate(at):
        value, slope = (told.reshape(-1, 2) for told in _between(knots, lines, moment))
        near = slice(*np.searchsorted(at, [moment - REACH_DAYS, moment + REACH_DAYS]))
        away = at[near] - moment
        same = np.abs(away - np.round(away)) < _SAME_HOUR_DAYS
        away = away[same]
        left = off[near][same] - value - away[:, None, None] * slope
        shift = _of_the_hour(left.mean(1), away, weights[near][same])
        share = _share_of_movement(left - shift, error_px[k])
        calm[k] = value + shift + share * (off[k] - value - shift)
    apart = _length(off - calm)
    clear = np.maximum(long_side_px * _ELSEWHERE_SHARE, _ELSEWHERE_SIGMAS * error_px)
    return np.where((apart > clear)[:, None, None], off, calm)


def _length(moves):
    """Root mean square over the corners of moves (..., 4, 2)."""
    return np.sqrt((moves**2).sum(-1).mean(-1))


def _share_of_movement(rest, error_px):
    """How much of what frames (n, 4, 2) scatter is the camera's own movement, 0 to 1.

    What exceeds the error of a placement is: a mast in the wind moves from frame to frame.
    """
    scatter = float(np.median(_length(rest)))
    if len(rest) < _LEAST_FRAMES or scatter <= error_px:
        return 0.0
    return 1 - (error_px / scatter) ** 2


def _lines(rows, at, weights):
    """Noons near which there are frames, and the robust local line through rows (n, m) at each.

    Returns their times (knots,), and values and slopes a day (knots, 2, m).
    """
    days = np.arange(np.floor(at.min() - 0.5), np.ceil(at.max() - 0.5) + 1)
    knots = days + 0.5
    knots = knots[np.abs(knots[:, None] - at).min(1) <= 1]
    return knots, np.array([_local_line(rows, at, weights, knot) for knot in knots])


def _between(knots, lines, moment):
    """Value and slope (m,) at a moment, out of the lines at the noons before and after it."""
    after = min(np.searchsorted(knots, moment), len(knots) - 1)
    before = max(after - 1, 0)
    apart = knots[after] - knots[before]
    share = np.clip((moment - knots[before]) / apart, 0, 1) if apart else 0.0
    told = [(lines[k][0] + lines[k][1] * (moment - knots[k]), lines[k][1]) for k in (before, after)]
    return [(1 - share) * one + share * other for one, other in zip(*told, strict=True)]


def _local_line(rows, at, weights, moment):
    """Value at `moment` and slope of a robust local line through rows (n, m): (2, m)."""
    near = slice(*np.searchsorted(at, [moment - REACH_DAYS, moment + REACH_DAYS]))
    rows, away = rows[near], at[near] - moment
    fixed = weights[near] * _tricube(away / REACH_DAYS)
    robust = np.ones(len(rows))
    for _ in range(_ROUNDS):
        total = fixed * robust
        middle = total @ away / total.sum()
        mean = total @ rows / total.sum()
        lever = away - middle
        spread = total @ lever**2 + total.sum() * _SLOPE_DAYS**2
        slope = (total * lever) @ rows / spread
        robust = _trusted(rows - mean - np.outer(lever, slope))
    return mean - middle * slope, slope


def _of_the_hour(left, away, weights):
    """Robust mean of shifts (n, 2) over frames at the same time of day, `away` days from it."""
    fixed = weights * _tricube(away / REACH_DAYS)
    fixed = fixed * _tricube((away - np.round(away)) / _SAME_HOUR_DAYS)
    robust = np.ones(len(away))
    for _ in range(_ROUNDS):
        total = fixed * robust
        mean = total @ left / total.sum()
        robust = _trusted(left - mean)
    return mean


def _trusted(rest):
    """Weights of rows by what a fit leaves of them."""
    apart = np.sqrt((rest**2).mean(-1))
    sigma = robust_sigma(apart)
    return np.maximum(tukey_weights(apart, sigma), 1e-6) if sigma > 0 else np.ones(len(apart))


def _tricube(share):
    return (1 - np.minimum(np.abs(share), 1) ** 3) ** 3


def _rounded(off, long_side_px):
    step = long_side_px / _STEPS_ACROSS
    return np.round(off / step) * step

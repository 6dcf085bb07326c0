"""What makes a series of frames free of flicker: each is brought to its own slow light.

The mean linear light of a frame's static cells, channel by channel, is brought to what the frames
of the week before and after say it should be at that time of day (`lapsekit.vision.slow_light`).
The mean is taken, hard shadows and all: it is what the eye sees flicker. A robust level would tell
sun from sun and leave a picture with larger shadows darker (tried: 57 % less flicker with the
median of cells, 94 % with the mean). Cells that show what no frame around it shows are left out.
On top comes a slow unevenness over the view, for haze, dew and large soft shadows, fitted so that
the small hard ones do not pull it.

Deflickering against a course smoothed in time: Delon (2006), IEEE Trans. Image Process. 15:
241-248; locally: Delon & Desolneux (2010), SIAM J. Imaging Sci. 3: 703-734. Contrast stays as it
is: bringing that to a slow course too made places flicker more, not less, and plants flat.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lapsekit.vision.light_cells import LightCells
from lapsekit.vision.robust import MAD_TO_SIGMA
from lapsekit.vision.slow_light import Around, around, within_reach
from lapsekit.vision.toning import MOST_UNEVEN, Correction, field_terms, toned

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Relative luminance of linear red, green and blue (ITU-R BT.709)."""

MOST_GAIN = 0.9
"""Natural logarithm of the largest gain: more would show the noise of a frame too dark to use."""

_MOST_TINT = 0.3
_SEEN_SHARE = 0.8
_FEWEST_CELLS = 12
_FEWEST_FRAMES = 3
_CELLS_TO_TRUST = 16.0
_NEW_BY = 0.5
_MOST_NEW = 0.4
_RIDGE = np.diag([0.0, 0.08, 0.08, 0.2, 0.2, 0.2])
_RIDGE_CELLS = 10.0
_HUBER, _LEAST_SIGMA = 1.0, 0.02
_ROUNDS = 4


def corrections(
    cells: LightCells,
    levels: np.ndarray,
    at_days: Sequence[float] | np.ndarray,
    hour_of_day: Sequence[float] | np.ndarray,
    day_course: bool = True,
    frames: Sequence[int] | None = None,
) -> list[Correction]:
    """What brings frames to their slow light.

    Parameters
    ----------
    cells : LightCells
        Where the levels were measured.
    levels : ndarray of float, shape (n, cells, 4)
        From `LightCells.measure`, in order of time.
    at_days : sequence of float, n
        Days since some midnight, rising.
    hour_of_day : sequence of float, n
        In 0 to 24, best without summer time, so that the sun stands alike at the same hour.
    day_course : bool
        Whether the course of a day stays: morning, noon, sunset. Without, frames of all hours are
        brought to one slow level: for films in which a day passes in a fraction of a second, where
        the course of the day is itself a flicker.
    frames : sequence of int, optional
        Places of those that are asked for; all by default.

    Returns
    -------
    list of Correction
        One a frame. It rests on the frames within its reach (`slow_light.within_reach`) alone. A
        frame that is too dark or too clipped to be told, or that has fewer than two others around
        it, stays as it is.
    """
    days = np.asarray(at_days, float)
    hours = np.asarray(hour_of_day, float) if day_course else None
    found = []
    for frame in range(len(days)) if frames is None else frames:
        near = around(days, hours, frame, within_reach(days, frame))
        found.append(_correction(cells, levels, frame, near))
    return found


def _correction(cells: LightCells, levels: np.ndarray, frame: int, near: Around) -> Correction:
    window = np.asarray(levels[near.frames], float)
    place = int(np.flatnonzero(near.frames == frame)[0])
    seen = np.isfinite(window).all(axis=2)
    use = seen[place] & (near.nearness @ seen >= _SEEN_SHARE * near.nearness.sum())
    enough = use.sum() >= _FEWEST_CELLS
    told = seen[:, use].mean(axis=1) >= 0.5 if enough else np.zeros(len(window), bool)
    if told.sum() < _FEWEST_FRAMES:
        return Correction.none(cells.shape)
    sizes = window[place, use, 3]
    place = int(told[:place].sum())
    near = Around(near.frames[told], near.nearness[told], near.terms[told])
    window = _filled(window[told][:, use, :3])
    known = ~_new_cells(window, place)
    surroundings = _Surroundings(cells.places[use][known], sizes[known] / sizes[known].sum())
    return _to_slow_light(cells.shape, window[:, known], place, near, surroundings)


@dataclass(frozen=True, eq=False)
class _Surroundings:
    """Cells that tell the light: places, (cells, 2), and sizes that add up to 1, (cells,)."""

    places: np.ndarray
    sizes: np.ndarray


def _filled(window: np.ndarray) -> np.ndarray:
    """Levels of frames, unseen cells filled by the cell's mean and the frame's own offset."""
    unseen = ~np.isfinite(window)
    if not unseen.any():
        return window
    usual = np.nanmean(window, axis=0)
    off = np.nanmean(window - usual, axis=1, keepdims=True)
    return np.where(unseen, usual + off, window)


def _new_cells(window: np.ndarray, place: int) -> np.ndarray:
    """Cells that one frame shows much brighter or darker than all others do, beside its own level.

    Something was put there or taken away. Where that seems so of many cells, it is the light.
    """
    pattern = np.log(np.exp(window) @ LUMINANCE)
    pattern -= np.median(pattern, axis=1, keepdims=True)
    others = np.delete(pattern, place, axis=0)
    new = (pattern[place] > others.max(axis=0) + _NEW_BY) | (
        pattern[place] < others.min(axis=0) - _NEW_BY
    )
    return new if new.mean() <= _MOST_NEW else np.zeros(len(new), bool)


def _to_slow_light(
    shape: tuple[int, int], window: np.ndarray, place: int, near: Around, cells: _Surroundings
) -> Correction:
    light = np.exp(window)
    totals = np.log(cells.sizes @ light)
    luminance = light @ LUMINANCE
    shares = near.shares(np.log(luminance @ cells.sizes))
    uneven = np.log(luminance[place]) - shares @ np.log(luminance)
    trust = 1 / (1 + (_CELLS_TO_TRUST / len(cells.places)) ** 2)
    field = -trust * smooth_field(uneven, cells.places, cells.sizes)
    bent = np.clip(field_terms(cells.places) @ field, -MOST_UNEVEN, MOST_UNEVEN)
    gains = _gains(light[place], bent, cells.sizes, shares @ totals)
    return Correction.of(trust * gains, field, shape)


def smooth_field(uneven: np.ndarray, places: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Factors of the slow unevenness in values of cells.

    Huber's weights keep the few cells of a hard shadow from pulling it, a ridge keeps it flat
    where few cells, or those of one side alone, tell it.

    Parameters
    ----------
    uneven : ndarray of float, shape (cells,)
        Natural logarithms.
    places : ndarray of float, shape (cells, 2)
        From -1 to 1.
    sizes : ndarray of float, shape (cells,)
        How much of each cell was measured.

    Returns
    -------
    ndarray of float, shape (5,)
        See `Correction.field`.
    """
    terms = np.column_stack([np.ones(len(places)), field_terms(places)])
    ridge = _RIDGE * (1 + _RIDGE_CELLS / len(places))
    weights = sizes
    for _ in range(_ROUNDS):
        weighted = terms * weights[:, None] / weights.sum()
        factors = np.linalg.solve(weighted.T @ terms + ridge, weighted.T @ uneven)
        off = np.abs(uneven - terms @ factors)
        sigma = max(_LEAST_SIGMA, MAD_TO_SIGMA * float(np.median(off)))
        weights = sizes * np.minimum(1, _HUBER * sigma / np.maximum(off, 1e-9))
    return factors[1:]


def _gains(
    light: np.ndarray, bent: np.ndarray, sizes: np.ndarray, wanted: np.ndarray
) -> np.ndarray:
    """Logarithms of the gains that bring the mean of the cells to what is wanted.

    The shoulder takes a little of each gain away, more of bright cells: found by iteration.
    """
    gains = np.zeros(3)
    for _ in range(_ROUNDS):
        gains += wanted - np.log(sizes @ toned(light, gains + bent[:, None]))
        level = np.clip(gains @ LUMINANCE, -MOST_GAIN, MOST_GAIN)
        gains = level + np.clip(gains - gains @ LUMINANCE, -_MOST_TINT, _MOST_TINT)
    return gains

"""Windows that follow a region: as large as it needs, near it, and never in a hurry. Pure.

The box that must be seen changes from frame to frame: leaves droop at noon, a pot is moved, a
crop is cut. A window that obeyed would pump. So each moment takes the box around all boxes of the
days around it, and the mean of these boxes over as many days: what is a largest and then a mean
holds every box, and goes from one to the next without a corner.
"""

from collections.abc import Sequence

import numpy as np

from lapsekit.film.windows import Box, Size, Window, filled

REACH_DAYS = 3.5
"""Days to both sides of a moment from which boxes are joined, and again those that are averaged."""

ROOM = 0.12
"""What is left around a box on each side, as a share of its longer side."""

MOST_ENLARGED = 2.5
"""Px of the film to a px of the frame: beyond this leaves are blots, and the window stays wider."""

_STEPS = 8


def followed(
    boxes: Sequence[Box],
    at_days: Sequence[float],
    moments: Sequence[float],
    size: Size,
    covered: Sequence[tuple[float, Box]],
    *,
    reach_days: float = REACH_DAYS,
    room: float = ROOM,
    most_enlarged: float = MOST_ENLARGED,
) -> list[Window]:
    """Windows that keep a region in the picture while it grows, droops, moves and is cut.

    Parameters
    ----------
    boxes : sequence of Box
        What shall be seen, at least one: the region's outline with its canopy, see `union` and
        `box_of_mask`.
    at_days : sequence of float
        Time of each, in days, in order.
    moments : sequence of float
        Time of each picture of the film, in days.
    size : (int, int)
        Width and height of the picture, or of its panel, in px.
    covered : sequence of (float, Box)
        What frames show (`Stretch.covered`), each from a time in days on, in order; the first
        holds before its time too.
    reach_days : float
        See `REACH_DAYS`: no window depends on a box more than twice as far away. A film that
        shows a season in seconds looks calmer with more.
    room : float
        See `ROOM`.
    most_enlarged : float
        See `MOST_ENLARGED`.

    Returns
    -------
    list of Window
        One for each moment, of the picture's shape, within what is covered around its day. All
        of the box is seen where that shape can hold it within what is covered.
    """
    step = reach_days / _STEPS
    times = np.asarray(at_days, float)
    ticks = [np.floor((np.asarray(moments, float) - reach_days) / step).min(), 0]
    ticks[1] = np.ceil((np.asarray(moments, float) + reach_days) / step).max()
    ticks = np.arange(ticks[0], ticks[1] + 1)  # counted from day 0: the same in every film
    every = np.asarray(boxes, float)
    held = np.array(
        [
            _within(
                _roomy(_around(every, times, moment, reach_days), size, room, most_enlarged),
                _covered_near(covered, moment, reach_days),
            )
            for moment in ticks * step
        ]
    )
    return [_mean_window(held, ticks * step, moment, reach_days, size) for moment in moments]


def box_of_mask(mask: np.ndarray, by: float = 1.0) -> Box | None:
    """The box around what is true in a mask, but for the last two in a thousand at each side.

    Parameters
    ----------
    mask : ndarray of bool, shape (h, w)
        In the reference view, `by` times smaller.
    by : float

    Returns
    -------
    Box or None
        In px of the whole view; None where nothing is true. Specks far from a plant do not widen
        it.
    """
    edges = [_span(mask.sum(axis)) for axis in (0, 1)]
    if None in edges:
        return None
    (left, right), (top, bottom) = edges
    return tuple(float(by * edge - 0.5) for edge in (left, top, right, bottom))


def _span(counts, spared=0.002):
    """First place and the one after the last, of counts, but for a share at each end."""
    total = np.cumsum(counts)
    if not total[-1]:
        return None
    first = int(np.searchsorted(total, spared * total[-1], side="right"))
    last = int(np.searchsorted(total, (1 - spared) * total[-1]))
    return first, last + 1


def _around(boxes, times, moment, reach):
    """The box around all boxes of the days around a moment, or of the nearest times before it."""
    near = np.abs(times - moment) <= reach
    if not near.any():
        before = times[times < moment]
        near = times == (before[-1] if len(before) else times[0])
    found = boxes[near]
    return np.concatenate([found[:, :2].min(0), found[:, 2:].max(0)])


def _roomy(box, size, room, most_enlarged):
    """A box of the picture's shape around another, with room, as middle and width (3,)."""
    sides = box[2:] - box[:2]
    across, down = sides + 2 * room * sides.max()
    width = max(across, down * size[0] / size[1], size[0] / most_enlarged)
    return np.array([*(box[:2] + box[2:]) / 2, width, width * size[1] / size[0]])


def _covered_near(covered, moment, reach):
    """What is covered at every time within reach of a moment."""
    since = [float("-inf"), *(time for time, _ in covered[1:]), float("inf")]
    near = [
        box
        for (_, box), start, end in zip(covered, since[:-1], since[1:], strict=True)
        if start <= moment + reach and end >= moment - reach
    ]
    low, high = np.max([box[:2] for box in near], 0), np.min([box[2:] for box in near], 0)
    if (high - low).min() <= 0:  # views with nothing in common: the film cuts between them
        now = max(k for k, start in enumerate(since[:-1]) if start <= moment)
        return np.array(covered[now][1], float)
    return np.concatenate([low, high])


def _within(window, covered):
    """A window (middle, width, height) made small enough, and moved into what is covered."""
    free = covered[2:] - covered[:2]
    sides = window[2:] * min(1.0, *(free / window[2:]))
    middle = np.clip(window[:2], covered[:2] + sides / 2, covered[2:] - sides / 2)
    return np.array([*middle, *sides])


def _mean_window(held, times, moment, reach, size):
    """The mean of windows around a moment, by weights that end softly."""
    near = np.abs(times - moment) < reach
    weights = (1 - ((times[near] - moment) / reach) ** 2) ** 3
    x, y, width, height = weights @ held[near] / weights.sum()
    edges = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    return filled(tuple(round(float(edge), 2) for edge in edges), size)

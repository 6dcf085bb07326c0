"""Runs of a camera's views that share a window, and what one shows between two runs. Pure."""

from collections.abc import Iterator, Sequence

import numpy as np

from lapsekit.film.covering import best_middle, depth_outside, largest_box
from lapsekit.film.windows import Box, area, shared_area, whole_box

SLIVER_SHARE = 0.004
"""What a frame may lack at an edge, as a share of its long side: its edge is drawn out there."""

Group = tuple[int, int, Box]
"""The first of some views, the one after the last, and the box that they show."""

_KEPT = 0.9
"""Views share a window that is at least so wide, as a share of what each could show."""
_JOINED = 0.5
"""What two views share is shown between them if it is at least so wide; else the film cuts."""
_ROOM = 0.005


class Chooser:
    """Boxes of one shape in what runs of views show.

    Parameters
    ----------
    covers : sequence of ndarray of float, shape (n, 3)
        Of each view, in order of time, see `cover_of`.
    aspect : float
        Width over height of the boxes.
    shape : (height, width)
        Of the frames.
    wanted : sequence of Box
        What shall be inside.
    """

    def __init__(
        self,
        covers: Sequence[np.ndarray],
        aspect: float,
        shape: tuple[int, int],
        wanted: Sequence[Box] = (),
    ):
        self.covers, self._aspect, self._shape = covers, aspect, shape
        self._wanted = [tuple(map(float, box)) for box in wanted]

    def box(self, start: int, end: int) -> Box | None:
        """The largest in what the views from `start` to before `end` all show."""
        planes = np.concatenate(self.covers[start:end])
        largest = largest_box(planes, self._aspect)
        if largest is None:
            return None
        wanted = self._wanted or [whole_box(self._shape)]
        across = (1 - _ROOM) * _width(largest)
        middle = best_middle((across, across / self._aspect), wanted)
        return largest_box(planes, self._aspect, middle, _ROOM)

    def holds(self, box: Box, view: int) -> bool:
        """Whether a view shows a box that was chosen before, but for what its edge fills."""
        across, down = box[2] - box[0], box[3] - box[1]
        deep = depth_outside(box, self.covers[view])
        alike = abs(across / down / self._aspect - 1) < 1e-3
        return alike and deep <= SLIVER_SHARE / 2 * max(self._shape)

    def joint(self, one: Group, other: Group) -> Box | None:
        """What is shown between two groups: the one's own box, the other's, or a smaller one."""
        for mine, theirs in ((one, other), (other, one)):
            last = theirs[0] if theirs is other else theirs[1] - 1
            if self.holds(mine[2], last):
                return mine[2]
        views = [one[1] - 1, other[0]]
        planes = np.concatenate([self.covers[view] for view in views])
        middle = np.mean([np.reshape(group[2], (2, 2)).mean(0) for group in (one, other)], 0)
        box = largest_box(planes, self._aspect, tuple(middle), _ROOM)
        least = _JOINED * min(_width(one[2]), _width(other[2]))
        return box if box is not None and _width(box) >= least else None

    def cut_off(self, box: Box) -> float:
        """Share of the wanted area that a box leaves out."""
        whole = sum(map(area, self._wanted))
        inside = sum(shared_area(each, box) for each in self._wanted)
        return 1 - inside / whole if whole else 0.0


def held(chooser: Chooser, previous: Sequence[Box]) -> Iterator[Group]:
    """Groups of views from the first on that windows chosen before still fit."""
    view = 0
    for box in (tuple(map(float, each)) for each in previous):
        start = view
        while view < len(chooser.covers) and chooser.holds(box, view):
            view += 1
        if view > start:
            yield start, view, box


def chosen(chooser: Chooser, start: int) -> Iterator[Group]:
    """Groups of the views from `start` on: as few as the picture's size allows."""
    while start < len(chooser.covers):
        end, widest = start, 0.0
        box = None
        while end < len(chooser.covers):
            widest = max(widest, _width(chooser.box(end, end + 1)))
            common = chooser.box(start, end + 1)
            if box is not None and _width(common) < _KEPT * widest:
                break
            box, end = common, end + 1
        yield start, end, box
        start = end


def _width(box: Box | None) -> float:
    return 0.0 if box is None else box[2] - box[0]

"""Which part of the reference view the film's picture shows. Pure.

Boxes are left, top, right, bottom in px of the reference view and tell edges: the middle of the
first pixel is 0, so a whole picture of 960 x 720 px reaches from (-0.5, -0.5) to (959.5, 719.5).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Size = tuple[int, int]
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Window:
    """What the film's picture, or a panel of it, shows at one moment.

    Attributes
    ----------
    box : Box
        The part of the reference view.
    size : (int, int)
        Width and height of the picture in px.
    inner : (int, int, int, int)
        Left, top, width and height of where the box is shown, in px of the picture; what is
        around it stays paper.
    """

    box: Box
    size: Size
    inner: tuple[int, int, int, int]

    @property
    def matrix(self) -> np.ndarray:
        """From px of the picture to px of the reference view: (3, 3)."""
        left, top, right, bottom = self.box
        x, y, width, height = self.inner
        across, down = (right - left) / width, (bottom - top) / height
        return np.array(
            [
                [across, 0, left + (0.5 - x) * across],
                [0, down, top + (0.5 - y) * down],
                [0, 0, 1],
            ]
        )

    @property
    def enlarged(self) -> float:
        """How many px of the picture a px of the reference view is wide."""
        return self.inner[2] / (self.box[2] - self.box[0])


def whole_box(shape: tuple[int, int]) -> Box:
    """The box of a whole picture of (height, width)."""
    return (-0.5, -0.5, shape[1] - 0.5, shape[0] - 0.5)


def filled(box: Box, size: Size) -> Window:
    """A window that fills the picture with a box of its shape."""
    return Window(box, size, (0, 0, *size))


def on_paper(box: Box, size: Size, shape: float) -> Window:
    """A window that shows a box of a shape (width over height) whole, with paper at two sides.

    It lies in the middle; its sides are even, as a film's colours have pairs of pixels.
    """
    width, height = min(size[0], size[1] * shape), min(size[1], size[0] / shape)
    width, height = (2 * round(side / 2) for side in (width, height))
    return Window(box, size, ((size[0] - width) // 2, (size[1] - height) // 2, width, height))


def mixed(first: Window, second: Window, share: float) -> Window:
    """A window `share` (0 to 1) of the way from one to another of the same picture.

    Middle and sides go in step along a line: what lies in both ways' ends, if it is convex, holds
    all between them.
    """
    if share <= 0 or first.box == second.box:
        return first
    if share >= 1:
        return second
    box = tuple((1 - share) * a + share * b for a, b in zip(first.box, second.box, strict=True))
    return Window(box, first.size, first.inner)


def eased(share: float) -> float:
    """The share of a way at a share of its time, moved with the least jerk.

    References
    ----------
    Flash & Hogan (1985), Journal of Neuroscience 5: 1688-1703.
    """
    t = min(max(share, 0.0), 1.0)
    return t * t * t * (10 + t * (6 * t - 15))


def union(boxes: Sequence[Box]) -> Box:
    """The smallest box around boxes (n, 4), n at least 1."""
    every = np.asarray(boxes, float)
    return (*map(float, every[:, :2].min(0)), *map(float, every[:, 2:].max(0)))


def shared_area(first: Box, second: Box) -> float:
    """Area that two boxes have in common, in px²."""
    sides = [max(0.0, min(first[k + 2], second[k + 2]) - max(first[k], second[k])) for k in (0, 1)]
    return sides[0] * sides[1]


def area(box: Box) -> float:
    """Area of a box in px²."""
    return shared_area(box, box)

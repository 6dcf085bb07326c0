"""What of the reference view frames show, and the largest windows in it. Pure.

A *cover* is told by half planes: rows (n, 3) of a, b, c, where a x + b y <= c within.
"""

from collections.abc import Sequence

import numpy as np

from lapsekit.film.windows import Box, area, union
from lapsekit.vision.homographies import project

FAR_OFF_SHARE = 0.015
"""A frame this far (of the long side) from where its view stands has no say in what is covered."""

_PLACES = 41


def quad_of(placement: np.ndarray | None, shape: tuple[int, int]) -> np.ndarray:
    """Corners (4, 2) of a frame in the reference view, clockwise from the top left.

    Parameters
    ----------
    placement : ndarray of float (3, 3) or None
        From the reference view to the frame; None where it is taken as it is.
    shape : (height, width)
        Of the frame.
    """
    height, width = shape
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float) - 0.5
    return corners if placement is None else project(np.linalg.inv(placement), corners)


def cover_of(placements: Sequence[np.ndarray | None], shape: tuple[int, int]) -> np.ndarray:
    """What all frames of one view show, but for those that stand far off.

    Parameters
    ----------
    placements : sequence of ndarray of float (3, 3) or None
        Of one view: between two knocks.
    shape : (height, width)
        Of the frames.

    Returns
    -------
    ndarray of float, shape (4, 3)
        Half planes. The frames' edges on one side are bounded by one line within all of them:
        how far they lie within the view's own is largest at one of its ends, or less than a line
        between the two (a largest of lines is convex).
    """
    quads = np.array([quad_of(placement, shape) for placement in placements])
    middle = np.median(quads, 0)
    off = np.linalg.norm(quads - middle, axis=-1).max(-1)
    near = quads[off <= max(max(shape) * FAR_OFF_SHARE, float(np.median(off)))]
    planes = []
    for k in range(4):
        ends, outward = middle[[k, (k + 1) % 4]], _outward(middle[k], middle[(k + 1) % 4])
        inward = [
            max(_depth(end, outward, quad[k], quad[(k + 1) % 4]) for quad in near) for end in ends
        ]
        first, second = (end - by * outward for end, by in zip(ends, inward, strict=True))
        normal = _outward(first, second)
        planes.append([*normal, normal @ first])
    return np.array(planes)


def _outward(start, end):
    """Unit vector to the left of a way: outward, of a picture's edge taken clockwise."""
    along = (end - start) / np.linalg.norm(end - start)
    return np.array([along[1], -along[0]])


def _depth(point, outward, start, end):
    """How far behind a point, against `outward`, the line through two others lies."""
    normal = _outward(start, end)
    return float(normal @ (point - start) / (normal @ outward))


def depth_outside(box: Box, cover: np.ndarray) -> float:
    """How far, in px, a box reaches out of a cover; 0 where it is all within."""
    corners = np.array([[box[x], box[y]] for x in (0, 2) for y in (1, 3)])
    return float(np.maximum(corners @ cover[:, :2].T - cover[:, 2], 0).max())


def largest_box(
    cover: np.ndarray, shape: float, wanted: tuple[float, float] | None = None, room: float = 0.0
) -> Box | None:
    """The largest box of a shape within a cover.

    Parameters
    ----------
    cover : ndarray of float, shape (n, 3)
        Half planes.
    shape : float
        Width over height of the box.
    wanted : (float, float), optional
        Where its middle shall be, as near as its size allows.
    room : float
        Share of its size that is given up: to come nearer to `wanted`, and to hold still while
        the cover shrinks by as little.

    Returns
    -------
    Box or None
        None where nothing is covered.
    """
    from scipy.optimize import linprog

    reach = np.abs(cover[:, 0]) + np.abs(cover[:, 1]) / shape  # of half its width
    free = [(None, None), (None, None), (0, None)]
    found = linprog([0, 0, -1], np.c_[cover[:, :2], reach], cover[:, 2], bounds=free)
    if found.status != 0 or found.x[2] <= 0:
        return None
    x, y, half = found.x
    half *= 1 - room
    if wanted is not None or room:
        aim = np.array(wanted if wanted is not None else (x, y))
        # Two more numbers hold how far the middle is off across and down; their sum is least
        near = [[1, 0, -1, 0], [-1, 0, -1, 0], [0, 1, 0, -1], [0, -1, 0, -1]]
        within = np.c_[cover[:, :2], np.zeros((len(cover), 2))]
        limits = [*(cover[:, 2] - half * (1 - 1e-9) * reach), aim[0], -aim[0], aim[1], -aim[1]]
        moved = linprog(
            [0, 0, 1, 1], np.vstack([within, near]), limits, bounds=[*free[:2], *[(0, None)] * 2]
        )
        x, y = moved.x[:2] if moved.status == 0 else (x, y)
    return tuple(
        round(float(edge), 2) for edge in (x - half, y - half / shape, x + half, y + half / shape)
    )


def best_middle(sides: tuple[float, float], wanted: Sequence[Box]) -> tuple[float, float]:
    """Where a box of some size shows most of what is wanted, and cuts least of it in two.

    What is whole inside counts fully, what is cut by a quarter of what is seen of it; of places
    that are as good, the nearest to the middle of all.

    Parameters
    ----------
    sides : (float, float)
        Width and height in px.
    wanted : sequence of Box
        At least one.

    Returns
    -------
    x, y : float
    """
    left, top, right, bottom = union(wanted)
    middle = ((left + right) / 2, (top + bottom) / 2)
    free = (max(0.0, right - left - sides[0]) / 2, max(0.0, bottom - top - sides[1]) / 2)
    steps = np.linspace(-1, 1, _PLACES)
    x, y = (
        at + half * (steps if half else np.zeros(1)) for at, half in zip(middle, free, strict=True)
    )
    seen = np.zeros((len(x), len(y)))
    for box in wanted:
        shown = np.outer(
            _overlap(x, sides[0], box[0], box[2]), _overlap(y, sides[1], box[1], box[3])
        )
        seen += np.where(shown > 0.999 * area(box), shown, shown / 4)
    off = np.abs(x - middle[0])[:, None] + np.abs(y - middle[1])
    row, column = np.unravel_index(np.lexsort((off.ravel(), -seen.round(3).ravel()))[0], off.shape)
    return float(x[row]), float(y[column])


def _overlap(middles: np.ndarray, side: float, low: float, high: float) -> np.ndarray:
    """How much of a span intervals about some middles hold."""
    ends = np.minimum(middles + side / 2, high) - np.maximum(middles - side / 2, low)
    return np.maximum(ends, 0)

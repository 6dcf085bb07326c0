"""Closed lines in a picture that could be rims of containers.

A container's rim, or the soil within it, is a closed line around a convex shape, rounder or more
rectangular. Lines of equal lightness and of equal colour are drawn at many levels (level sets;
Matas, Chum, Urban & Pajdla 2004, Image and Vision Computing 22); those that close around a convex
shape, follow an edge of the picture, and come again at other levels are candidates. Leaves may hide
a part of a rim: what they hide speaks neither for nor against it.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

LEAST_SHARE, MOST_SHARE = 0.0008, 0.25
"""Shares of the picture that a container may take: a cell of 3 cm on a bench of 1.4 m, to a bed."""

SOLID = 0.92
"""Share of its convex hull that a container fills, leaves counted as filled."""

BOXED = 0.70
"""Share of its narrowest box that a container fills: an ellipse has 0.79, a rectangle 1."""

SLENDER = 7.0
"""Containers are at most so many times as long as broad."""

RIMMED = 0.6
"""Share of the line that must lie on an edge of the picture."""

SHOWN = 0.6
"""Share of the line that leaves may not hide."""

HIDES_PX = 4
"""A leaf's own edge lies within this distance of it, and is no rim."""

EDGE = 0.75
"""An edge is a gradient above that of this share of the picture's pixels."""

ALIKE = 0.8
"""Overlap (intersection over union) from which two lines show one container."""

CERTAIN = 8
"""Levels and channels in which a container shows before it is as good as certain."""

GREEN = 0.92
"""A shape that is leaf for more than this is a plant, and no container."""

_LEVELS = 22
_REACH_PX = 2


@dataclass(frozen=True, eq=False)
class Container:
    """A container in a picture.

    Attributes
    ----------
    hull : (n, 2) float32 ndarray
        Its convex outline, x and y in px.
    area_px : float
    seen : int
        In how many levels and channels.
    rim : float
        Share of its outline that lies on an edge, 0 to 1.
    kind : str
        ``pot``, or ``cell`` of a tray; others may call a plant's own outline ``plant``.
    """

    hull: np.ndarray
    area_px: float
    seen: int
    rim: float
    kind: str = "pot"

    @property
    def confidence(self) -> float:
        """0 to 1: how well its line follows edges, less where it was seen seldom."""
        return float(self.rim * min(1.0, 0.5 + 0.5 * self.seen / CERTAIN))

    def mask(self, shape: tuple[int, int]) -> np.ndarray:
        """Its pixels: (H, W) bool."""
        return _filled(self.hull, shape)


def closed_lines(picture: np.ndarray, leaf: np.ndarray) -> list[Container]:
    """Closed lines that have the shape of a container, each told once.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB; best the median of a day's frames, in which shadows move and rims do not.
    leaf : (H, W) bool ndarray
        Canopy in that picture.

    Returns
    -------
    list of Container
        Some lie within others.
    """
    colours = smooth_colours(picture)
    lines = _distinct(_lines(colours, leaf, _edges(colours)))
    black = cv2.erode((picture.max(axis=2) == 0).view(np.uint8), np.ones((3, 3), np.uint8))
    unseen = cv2.dilate(black, np.ones((15, 15), np.uint8)).view(bool)
    return [line for line in lines if not unseen[line.mask(leaf.shape)].any()]


def smooth_colours(picture: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (each 0 to 255) without grain: (H, W, 3) uint8."""
    return cv2.cvtColor(cv2.medianBlur(picture, 5), cv2.COLOR_RGB2LAB)


def overlap_px(one: Container, other: Container) -> float:
    """Area that two hulls share, in px."""
    return cv2.intersectConvexConvex(one.hull, other.hull)[0]


def _filled(hull: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    found = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(found, np.rint(hull).astype(np.int32), 1)
    return found.view(bool)


def _edges(colours: np.ndarray) -> np.ndarray:
    """Pixels on or beside an edge: (H, W) bool."""
    steep = np.zeros(colours.shape[:2], np.float32)
    for channel in cv2.split(colours):
        along, down = (cv2.Sobel(channel, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
        np.maximum(steep, cv2.magnitude(along, down), out=steep)
    near = cv2.dilate(steep, np.ones((2 * _REACH_PX + 1,) * 2, np.uint8))
    return near > max(np.quantile(near[::2, ::2], EDGE), 1)


def _lines(colours: np.ndarray, leaf: np.ndarray, edges: np.ndarray) -> list[Container]:
    """Every closed line of equal lightness or colour that could be a container's."""
    found, (height, width) = [], leaf.shape
    hidden = cv2.dilate(leaf.view(np.uint8), np.ones((2 * HIDES_PX + 1,) * 2)).view(bool)
    least, most = LEAST_SHARE * leaf.size, MOST_SHARE * leaf.size
    for channel in cv2.split(colours):
        levels = np.unique(np.quantile(channel[::3, ::3], np.linspace(0.03, 0.97, _LEVELS)))
        for level in levels.astype(int):
            above = (channel > level).view(np.uint8)
            above = cv2.morphologyEx(above, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            for line in cv2.findContours(above, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)[0]:
                x, y, w, h = cv2.boundingRect(line)
                if not least < w * h < 2 * most or x < 2 or y < 2:
                    continue
                if x + w < width - 2 and y + h < height - 2:
                    found.append(_container(line, leaf, hidden, edges, least, most))
    return [line for line in found if line is not None]


def _container(line, leaf, hidden, edges, least, most) -> Container | None:
    """A closed line as a container, if it has the shape of one."""
    hull = cv2.convexHull(line)
    area, (size_a, size_b) = cv2.contourArea(hull), cv2.minAreaRect(hull)[1]
    if not least < area < most or area < BOXED * size_a * size_b:
        return None
    if max(size_a, size_b) > SLENDER * min(size_a, size_b):
        return None
    x, y, w, h = cv2.boundingRect(hull)
    box, at = np.s_[y : y + h, x : x + w], (-x, -y)
    whole, filled, rim = (np.zeros((h, w), np.uint8) for _ in range(3))
    cv2.drawContours(whole, [hull], 0, 1, -1, offset=at)
    cv2.drawContours(filled, [line], 0, 1, -1, offset=at)
    cv2.drawContours(rim, [hull], 0, 1, 1, offset=at)
    green, bare = leaf[box], rim.view(bool) & ~hidden[box]
    if np.count_nonzero(filled.view(bool) | (whole.view(bool) & green)) < SOLID * whole.sum():
        return None
    on_edge = np.mean(edges[box][bare]) if bare.sum() > SHOWN * rim.sum() else 0.0
    if on_edge < RIMMED or np.mean(green[whole.view(bool)]) > GREEN:
        return None
    return Container(hull[:, 0].astype(np.float32), float(area), 1, float(on_edge))


def _distinct(lines: list[Container]) -> list[Container]:
    """One of those that show the same container, with how often it was seen."""
    left, found = sorted(lines, key=lambda line: -line.rim * line.area_px**0.25), []
    centres = np.array([line.hull.mean(axis=0) for line in left]).reshape(-1, 2)
    areas = np.array([line.area_px for line in left])
    open_ = np.ones(len(left), bool)
    for number, line in enumerate(left):
        if not open_[number]:
            continue
        reach = 0.5 * line.area_px**0.5
        near = open_ & (np.abs(centres - centres[number]).max(axis=1) < reach)
        near &= (areas > ALIKE * line.area_px) & (areas < line.area_px / ALIKE)
        same = [k for k in np.flatnonzero(near) if is_same(line, left[k])]
        open_[same] = False
        found.append(replace(line, seen=len(same)))
    return [line for line in found if line.seen > 1]


def is_same(one: Container, other: Container) -> bool:
    """Whether two lines show one container."""
    both = overlap_px(one, other)
    return both > ALIKE * (one.area_px + other.area_px - both)

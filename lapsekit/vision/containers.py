"""Containers seen from above: pots, troughs, cells of trays, whatever they are made of.

A container's rim, or the soil within it, is a closed line around a convex shape, rounder or more
rectangular. Lines of equal lightness and of equal colour are drawn at many levels (level sets;
Matas, Chum, Urban & Pajdla 2004, Image and Vision Computing 22); those that close around a convex
shape, follow an edge of the picture, and come again at other levels are candidates. Leaves may hide
a part of a rim: what they hide speaks neither for nor against it.

Whether a shape holds plants is not told by shapes: the printed tag is a rectangle too. A container
is taken where something grows in it, or where it looks within like those in which something grows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import cv2
import numpy as np
from scipy.sparse.csgraph import connected_components

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

GROWS = 0.002
"""Share of a container that must be leaf for something to grow in it."""

INNER = 0.4
"""A line within another that holds at least this share of it is the same container's soil or
inner rim; smaller ones are cells, or things that lie on the soil."""

FEWEST_CELLS = 3
ANGULAR = 0.84
"""Share of its narrowest box that a rectangular container fills, its corners a little round."""

CELLS_DIFFER = 1.7
"""Cells of a tray have about one size: none is so many times larger than their median."""

LIKE_SOIL = 14.0
"""Colours within two containers of one bench differ by less (CIE L*a*b*, each 0 to 255)."""

ROUGH = 1.6
"""And one is not so many times as rough as the other: soil is, a shadow on a board is not."""

SMALL = 0.05
"""As long as no container is leaf for more than this, what stands empty may yet come up."""

CELL_GAP = 0.6
"""Between cells of a tray lies less than this share of their side."""

MOST_SHUT = 0.1
"""Share of a container that may lie where there is surely no plant."""

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


class Leaves:
    """Canopy at one time, in connected pieces.

    Parameters
    ----------
    leaf : (H, W) bool ndarray
    """

    def __init__(self, leaf: np.ndarray):
        count, self._labels = cv2.connectedComponents(leaf.view(np.uint8), connectivity=8)
        self._areas = np.bincount(self._labels.ravel(), minlength=count)

    def rooted_in(self, inside: np.ndarray) -> int:
        """Px of those pieces that lie for the most part inside: others hang in from beside."""
        within = np.bincount(self._labels[inside], minlength=len(self._areas))
        within[0] = 0
        return int(within[2 * within > self._areas].sum())


def find_containers(
    picture: np.ndarray,
    leaf: np.ndarray,
    leaves: Sequence[Leaves],
    closed: np.ndarray | None = None,
) -> list[Container]:
    """Containers in which something grows, and those that look like them within.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB; best the median of a day's frames, in which shadows move and rims do not.
    leaf : (H, W) bool ndarray
        Canopy in that picture.
    leaves : sequence of Leaves
        Canopy at that time and at others.
    closed : (H, W) bool ndarray, optional
        Where there is surely no plant: printed tags, a grey card.

    Returns
    -------
    list of Container
        None overlaps another but for its rim.
    """
    shape = picture.shape[:2]
    colours = cv2.cvtColor(cv2.medianBlur(picture, 5), cv2.COLOR_RGB2LAB)
    lines = _distinct(_lines(colours, leaf, _edges(colours)))
    black = cv2.erode((picture.max(axis=2) == 0).view(np.uint8), np.ones((3, 3), np.uint8))
    unseen = cv2.dilate(black, np.ones((15, 15), np.uint8)).view(bool)
    lines = [line for line in lines if not unseen[line.mask(shape)].any()]
    if closed is not None:
        lines = [line for line in lines if np.mean(closed[line.mask(shape)]) < MOST_SHUT]
    return _planted(_nested(lines), colours, leaf, leaves)


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


def _overlap(one: Container, other: Container) -> float:
    """Area that two hulls share, in px."""
    return cv2.intersectConvexConvex(one.hull, other.hull)[0]


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
        same = [k for k in np.flatnonzero(near) if _is_same(line, left[k])]
        open_[same] = False
        found.append(replace(line, seen=len(same)))
    return [line for line in found if line.seen > 1]


def _is_same(one: Container, other: Container) -> bool:
    both = _overlap(one, other)
    return both > ALIKE * (one.area_px + other.area_px - both)


def _nested(lines: list[Container]) -> list[Container]:
    """Trays taken apart into cells; of lines within lines the outer ones."""
    lines = sorted(lines, key=lambda line: -line.area_px)
    gone, cells = set(), set()
    for number, outer in enumerate(lines):
        if number in gone or number in cells:
            continue
        within = [
            k
            for k in range(number + 1, len(lines))
            if k not in gone and _overlap(outer, lines[k]) > 0.9 * lines[k].area_px
        ]
        small = _apart([k for k in within if lines[k].area_px < INNER * outer.area_px], lines)
        if _are_cells([lines[k] for k in small], outer):
            gone |= {number, *within} - set(small)
            cells |= set(small)
        else:
            gone |= set(within)
    kept = _without_overlaps([line for k, line in enumerate(lines) if k not in gone])
    return _with_cells(kept)


def _with_cells(lines: list[Container]) -> list[Container]:
    """Which of them are cells: angular ones of one size, side by side, three or more together."""
    boxes = [cv2.minAreaRect(line.hull) for line in lines]
    sides = np.array([min(size) for _, size, _ in boxes])
    angular = np.array([
        line.area_px > ANGULAR * size[0] * size[1]
        for line, (_, size, _) in zip(lines, boxes, strict=True)
    ])  # fmt: skip
    near = np.zeros((len(lines),) * 2, bool)
    for k, j in combinations(range(len(lines)), 2):
        alike = max(sides[k], sides[j]) < CELLS_DIFFER**0.5 * min(sides[k], sides[j])
        if angular[k] and angular[j] and alike:
            gap = np.min(np.linalg.norm(lines[k].hull[:, None] - lines[j].hull, axis=2))
            near[k, j] = near[j, k] = gap < CELL_GAP * min(sides[k], sides[j])
    _, group = connected_components(near)
    many = np.bincount(group, minlength=1)[group] >= FEWEST_CELLS
    return [
        replace(line, kind="cell" if cell else "pot")
        for line, cell in zip(lines, many, strict=True)
    ]


def _apart(numbers: list[int], lines: list[Container]) -> list[int]:
    """Of lines within each other the largest that have none but their own kind in them."""
    found: list[int] = []
    for k in sorted(numbers, key=lambda k: -lines[k].confidence * lines[k].area_px):
        if all(_overlap(lines[k], lines[j]) < 0.2 * lines[k].area_px for j in found):
            found.append(k)
    return found


def _are_cells(parts: list[Container], outer: Container) -> bool:
    """Whether these are the cells of a tray: several of one size, that fill it."""
    if len(parts) < FEWEST_CELLS:
        return False
    areas = np.array([part.area_px for part in parts])
    usual = np.median(areas)
    even = (areas < CELLS_DIFFER * usual) & (areas > usual / CELLS_DIFFER)
    return even.mean() > 0.8 and areas.sum() > INNER * outer.area_px


def _without_overlaps(lines: list[Container]) -> list[Container]:
    found: list[Container] = []
    for line in sorted(lines, key=lambda line: -line.confidence):
        if all(_overlap(line, other) < 0.25 * min(line.area_px, other.area_px) for other in found):
            found.append(line)
    return found


def _planted(lines, colours, leaf, leaves) -> list[Container]:
    """Those in which something grows; while all is small, those that look like them within too."""
    fine = np.abs(colours[..., 0].astype(np.float32) - cv2.blur(colours[..., 0], (9, 9)))
    looks, grown = [], []
    for line in lines:
        inside = line.mask(leaf.shape)
        bare = inside & ~leaf
        looks.append(_look(colours[bare], fine[bare]) if bare.any() else None)
        most = max((of.rooted_in(inside) for of in leaves), default=0)
        grown.append(most / max(1, np.count_nonzero(inside)))
    like = [look for look, share in zip(looks, grown, strict=True) if share > GROWS and look]
    small = all(share < SMALL for share in grown)
    return [
        line
        for line, look, share in zip(lines, looks, grown, strict=True)
        if share > GROWS or (small and look and any(_is_like(look, other) for other in like))
    ]


def _look(colours: np.ndarray, fine: np.ndarray) -> tuple[np.ndarray, float]:
    """What a container looks like within: its colour, and how rough it is."""
    return np.median(colours, axis=0), float(np.mean(fine))


def _is_like(one: tuple[np.ndarray, float], other: tuple[np.ndarray, float]) -> bool:
    rough = np.log((one[1] + 0.5) / (other[1] + 0.5))
    return np.abs(one[0] - other[0]).max() < LIKE_SOIL and abs(rough) < np.log(ROUGH)

"""The room of each plant: up to half the way to its neighbours, never over another's."""

from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np

from lapsekit.vision.closed_lines import Container
from lapsekit.vision.free_plants import points_of
from lapsekit.vision.plant_rows import LONG, middles_of_row, turned

ROOM = 2.0
"""A plant may grow this many times as broad as its container before it leaves its region."""

SPREAD = 1.1
"""And at least so many times as far as its leaves reach."""

TIPS = 0.01
"""Share of a plant's leaf pixels, on each side, that count as its tips."""

STRAIGHT_DEG = 3.0
"""Benches that are turned by less are taken as straight."""


@dataclass(frozen=True)
class Proposal:
    """A region that could be.

    Attributes
    ----------
    points : tuple of (x, y)
        Outline in px of the pictures, 3 to 8 points.
    kind : str
        ``pot`` (any container with one plant), ``row`` (one of several plants in a container),
        ``cell``, ``plant`` (no container is seen) or ``stand`` (plants cannot be told apart).
    confidence : float
        0 to 1.
    container : tuple of (x, y)
        Outline of the container that was seen, alike; empty where none was, and for ``row``.
    seen : int, optional
        Number of the latest sight that shows the rim of that container.
    """

    points: tuple[tuple[float, float], ...]
    kind: str
    confidence: float
    container: tuple[tuple[float, float], ...] = ()
    seen: int | None = None


@dataclass(frozen=True)
class Thing:
    """A plant's place, in coordinates that lie straight: boxes are left, top, right, bottom."""

    kind: str
    confidence: float
    stands: np.ndarray
    leaves: list[np.ndarray] = field(default_factory=list)
    container: tuple[tuple[float, float], ...] = ()
    seen: int | None = None

    @property
    def extent(self) -> np.ndarray:
        """Box around container and leaves."""
        boxes = np.array([self.stands, *self.leaves])
        return np.r_[boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)]

    @property
    def wanted(self) -> np.ndarray:
        """Box of the room it would take if it had no neighbours."""
        boxes = [_scaled(self.stands, ROOM if self.kind != "plant" else SPREAD**4)]
        boxes += [_scaled(leaves, SPREAD) for leaves in self.leaves]
        boxes = np.array(boxes)
        return np.r_[boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)]


def angle_of(containers: list[Container]) -> float:
    """By how many degrees, counter-clockwise, rectangular containers are turned in the picture."""
    angles = []
    for container in containers:
        (_, (width, height), angle) = cv2.minAreaRect(container.hull)
        if container.area_px > 0.88 * width * height:
            angles.append(4 * np.deg2rad(angle))
    if not angles:
        return 0.0
    mean = np.rad2deg(np.angle(np.exp(1j * np.array(angles)).mean())) / 4
    return float(mean) if abs(mean) > STRAIGHT_DEG else 0.0


def _reach(points: np.ndarray) -> np.ndarray:
    """Box of nearly all leaves: a tip that lies over a neighbour takes no room."""
    low, high = np.quantile(points, [TIPS, 1 - TIPS], axis=0)
    return np.r_[low, high]


def _box(points: np.ndarray) -> np.ndarray:
    return np.r_[points.min(axis=0), points.max(axis=0)]


def _scaled(box: np.ndarray, times: float) -> np.ndarray:
    """A box grown about its middle by its mean side on all sides alike."""
    more = (times - 1) / 2 * min(box[2] - box[0], box[3] - box[1])
    return box + np.array([-more, -more, more, more])


def things_of(container, number, owner, sights, turn, seen) -> list[Thing]:
    """A container's plants: one, or those that stand in a row."""
    hull = turned(container.hull.astype(float), turn)
    box, leaves = _box(hull), turned(points_of(owner == number), turn)
    sides = box[2:] - box[:2]
    along, short = int(sides[1] > sides[0]), float(min(sides))
    middles = (
        []
        if container.kind != "pot" or max(sides) < LONG * short
        else middles_of_row(container, sights, turn, along, short)
    )
    if len(middles) < 2:
        reach = [_reach(leaves)] if len(leaves) else []
        line = tuple((float(x), float(y)) for x, y in container.hull)
        shown = line if container.kind != "plant" else ()
        last = seen if shown else None
        return [Thing(container.kind, container.confidence, box, reach, shown, last)]
    cuts = [box[along], *(np.add(middles[1:], middles[:-1]) / 2), box[along + 2]]
    found = []
    for first, last in pairwise(cuts):
        part = box.copy()
        part[along], part[along + 2] = first, last
        ends = [-np.inf if first == cuts[0] else first, np.inf if last == cuts[-1] else last]
        mine = leaves[(leaves[:, along] >= ends[0]) & (leaves[:, along] < ends[1])]
        found.append(Thing("row", container.confidence, part, [_reach(mine)] if len(mine) else []))
    return found


def outlines_of(things: list[Thing], turn, shape: tuple[int, int]) -> list[Proposal]:
    """Room for each, up to half the way to its neighbours, and turned back into the picture."""
    if not things:
        return []
    extents = np.array([thing.extent for thing in things])
    wanted = np.array([thing.wanted for thing in things])
    limits = np.tile([-np.inf, -np.inf, np.inf, np.inf], (len(things), 1))
    for one in range(len(things)):
        for other in range(one + 1, len(things)):
            _part(one, other, extents, limits)
    gaps = _cell_margin(things, extents)
    back = cv2.invertAffineTransform(turn)
    found = []
    for thing, extent, room, limit in zip(things, extents, wanted, limits, strict=True):
        if thing.kind == "cell":
            room = extent + gaps * np.array([-1, -1, 1, 1])
        box = np.r_[np.maximum(room[:2], limit[:2]), np.minimum(room[2:], limit[2:])]
        corners = box[[[0, 1], [2, 1], [2, 3], [0, 3]]]
        points = _clipped(turned(corners, back), shape)
        if len(points) >= 3:
            confidence = round(thing.confidence, 2)
            found.append(Proposal(points, thing.kind, confidence, thing.container, thing.seen))
    return _in_order(found)


def _part(one: int, other: int, extents: np.ndarray, limits: np.ndarray) -> None:
    """Half the way between two things, along the axis on which they lie farther apart."""
    gaps = np.maximum(extents[other, :2] - extents[one, 2:], extents[one, :2] - extents[other, 2:])
    axis = int(np.argmax(gaps))
    if (
        extents[one, axis] + extents[one, axis + 2]
        > extents[other, axis] + extents[other, axis + 2]
    ):
        one, other = other, one
    middle = (extents[one, axis + 2] + extents[other, axis]) / 2
    limits[one, axis + 2] = min(limits[one, axis + 2], middle)
    limits[other, axis] = max(limits[other, axis], middle)


def _cell_margin(things: list[Thing], extents: np.ndarray) -> float:
    """How far cells reach beyond their soil at a tray's border: as far as to their neighbours."""
    cells = np.array([thing.stands for thing in things if thing.kind == "cell"]).reshape(-1, 4)
    if len(cells) < 2:
        return 0.0
    nearest = []
    for cell in cells:
        gaps = np.maximum(cells[:, :2] - cell[2:], cell[:2] - cells[:, 2:]).max(axis=1)
        nearest.append(min((gap for gap in gaps if gap > 0), default=0.0))
    return float(np.median(nearest)) / 2


def _clipped(points: np.ndarray, shape: tuple[int, int]) -> tuple[tuple[float, float], ...]:
    """A convex outline as far as it lies in the picture, in whole pixels."""
    height, width = shape
    picture = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    area, inside = cv2.intersectConvexConvex(points.astype(np.float32), picture)
    if inside is None or area < 1:
        return ()
    whole = np.rint(inside[:, 0]).astype(int).tolist()
    return tuple(dict.fromkeys((float(x), float(y)) for x, y in whole))


def _in_order(found: list[Proposal]) -> list[Proposal]:
    """By rows from the top, each from the left: as one reads."""
    boxes = [_box(np.array(proposal.points)) for proposal in found]
    left = sorted(range(len(found)), key=lambda k: boxes[k][1] + boxes[k][3])
    order: list[int] = []
    while left:
        middle, end = (boxes[left[0]][1] + boxes[left[0]][3]) / 2, boxes[left[0]][3]
        row = [k for k in left if boxes[k][1] < middle < boxes[k][3] or boxes[k][3] <= end]
        order += sorted(row, key=lambda k: boxes[k][0])
        left = [k for k in left if k not in row]
    return [found[k] for k in order]

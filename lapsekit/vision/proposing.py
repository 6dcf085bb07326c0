"""Outlines of regions, proposed from containers that can be seen and from what grows.

A region is the room of one plant: its container, its leaves so far, and about as much beside them
as a plant outgrows its pot by, but no more than half the way to its neighbours. Regions never
overlap. A cell of a tray gets its share of the tray. In a long container plants that stand in a row
are told apart. Plants without a container get the room around their leaves; where leaves stand
everywhere, nothing tells plants apart, and the whole picture is one region.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np

from lapsekit.vision.containers import CERTAIN, LIKE_SOIL, Container, Leaves, find_containers

ROOM = 2.0
"""A plant may grow this many times as broad as its container before it leaves its region."""

SPREAD = 1.1
"""And at least so many times as far as its leaves reach."""

TIPS = 0.01
"""Share of a plant's leaf pixels, on each side, that count as its tips."""

LONG = 1.8
"""From this ratio of its sides a container may hold plants in a row, each a region."""

ROW = 0.5
"""Plants of a row stand at least this share of the container's short side apart."""

LESSER = 0.1
"""Leaves of less than this share of the largest plant's beside them are no plant: pieces, weeds."""

STILL_THERE = 0.05
"""Share of an older picture's container that is leaf by now where it still stands, hidden."""

LEAST_PLANT = 0.0004
"""Share of the picture that a plant without a container takes at least; less is a weed."""

JOINED = 0.008
"""Leaves of one plant lie within twice this share of the picture's width of each other."""

BESIDE, TOUCHES = 0.02, 0.003
"""Leaves this near to a container are its plant's, as a share of the picture's mean side: small
pieces, whose stalk may not be seen, and plants."""

MOST_PLANTS = 40
STAND = 0.35
"""More plants without containers than that, or more of the picture under their leaves, are a
stand."""

CUT = 0.4
"""So are plants of which the picture's border cuts more than this share of the leaves, where no
container is seen: a camera over a bench shows plants whole."""

STRAIGHT_DEG = 3.0
"""Benches that are turned by less are taken as straight."""

_PLANT_CONFIDENCE, _STAND_CONFIDENCE = 0.5, 0.3


@dataclass(frozen=True, eq=False)
class Sight:
    """What was seen of a bench at one time.

    Attributes
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, in the reference view; best the median of some frames of a day.
    leaf : (H, W) bool ndarray
        Canopy in it.
    """

    picture: np.ndarray
    leaf: np.ndarray


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
    """

    points: tuple[tuple[float, float], ...]
    kind: str
    confidence: float
    container: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class _Thing:
    """A plant's place, in coordinates that lie straight: boxes are left, top, right, bottom."""

    kind: str
    confidence: float
    stands: np.ndarray
    leaves: list[np.ndarray] = field(default_factory=list)
    container: tuple[tuple[float, float], ...] = ()

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


def without_shadows(pictures: Sequence[np.ndarray]) -> np.ndarray:
    """One picture of a bench from some of different hours: shadows move, and rims do not.

    Parameters
    ----------
    pictures : sequence of (H, W, 3) uint8 ndarray
        In one view and one light.

    Returns
    -------
    (H, W, 3) uint8 ndarray
        Of every pixel the value that a quarter of the pictures exceed: glints are brighter.
    """
    place = (3 * (len(pictures) - 1) + 2) // 4
    return np.partition(np.stack(pictures), place, axis=0)[place]


def propose(sights: Sequence[Sight], closed: np.ndarray | None = None) -> list[Proposal]:
    """Regions for what was seen.

    Parameters
    ----------
    sights : sequence of Sight
        At least one, oldest first; early ones show rims, late ones how far plants reach.
    closed : (H, W) bool ndarray, optional
        Where there is surely no plant: printed tags, a grey card.

    Returns
    -------
    list of Proposal
        From top to bottom and left to right; none where nothing grows.
    """
    shape = sights[-1].leaf.shape
    places = _containers(sights, closed)
    nearest = _Nearest(shape, places)
    loose = _plants(nearest.owners(sights[-1].leaf)[1])
    if len(loose) > MOST_PLANTS or (not places and _goes_on(sights[-1].leaf, loose)):
        return _as_stand(shape)
    angle = _angle_of(places)
    places += _growing_free(sights, nearest)
    owner, _ = nearest.owners(sights[-1].leaf)
    turn = cv2.getRotationMatrix2D((shape[1] / 2, shape[0] / 2), angle, 1)
    things = [
        thing
        for number, place in enumerate(places)
        for thing in _things(place, number, owner, sights, turn)
    ]
    return _outlines(things, turn, shape)


def _goes_on(leaf: np.ndarray, plants: list[np.ndarray]) -> bool:
    """Whether leaves stand everywhere, or the picture's border cuts many: a bed that goes on."""
    if np.mean(leaf) > STAND:
        return True
    last = np.array(leaf.shape[::-1]) - 2
    cut = sum(len(points) for points in plants if points.min() < 2 or (points >= last).any())
    return cut > CUT * max(1, sum(map(len, plants)))


def _as_stand(shape: tuple[int, int]) -> list[Proposal]:
    height, width = shape
    corners = ((0.0, 0.0), (float(width), 0.0), (float(width), float(height)), (0.0, float(height)))
    return [Proposal(corners, "stand", _STAND_CONFIDENCE)]


def _containers(sights: Sequence[Sight], closed) -> list[Container]:
    """Containers of the latest picture, and older ones that must stand there still."""
    leaves = [Leaves(sight.leaf) for sight in sights]
    latest, kept = sights[-1], []
    now = cv2.cvtColor(latest.picture, cv2.COLOR_RGB2LAB)
    for sight in reversed(sights):
        then = cv2.cvtColor(sight.picture, cv2.COLOR_RGB2LAB)
        for found in find_containers(sight.picture, sight.leaf, leaves, closed):
            if any(_shared(found, other) > 0.2 for other in kept):
                continue
            if sight is latest or _stands_still(found, sight, then, latest, now):
                kept.append(found)
    return kept


def _shared(one: Container, other: Container) -> float:
    both = cv2.intersectConvexConvex(one.hull, other.hull)[0]
    return both / min(one.area_px, other.area_px)


def _stands_still(found: Container, sight: Sight, then, latest: Sight, now) -> bool:
    """Whether leaves cover an older container by now, or what is bare of it looks as it did."""
    inside = found.mask(latest.leaf.shape)
    if np.mean(latest.leaf[inside]) > STILL_THERE:
        return True
    before, after = then[inside & ~sight.leaf], now[inside & ~latest.leaf]
    if not len(before) or not len(after):
        return True
    return np.abs(np.median(before, axis=0) - np.median(after, axis=0)).max() < LIKE_SOIL


class _Nearest:
    """Which container every pixel lies nearest to, and how far from it."""

    def __init__(self, shape: tuple[int, int], places: Sequence[Container]):
        self._owner = np.full(shape, -1, np.int16)
        self._away = np.full(shape, np.inf, np.float32)
        self._count = 0
        for place in places:
            self.add(place)

    def add(self, place: Container) -> None:
        """One more container."""
        outside = (~place.mask(self._owner.shape)).view(np.uint8)
        away = cv2.distanceTransform(outside, cv2.DIST_L2, 3)
        nearer = away < self._away
        self._away[nearer], self._owner[nearer] = away[nearer], self._count
        self._count += 1

    def owners(self, leaf: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Whose each pixel of leaf is, by number, -1 for nobody's; and the leaf that is nobody's.

        Plants belong to a container that they touch, small pieces to one that is near.
        """
        count, labels, stats, _ = cv2.connectedComponentsWithStats(_joined(leaf))
        places = np.flatnonzero(leaf)
        of, away = labels.ravel()[places], self._away.ravel()[places]
        nearest = np.full(count, np.inf)
        np.minimum.at(nearest, of, away)
        small = stats[:, cv2.CC_STAT_AREA] < LEAST_PLANT * leaf.size
        mine = nearest < np.where(small, BESIDE, TOUCHES) * np.sqrt(leaf.size)
        owned = leaf & mine[labels]
        return np.where(owned, self._owner, -1), leaf & ~owned


def _growing_free(sights: Sequence[Sight], nearest: _Nearest) -> list[Container]:
    """Plants without a container, as they last stood apart; `nearest` learns of them."""
    found: list[Container] = []
    for sight in reversed(sights):
        free = nearest.owners(sight.leaf)[1]
        for points in _plants(free):
            hull = cv2.convexHull(points.astype(np.float32))[:, 0]
            area = cv2.contourArea(hull)
            plant = Container(hull, area, CERTAIN, _PLANT_CONFIDENCE, "plant")
            grown = area and np.mean(sights[-1].leaf[plant.mask(free.shape)])
            if grown > STILL_THERE and all(_shared(plant, other) < 0.2 for other in found):
                found.append(plant)
                nearest.add(plant)
    return found


def _joined(leaf: np.ndarray) -> np.ndarray:
    """Leaf with what lies close together joined: stalks are narrow, and may not be seen."""
    reach = max(1, round(JOINED * leaf.shape[1]))
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    return cv2.morphologyEx(leaf.view(np.uint8), cv2.MORPH_CLOSE, around)


def _plants(leaf: np.ndarray) -> list[np.ndarray]:
    """Points (n, 2) of each plant without a container."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(_joined(leaf))
    areas = stats[1:, cv2.CC_STAT_AREA]
    least = max(LEAST_PLANT * leaf.size, LESSER * areas.max(initial=0))
    return [_points(labels == k) for k in np.flatnonzero(areas > least) + 1]


def _points(mask: np.ndarray) -> np.ndarray:
    """Pixels of a mask: (n, 2), x and y."""
    return np.argwhere(mask)[:, ::-1].astype(float)


def _angle_of(containers: list[Container]) -> float:
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


def _turned(points: np.ndarray, turn: np.ndarray) -> np.ndarray:
    return points @ turn[:, :2].T + turn[:, 2]


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


def _things(container, number, owner, sights, turn) -> list[_Thing]:
    """A container's plants: one, or those that stand in a row."""
    hull = _turned(container.hull.astype(float), turn)
    box, leaves = _box(hull), _turned(_points(owner == number), turn)
    sides = box[2:] - box[:2]
    along, short = int(sides[1] > sides[0]), float(min(sides))
    middles = (
        []
        if container.kind != "pot" or max(sides) < LONG * short
        else _row(container, sights, turn, along, short)
    )
    if len(middles) < 2:
        reach = [_reach(leaves)] if len(leaves) else []
        seen = tuple((float(x), float(y)) for x, y in container.hull)
        shown = seen if container.kind != "plant" else ()
        return [_Thing(container.kind, container.confidence, box, reach, shown)]
    cuts = [box[along], *(np.add(middles[1:], middles[:-1]) / 2), box[along + 2]]
    found = []
    for first, last in pairwise(cuts):
        part = box.copy()
        part[along], part[along + 2] = first, last
        ends = [-np.inf if first == cuts[0] else first, np.inf if last == cuts[-1] else last]
        mine = leaves[(leaves[:, along] >= ends[0]) & (leaves[:, along] < ends[1])]
        found.append(_Thing("row", container.confidence, part, [_reach(mine)] if len(mine) else []))
    return found


def _row(container, sights, turn, along: int, short: float) -> list[float]:
    """Where plants stand along a container, from the latest picture that shows most of them."""
    best: list[float] = []
    inside = container.mask(sights[-1].leaf.shape)
    for sight in reversed(sights):
        found = _gathered(sight.leaf & inside, turn, along, short)
        if len(found) > len(best):
            best = found
    return best


def _gathered(leaf: np.ndarray, turn, along: int, short: float) -> list[float]:
    """Middles of the plants of a row, seen at one time."""
    _, _, stats, middles = cv2.connectedComponentsWithStats(leaf.view(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA].astype(float)
    if not len(areas):
        return []
    at = _turned(middles[1:], turn)[:, along]
    groups: list[tuple[float, float]] = []
    for place, area in sorted(zip(at, areas, strict=True)):
        if groups and place - groups[-1][0] < ROW * short:
            before, size = groups[-1]
            groups[-1] = (before * size + place * area) / (size + area), size + area
        else:
            groups.append((place, area))
    least = LESSER * max(size for _, size in groups)
    return [float(place) for place, size in groups if size >= least]


def _outlines(things: list[_Thing], turn, shape: tuple[int, int]) -> list[Proposal]:
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
        points = _clipped(_turned(corners, back), shape)
        if len(points) >= 3:
            confidence = round(thing.confidence, 2)
            found.append(Proposal(points, thing.kind, confidence, thing.container))
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


def _cell_margin(things: list[_Thing], extents: np.ndarray) -> float:
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

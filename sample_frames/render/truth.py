"""What is true in every frame: masks, areas, camera positions; no Blender needed.

Visibility is decided at the centres of sub-pixels, nine to a pixel of the frame; a mask takes
the middle one of the nine.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from .bench import container_things
from .layout import CAMERA_HEIGHT_M, HEIGHT, WIDTH, View
from .moment import bench_at, plants_at
from .raster import Buffer, triangles_of
from .story import Frame, camera_turn, day_time
from .visitor import visitor_at

FINE = 3
LEVEL_GRID_M, LEVEL_WEST_M, LEVEL_NORTH_M, LEVEL_SHAPE = 0.0005, -0.72, 0.54, (2160, 2880)
PAIR = ("trough-red-lettuce", "trough-pak-choi")


@dataclass(frozen=True)
class Seen:
    """One plant in one frame.

    Attributes
    ----------
    name : str
    area_px : float
        Visible canopy in pixels of the frame (in ninths).
    area_cm2 : float
        The same, projected onto the bench plane.
    area_level_cm2 : float
        Canopy visible from straight above, at its true height (orthographic).
    leaves : int
    law_cm2 : float
        Leaf area by the growth law.
    height_cm : float
        Of its highest point over the bench.
    """

    name: str
    area_px: float
    area_cm2: float
    area_level_cm2: float
    leaves: int
    law_cm2: float
    height_cm: float


@dataclass(frozen=True)
class Truth:
    """One frame's truth: `mask` (720, 960) of plant numbers, `pair` its bits for full outlines."""

    mask: np.ndarray
    pair: np.ndarray
    seen: tuple[Seen, ...]


def truth_of(frame: Frame) -> Truth:
    """Work out the truth of a frame."""
    time = day_time(frame.moment)
    view = View(*camera_turn(time))
    plants = [(p, *p.mesh.arrays()[:2]) for p in plants_at(frame.moment)]
    things = [t for pot in bench_at(time) for t in container_things(pot)]
    above = things
    if frame.state == "obstructed":
        things = [*things, *visitor_at(frame.moment)]

    def seen_by_camera(points):
        pixels, depth = view.project(points)
        return pixels * FINE, 1 / depth

    fine = _visible(Buffer(HEIGHT * FINE, WIDTH * FINE), plants, things, seen_by_camera)
    level = _visible(Buffer(*LEVEL_SHAPE), plants, above, _from_straight_above)
    weight = view.bench_area_cm2(fine.shape).ravel()
    count = len(plants) + 1
    px = np.bincount(fine.ravel(), minlength=count) / FINE**2
    cm2 = np.bincount(fine.ravel(), weights=weight, minlength=count)
    level_cm2 = np.bincount(level.ravel(), minlength=count) * LEVEL_GRID_M**2 * 1e4
    seen = tuple(
        Seen(plant.name, px[i], cm2[i], level_cm2[i], plant.leaves, plant.law_cm2,
             100 * points[:, 2].max(initial=0.0))
        for i, (plant, points, _) in enumerate(plants, start=1)
    )  # fmt: skip
    return Truth(fine[FINE // 2 :: FINE, FINE // 2 :: FINE], _pair(plants, view), seen)


def _visible(buffer, plants, things, project):
    for number, (_, points, quads) in enumerate(plants, start=1):
        if len(points):
            buffer.fill(*project(points), triangles_of(quads), number)
    occupied = buffer.labels.reshape(buffer.shape) > 0
    total = occupied.cumsum(0, dtype=np.int32).cumsum(1, dtype=np.int32)
    total = np.pad(total, ((1, 0), (1, 0)))
    for thing in things:
        pixels, near = project(thing.points)
        faces = triangles_of(thing.faces)
        buffer.fill(pixels, near, faces[_near_plants(pixels, faces, total)], 0)
    return buffer.labels.reshape(buffer.shape)


def _near_plants(pixels, faces, total):
    """Which triangles' boxes hold a pixel of a plant; the others cannot hide anything."""
    rows, columns = np.array(total.shape) - 1
    corners = pixels[faces]
    x0, y0 = np.clip(np.floor(corners.min(1)).astype(int), 0, [columns, rows]).T
    x1, y1 = np.clip(np.ceil(corners.max(1)).astype(int) + 1, 0, [columns, rows]).T
    return total[y1, x1] - total[y0, x1] - total[y1, x0] + total[y0, x0] > 0


def _from_straight_above(points):
    x = (points[:, 0] - LEVEL_WEST_M) / LEVEL_GRID_M
    y = (LEVEL_NORTH_M - points[:, 1]) / LEVEL_GRID_M
    return np.stack([x, y], -1), points[:, 2] - CAMERA_HEIGHT_M


def _pair(plants, view):
    """Full outlines of the two trough plants that meet: bit 1 the lettuce, bit 2 the pak choi."""
    bits = np.zeros((HEIGHT, WIDTH), np.uint8)
    for plant, points, quads in plants:
        if plant.name in PAIR and len(points):
            alone = Buffer(HEIGHT, WIDTH)
            pixels, depth = view.project(points)
            alone.fill(pixels, 1 / depth, triangles_of(quads), 1 + PAIR.index(plant.name))
            bits |= alone.labels.reshape(HEIGHT, WIDTH)
    return bits


def registration(moment: dt.datetime) -> np.ndarray:
    """Homography from pixels of the reference view to those of the frame, shape (3, 3).

    Here the centre of the top left pixel is at (0, 0), as in the season's own files; `View`
    has its corner there.
    """
    to_corners = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    matrix = (
        np.linalg.inv(to_corners)
        @ View(*camera_turn(day_time(moment))).from_reference()
        @ to_corners
    )
    return matrix / matrix[2, 2]

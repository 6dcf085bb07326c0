"""Where everything stands on the bench, and what the camera sees of it (pure numbers).

Lengths in metres; x to the right of the picture (east), y up (north), z up, the bench top at 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

WIDTH, HEIGHT = 960, 720
CAMERA_HEIGHT_M, VIEW_WIDTH_M = 1.60, 1.36
FOCAL_PX = WIDTH * CAMERA_HEIGHT_M / VIEW_WIDTH_M
CAMERA_PLACE = (0.012, -0.02, CAMERA_HEIGHT_M)
MOUNTING_TILT_DEG = (0.9, 0.5, 0.7)
PX_PER_CM = FOCAL_PX / CAMERA_HEIGHT_M / 100

TAG_CENTRE, TAG_TURN_DEG, TAG_PLATE_M, TAG_SQUARE_M, TAG_TOP_M = (
    (-0.505, -0.4),
    3.0,
    0.18,
    0.14,
    0.003,
)
CARDS = (
    ("grey", (-0.325, -0.41), (0.05, 0.035), -5.0),
    ("white", (-0.22, -0.4), (0.035,) * 2, -2.0),
)
TRAY_CELL_M, TRAY_COLUMNS, TRAY_ROWS, TRAY_RIM_M = 0.060, 5, 2, 0.006


@dataclass(frozen=True)
class Container:
    """A pot, the trough or a module tray.

    Attributes
    ----------
    name : str
    kind : {"terracotta", "plastic", "trough", "tray"}
    x, y : float
        Centre on the bench.
    half : tuple of float
        Half sizes of the outer rim; equal for a round pot.
    height, soil : float
        Height of the rim and of the soil over the bench.
    labelled : bool
        Whether a plant label stands in it.
    """

    name: str
    kind: str
    x: float
    y: float
    half: tuple[float, float]
    height: float
    soil: float
    labelled: bool = False

    @property
    def is_round(self) -> bool:
        """Whether the rim is a circle."""
        return self.kind in ("terracotta", "plastic")

    def beyond_rim(self, x, y):
        """Signed distance from the rim's middle line, negative inside."""
        if self.is_round:
            return np.hypot(x - self.x, y - self.y) - self.half[0]
        dx, dy = np.abs(x - self.x) - self.half[0], np.abs(y - self.y) - self.half[1]
        return np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0)

    def floor(self, x, y):
        """Lowest height a leaf may have there: on the soil, over the rim, down to the bench."""
        if self.kind == "tray":
            return np.full(np.shape(x), self.height + 0.0015)
        away = self.beyond_rim(x, y)
        rim, ground = self.height + 0.004, self.soil + 0.0035
        rise = np.clip((away + 0.026) / 0.016, 0, 1)
        inside = ground + (rim - ground) * rise**2 * (3 - 2 * rise)
        return np.maximum(np.where(away < 0.006, inside, rim - 1.6 * (away - 0.006)), 0.004)


def _pot(name, x, y, radius, height=0.105, kind="terracotta", labelled=True):
    return Container(name, kind, x, y, (radius, radius), height, height - 0.018, labelled)


_AT_FIRST = (
    _pot("green-lettuce", -0.48, 0.262, 0.105),
    _pot("red-lettuce", -0.175, 0.268, 0.1),
    _pot("sunflower", 0.115, 0.262, 0.088),
    _pot("pak-choi", 0.415, 0.262, 0.098),
    _pot("basil", -0.488, -0.085, 0.054, 0.085, labelled=False),
    _pot("chives", -0.278, -0.08, 0.072, 0.095, labelled=False),
    _pot("chard", -0.05, -0.082, 0.062, 0.09, "plastic", labelled=False),
    Container("trough", "trough", 0.334, -0.085, (0.235, 0.085), 0.13, 0.112),
    Container("tray-a", "tray", 0.118, -0.388, (0.156, 0.066), 0.05, 0.044),
    Container("tray-b", "tray", 0.450, -0.388, (0.156, 0.066), 0.05, 0.044),
)


def containers(potted_on: bool, replanted: bool, moved: bool) -> tuple[Container, ...]:
    """Every container as it stands after those of the season's changes that have happened."""
    found = {c.name: c for c in _AT_FIRST}
    if potted_on:
        found["basil"] = _pot("basil", -0.488, -0.085, 0.082, 0.11)
    if replanted:
        found["chard"] = _pot("chard", -0.05, -0.082, 0.094, 0.115, "plastic")
    if moved:
        for name, dx, dy in (("basil", 0.026, -0.018), ("chives", -0.004, 0.036)):
            found[name] = replace(found[name], x=found[name].x + dx, y=found[name].y + dy)
    return tuple(found.values())


def plug_offset(number: int) -> tuple[float, float]:
    """Centre of plug 1 to 10 from the tray's centre; 1 to 5 in the upper row."""
    column, row = (number - 1) % TRAY_COLUMNS, (number - 1) // TRAY_COLUMNS
    return (column - 2) * TRAY_CELL_M, (0.5 - row) * TRAY_CELL_M


def turn(x_rad: float, y_rad: float, z_rad: float) -> np.ndarray:
    """Rotation about x, then y, then z, shape (3, 3)."""
    (cx, cy, cz), (sx, sy, sz) = np.cos([x_rad, y_rad, z_rad]), np.sin([x_rad, y_rad, z_rad])
    about_x = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_z = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return about_z @ about_y @ about_x


class View:
    """A pinhole camera over the bench, turned about its own centre by a knock or by drift.

    Parameters
    ----------
    shift_px : tuple of float
        How far the picture's centre moves to the right and down, against the reference view.
    roll_deg : float
        How far the picture turns about its centre, clockwise on the screen.
    """

    def __init__(self, shift_px=(0.0, 0.0), roll_deg=0.0):
        self.place = np.array(CAMERA_PLACE)
        pan, tilt = np.arctan(shift_px[0] / FOCAL_PX), np.arctan(shift_px[1] / FOCAL_PX)
        self.nudge = turn(tilt, pan, np.deg2rad(roll_deg))
        self.axes = turn(*np.deg2rad(MOUNTING_TILT_DEG)) @ self.nudge

    def project(self, points):
        """Pixels (x right, y down; a pixel's centre at .5) and distance along the axis (m)."""
        seen = (np.asarray(points) - self.place) @ self.axes
        depth = -seen[:, 2]
        x = WIDTH / 2 + FOCAL_PX * seen[:, 0] / depth
        y = HEIGHT / 2 - FOCAL_PX * seen[:, 1] / depth
        return np.stack([x, y], -1), depth

    def from_reference(self) -> np.ndarray:
        """Homography from reference pixels to this view's, exact at every height: (3, 3)."""
        lens = np.array([[FOCAL_PX, 0, WIDTH / 2], [0, FOCAL_PX, HEIGHT / 2], [0, 0, 1.0]])
        lens = lens @ np.diag([1.0, -1.0, -1.0])
        matrix = lens @ self.nudge.T @ np.linalg.inv(lens)
        return matrix / matrix[2, 2]

    def bench_area_cm2(self, shape) -> np.ndarray:
        """Bench area each pixel of a picture of `shape` covers, in cm²."""
        rows, columns = shape
        scale = WIDTH / columns
        y, x = np.mgrid[0:rows, 0:columns] * scale + scale / 2
        rays = np.stack(
            [(x - WIDTH / 2) / FOCAL_PX, (HEIGHT / 2 - y) / FOCAL_PX, -np.ones_like(x)], -1
        )
        down = -(rays @ self.axes[2])
        return (CAMERA_HEIGHT_M**2 / down**3) * (scale / FOCAL_PX) ** 2 * 1e4


def tag_corners() -> np.ndarray:
    """Corners of the printed square in OpenCV's order, from the top left: (4, 3)."""
    half = TAG_SQUARE_M / 2
    square = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
    c, s = np.cos(np.deg2rad(TAG_TURN_DEG)), np.sin(np.deg2rad(TAG_TURN_DEG))
    return np.c_[square @ np.array([[c, s], [-s, c]]) + TAG_CENTRE, np.full(4, TAG_TOP_M)]

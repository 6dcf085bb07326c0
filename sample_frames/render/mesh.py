"""A plant's surface put together from leaves and stalks, and the posture it is drawn in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Posture:
    """How a plant holds its leaves at one moment.

    Attributes
    ----------
    limp : float
        Loss of turgor, 0 to 1.
    lift : float
        Leaves up (positive) or down by the time of day (rad).
    towards : tuple of float
        Lean of a stem's top, east and north, over its height.
    breeze : int
        Seed of the small movements of the air.
    gnawed : float
        Share of the pest damage done.
    """

    limp: float = 0.0
    lift: float = 0.0
    towards: tuple[float, float] = (0.0, 0.0)
    breeze: int = 0
    gnawed: float = 0.0


@dataclass
class Mesh:
    """A plant's surface: points (n, 3) in m, quads (m, 4), and what colours them."""

    points: list = field(default_factory=list)
    quads: list = field(default_factory=list)
    uv: list = field(default_factory=list)
    tint: list = field(default_factory=list)
    material: list = field(default_factory=list)
    count: int = 0

    def add(self, surface, material, tint=(1, 1, 1), keep=None):
        """Add one grid of points; `keep` (rows - 1, columns - 1) leaves quads out."""
        points, uv = surface
        rows, columns = points.shape[:2]
        at = np.arange(rows * columns).reshape(rows, columns) + self.count
        quads = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], -1)
        quads = quads.reshape(-1, 4) if keep is None else quads[keep]
        self.points.append(points.reshape(-1, 3))
        self.quads.append(quads)
        self.uv.append(uv.reshape(-1, 2))
        self.tint.append(np.tile(np.asarray(tint, float), (rows * columns, 1)))
        self.material.append(np.full(len(quads), material))
        self.count += rows * columns

    def arrays(self):
        """Points, quads, uv, tint and material names as arrays; empty without any part."""
        if not self.points:
            return np.zeros((0, 3)), np.zeros((0, 4), int), np.zeros((0, 2)), np.zeros((0, 3)), []
        parts = (self.points, self.quads, self.uv, self.tint, self.material)
        return tuple(np.concatenate(part) for part in parts)

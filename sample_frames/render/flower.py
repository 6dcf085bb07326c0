"""The sunflower's flower head."""

from __future__ import annotations

import numpy as np

from .leaves import Pose, Shape, strip_leaf
from .mesh import Mesh

PETAL = Shape("seed", 0.30, 0.1, 0.0, 2, 0.0, 0.02, (10, 5))


def add_flower(mesh: Mesh, top, opened: float, limp: float, rng):
    """Add a flower head: `opened` 0 (bud) to 1, `limp` 0 to 1 (see Posture)."""
    radius = 0.026 * opened**0.6
    turn = np.linspace(0, 2 * np.pi, 25)
    rings = np.array([[1.0, 0.002], [0.96, 0.008], [0.6, 0.011], [0.02, 0.009]])
    disc = np.stack([radius * rings[:, :1] * np.cos(turn), radius * rings[:, :1] * np.sin(turn),
                     np.broadcast_to(rings[:, 1:], (4, 25))], -1) + top  # fmt: skip
    uv = np.stack(np.broadcast_arrays(turn[None] / 6.3, rings[:, :1]), -1)
    mesh.add((disc, uv), "flower disc")
    for k in range(36):
        length = (0.046 - 0.008 * (k % 2)) * max(0.05, 2 * opened - 1) * rng.uniform(0.85, 1.1)
        azimuth = 2 * np.pi * k / 36 + rng.normal(0, 0.05)
        base = (
            top
            + radius * np.array([np.cos(azimuth), np.sin(azimuth), 0]) * 0.9
            + [0, 0, 0.002 + 0.002 * (k % 2)]
        )
        pose = Pose(length, 0.0125, 0.9 - 0.65 * opened - 0.5 * limp, 0.4, azimuth, tuple(base))
        mesh.add(strip_leaf(PETAL, pose, rng), "petal", rng.uniform(0.88, 1.08) * np.ones(3))

"""Damage by pests: holes in leaves."""

from __future__ import annotations

import numpy as np

from .leaves import Pose


def gnaw(uv, pose: Pose, rng, share: float) -> np.ndarray:
    """Bite round holes into a leaf, more and wider with the share of damage done.

    Parameters
    ----------
    uv : ndarray, shape (rows, columns, 2)
        Texture coordinates of the leaf's grid.
    pose : Pose
    rng : numpy.random.Generator
        The leaf's own; the same holes come every time.
    share : float
        0 to 1.

    Returns
    -------
    ndarray of bool, shape (rows - 1, columns - 1)
        The quads that are left.
    """
    rows, columns = uv.shape[:2]
    where = np.stack([(uv[..., 0] * 2 - 1) * pose.width / 2 * 0.9, uv[..., 1] * pose.length], -1)
    keep = np.ones((rows - 1, columns - 1), bool)
    for _ in range(rng.integers(4, 17)):
        onset, widest = rng.uniform(0, 0.85), rng.uniform(0.0022, 0.0075)
        edge = rng.uniform() < 0.35
        at = np.array([rng.choice([-1, 1]) * 0.86 if edge else rng.uniform(-0.72, 0.72),
                       rng.uniform(0.5, 0.93)]) * [pose.width / 2, pose.length]  # fmt: skip
        radius = widest * np.clip((share - onset) / 0.3, 0, 1) * min(1, pose.length / 0.09)
        if radius < 0.0007:
            continue
        middle = (where[:-1, :-1] + where[1:, 1:] + where[:-1, 1:] + where[1:, :-1]) / 4
        squeeze = np.array([1, rng.uniform(0.7, 1.3)])
        keep &= np.linalg.norm((middle - at) * squeeze, axis=-1) > radius
    return keep

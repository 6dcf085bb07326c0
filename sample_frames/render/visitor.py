"""The gardener in the picture: a sleeve, a gloved hand and a straw hat, as meshes (numpy only)."""

from __future__ import annotations

import datetime as dt

import numpy as np

from .bench import Thing, lathe
from .leaves import tube
from .story import day_time

# day number -> where the hand is (m), and where the hat's middle is, or None
_POSES = {
    30: ((-0.44, -0.13, 0.13), (-0.30, -0.36, 0.46)),
    39: ((0.05, -0.12, 0.15), (0.28, -0.37, 0.48)),
    50: ((-0.38, 0.20, 0.19), (-0.36, -0.33, 0.50)),
    62: ((0.40, -0.30, 0.16), None),
}


def _grid_thing(name, points, material):
    rows, columns = points.shape[:2]
    at = np.arange(rows * columns).reshape(rows, columns)
    faces = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], -1).reshape(-1, 4)
    return Thing(name, points.reshape(-1, 3), faces, material, smooth=True)


def _limb(start, end, wide, narrow, sag, seed):
    """A soft tube with rounded end and folds."""
    rng = np.random.default_rng(seed)
    u = np.linspace(0, 1, 40)
    path = np.asarray(start) + u[:, None] * (np.asarray(end) - start)
    path[:, 2] -= sag * np.sin(np.pi * u)
    points, _ = tube(path, wide, narrow, 24)
    turn = np.linspace(0, 2 * np.pi, 25)
    folds = 1 + 0.03 * np.sin(22 * u[:, None] + 2 * np.sin(turn + rng.uniform(0, 6)))
    folds = folds * np.sqrt(np.clip((1 - u[:, None]) * 14, 0.01, 1))
    return path[:, None] + (points - path[:, None]) * folds[..., None]


def visitor_at(moment: dt.datetime) -> tuple[Thing, ...]:
    """Arm, glove and hat of an obstructed frame."""
    day = int(day_time(moment))
    hand, hat = _POSES[day]
    hand = np.array(hand)
    shoulder = np.array([hand[0] + (0.14 if hand[0] < 0 else -0.16), -0.72, 0.42])
    wrist = hand + (shoulder - hand) * 0.2
    cuff = wrist + (shoulder - hand) * 0.05
    found = [
        _grid_thing("sleeve", _limb(shoulder, wrist, 0.060, 0.038, 0.03, day), "cloth"),
        _grid_thing("palm", _limb(cuff, hand, 0.030, 0.040, 0, day), "glove"),
    ]
    ahead = (hand - shoulder) / np.linalg.norm(hand - shoulder)
    side = np.array([-ahead[1], ahead[0], 0])
    for k, (spread, long) in enumerate(
        ((-0.9, 0.06), (-0.35, 0.085), (0.1, 0.09), (0.5, 0.08), (1.5, 0.06))
    ):
        foot = hand + side * (k - 2) * 0.017 - ahead * 0.012
        tip = foot + (ahead + 0.35 * spread * side) * long - [0, 0, 0.035]
        found.append(
            _grid_thing(f"finger {k}", _limb(foot, tip, 0.0125, 0.0105, -0.012, k), "glove")
        )
    if hat:
        profile = [(0.19, 0.0), (0.185, 0.006), (0.115, 0.004), (0.10, 0.012), (0.092, 0.075),
                   (0.075, 0.098), (0.045, 0.108), (0.0005, 0.110)]  # fmt: skip
        points, faces = lathe(profile, 96)
        wave = (
            0.012
            * np.sin(3 * np.arctan2(points[:, 1], points[:, 0]))
            * (np.hypot(*points.T[:2]) > 0.15)
        )
        found.append(
            Thing(
                "hat", points + np.c_[0 * wave, 0 * wave, wave] + hat, faces, "straw", smooth=True
            )
        )
    return tuple(found)

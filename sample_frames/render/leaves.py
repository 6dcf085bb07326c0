"""Leaf and stem surfaces as grids of points (numpy only).

A surface is a pair: points (rows, columns, 3) and texture coordinates (rows, columns, 2).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np


@dataclass(frozen=True)
class Shape:
    """How a species' leaves are shaped.

    Attributes
    ----------
    outline : str
        A name of `half_width`, or "fan" for the frilled lettuce leaf.
    slim : float
        Width over length.
    cup, ruffle, waves, blister, wavy : float
        Hollow across; height and number of waves along the margin; height of the bubbles between
        veins over the length; depth of the outline's irregularities.
    grid : tuple of int
        Rows along and columns across of a grown leaf.
    """

    outline: str
    slim: float
    cup: float = 0.15
    ruffle: float = 0.05
    waves: float = 3.0
    blister: float = 0.004
    wavy: float = 0.03
    grid: tuple[int, int] = (26, 13)


@dataclass(frozen=True)
class Pose:
    """How one leaf stands: angles in rad, length and base in m."""

    length: float
    width: float
    rise: float
    bend: float
    azimuth: float
    base: tuple[float, float, float]
    twist: float = 0.0
    hollow: float = 0.0


def sigmoid(x):
    """Logistic function."""
    return 1 / (1 + np.exp(-x))


def half_width(outline: str, u: np.ndarray) -> np.ndarray:
    """Half width (0..1) of a leaf at the places `u` (0 base, 1 tip) along it."""
    if outline == "spoon":
        v = np.clip((u - 0.38) / 0.62, 0, 1)
        blade = np.sqrt(np.clip(1 - (2 * v**1.08 - 1) ** 2, 0, 1))
        stalk, k = 0.17 * (1 - 0.35 * u / 0.45), sigmoid((u - 0.43) / 0.03)
        w = stalk * (1 - k) + blade * k
    elif outline == "paddle":  # chard: long narrow stalk, blade with a shouldered base
        v = np.clip((u - 0.42) / 0.58, 0, 1)
        blade = np.sin(np.pi * v**0.80) ** 0.56
        w = np.maximum(blade * sigmoid((u - 0.44) / 0.018), 0.10 * (1 - 0.3 * u) * (u < 0.9))
    elif outline == "tongue":  # corn salad
        w = np.clip(u / 0.55, 0, 1) ** 0.8 * (0.28 + 0.72 * np.clip(u / 0.6, 0, 1))
        w = np.where(u > 0.62, np.sqrt(np.clip(1 - ((u - 0.62) / 0.38) ** 2, 0, 1)), w)
        w = np.maximum(w, 0.22 * (u < 0.5))
    elif outline == "egg":
        v = np.clip((u - 0.16) / 0.84, 0, 1)
        w = np.maximum(np.sin(np.pi * v**0.72) ** 0.85 * (1 - 0.15 * v), 0.04 * (u < 0.2))
    elif outline == "heart":
        v = np.clip((u - 0.33) / 0.67, 0, 1)
        w = np.maximum(np.sin(np.pi * v**0.52) ** 0.8 * (1 - 0.22 * v), 0.04 * (u < 0.37))
    elif outline == "lobed":
        v = np.clip((u - 0.2) / 0.8, 0, 1)
        lobes = 0.42 + 0.58 * np.abs(np.cos(np.pi * 2.6 * (1 - v) ** 1.2)) ** 0.8
        w = np.maximum(np.sin(np.pi * v**1.15) ** 0.7 * lobes, 0.05 * (u < 0.97))
    else:  # seed leaf
        v = np.clip((u - 0.3) / 0.7, 0, 1)
        w = np.maximum(np.sin(np.pi * v**0.8) ** 0.6, 0.09 * (u < 0.5))
    w = np.nan_to_num(w)
    w[-1] = min(w[-1], 0.03)
    return w


@cache
def _fan_margin(steps: int) -> tuple[np.ndarray, np.ndarray]:
    """Margin of a lettuce leaf of length and width 1, evenly spaced from base over tip to base."""
    q = np.linspace(-1, 1, 2001)
    a = np.abs(q)
    x = (1 + np.cos(np.pi * q)) / 2
    y = np.sign(q) * 0.5 * np.sin(np.pi * a**0.8)
    along = np.concatenate([[0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    even = np.linspace(0, along[-1], steps)
    return np.interp(even, along, x), np.interp(even, along, y)


@cache
def form_factor(outline: str) -> float:
    """Flat area of a leaf over length times width."""
    if outline == "fan":
        x, y = _fan_margin(801)
        return float(abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2)
    u = np.linspace(0, 1, 2001)
    w = half_width(outline, u)
    return float(((w[1:] + w[:-1]) / 2).mean())


def _stand(x, y, n, pose, tip):
    """Bend the flat leaf (x along, y across, n out of its plane; m) and put it in its place."""
    u = np.linspace(0, 1, 60)
    angle = pose.rise - pose.bend * u**1.3
    ahead = np.concatenate([[0], np.cumsum(np.cos(angle[:-1]))]) / 59 * pose.length
    up = np.concatenate([[0], np.cumsum(np.sin(angle[:-1]))]) / 59 * pose.length
    place = np.clip(x / pose.length, 0, 1.25)
    over = np.maximum(place - 1, 0) * pose.length
    here = pose.rise - pose.bend * np.minimum(place, 1) ** 1.3
    out = np.interp(place, u, ahead) + over * np.cos(here)
    high = np.interp(place, u, up) + over * np.sin(here)
    turn = pose.twist * place
    side = y * np.cos(turn) - n * np.sin(turn) + tip * pose.length * np.sin(place * 2.2 + tip * 40)
    lift = y * np.sin(turn) + n * np.cos(turn)
    out, high = out - np.sin(here) * lift, high + np.cos(here) * lift
    c, s = np.cos(pose.azimuth), np.sin(pose.azimuth)
    return np.stack([out * c - side * s, out * s + side * c, high], -1) + np.asarray(pose.base)


def strip_leaf(shape: Shape, pose: Pose, rng):
    """A leaf as a strip along its midrib."""
    phase = rng.uniform(0, 2 * np.pi, 6)
    rows, columns = shape.grid
    if pose.length < 0.02:
        rows, columns = max(10, rows // 2), max(7, columns // 2 | 1)
    u = 1 - (1 - np.linspace(0, 1, rows)) ** 1.4
    across, along = np.meshgrid(np.linspace(-1, 1, columns), u)
    a = np.abs(across)
    side = across >= 0
    base = 2 * np.pi * shape.waves * along
    wave = np.sin(base + np.where(side, phase[0], phase[1]))
    wave = wave + 0.5 * np.sin(2.1 * base + np.where(side, phase[2], phase[3]))
    half = half_width(shape.outline, u)[:, None] * pose.width / 2
    half = half * (1 + shape.wavy * wave * a**3)
    hollow = shape.cup + pose.hollow
    y = half * across * (1 - 0.18 * abs(hollow) * a)
    n = hollow * half * across**2 + shape.ruffle * half * wave * a**2.2 * np.clip(along * 1.6, 0, 1)
    bubbles = np.sin(9 * across + phase[4]) * np.sin(12 * np.pi * (along - 0.3 * a))
    n = n + shape.blister * pose.length * bubbles * (1 - a**4) * along
    points = _stand(along * pose.length, y, n, pose, 0.05 * np.sin(phase[5]))
    return points, np.stack([across / 2 + 0.5, along], -1)


def fan_leaf(shape: Shape, pose: Pose, rng):
    """A broad frilled leaf: ruled from the midrib to a margin that waves out of its plane."""
    big = pose.length > 0.03
    steps, rows = (97, 11) if big else (41, 7)
    x1, y1 = _fan_margin(steps)
    q = np.linspace(-1, 1, steps)
    a = np.abs(q)
    waves = np.array([shape.waves, 2.3 * shape.waves, 4.4 * shape.waves])
    phase, lean = rng.uniform(0, 2 * np.pi, 3), rng.uniform(0.75, 1.25, 3)
    strength = np.array([0.85, 0.5, 0.38 if big else 0.0]) * lean
    swell = 1 + 0.35 * np.sin(2.3 * np.pi * q + phase[0])
    frill = (
        np.sum(strength[:, None] * np.sin(np.pi * waves[:, None] * q + phase[:, None]), 0)
        * swell
        * np.clip((1 - a) * 5, 0, 1)
    )
    out = 1 + shape.wavy * np.roll(frill, 3) + 0.04 * rng.normal() * np.sin(np.pi * q)
    r = np.linspace(0, 1, rows)[:, None]
    spine = 0.78 * x1
    x = spine + r * (x1 * (1 + (out - 1) * 0.8) - spine)
    y = r * y1 * out
    wide = pose.width
    n = (shape.cup + pose.hollow) * wide * (np.abs(y) * 2) ** 2 * 0.5
    n = n + shape.ruffle * wide * 0.2 * (0.75 * r**2.6 * frill + 0.4 * r**1.6 * np.roll(frill, 5))
    bubbles = np.sin(7.5 * np.pi * r + phase[1]) * np.sin(9 * np.pi * q + phase[2] + 2 * r)
    n = n + shape.blister * pose.length * bubbles * (r * (1 - r) * 4)
    points = _stand(x * pose.length, y * wide, n, pose, 0.04 * np.sin(phase[2]))
    uv = np.stack(np.broadcast_arrays(q / 2 + 0.5, r), -1)
    return points, uv


def tube(path, radius_from, radius_to, sides=7, along=(0.02, 0.1)):
    """A round stalk along a path of points (m)."""
    path = np.asarray(path, float)
    radius = np.linspace(radius_from, radius_to, len(path))[:, None, None]
    turn = np.linspace(0, 2 * np.pi, sides + 1)
    ahead = np.gradient(path, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True) + 1e-9
    first = np.cross(ahead, [0.31, 0.95, 0.05])
    first /= np.linalg.norm(first, axis=1, keepdims=True) + 1e-9
    second = np.cross(ahead, first)
    ring = (
        np.cos(turn)[None, :, None] * first[:, None] + np.sin(turn)[None, :, None] * second[:, None]
    )
    uv = np.zeros((len(path), sides + 1, 2))
    uv[..., 0], uv[..., 1] = 0.5, np.linspace(*along, len(path))[:, None]
    return path[:, None] + radius * ring, uv

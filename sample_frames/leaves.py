"""Leaves and plants of the drawn sample season (numpy and OpenCV; lengths in cm, times in days).

A leaf is a small picture ("sprite") of colour, cover and surface slope, made once from a leaf
outline with veins; a plant is a list of such leaves, each with its own place, direction and size
that follow a growth law, so a leaf keeps its shape and place from frame to frame.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

import cv2
import numpy as np

GOLDEN_ANGLE = np.deg2rad(137.5078)
ALONG, ACROSS = 224, 160  # sprite size in px: from stalk to tip, and from side to side
MARGIN = 0.05  # of the length, left free before the base and behind the tip

# kind: blade and rim colour, rib colour (sRGB), side veins, cup, ruffle, blister, margin, half span
LOOKS = {
    "green-lettuce": ((92, 122, 57), (117, 144, 72), (166, 182, 112), 6, 0.16, 0.13, 0.08, 0.060),
    "red-lettuce": ((84, 100, 52), (90, 44, 46), (146, 118, 92), 6, 0.16, 0.13, 0.08, 0.066),
    "pak-choi": ((70, 108, 56), (58, 96, 50), (206, 212, 178), 5, 0.22, 0.02, 0.02, 0.012),
    "sunflower": ((86, 120, 58), (74, 110, 52), (146, 166, 100), 5, 0.12, 0.03, 0.03, 0.018),
    "basil": ((92, 130, 62), (80, 120, 54), (124, 152, 84), 5, 0.30, 0.03, 0.05, 0.012),
    "chives": ((78, 108, 64), (66, 98, 56), (86, 116, 72), 0, 0.20, 0.00, 0.00, 0.000),
    "chard": ((62, 92, 50), (52, 82, 44), (170, 44, 72), 7, 0.14, 0.07, 0.09, 0.030),
    "rocket": ((80, 116, 58), (70, 106, 50), (140, 160, 104), 4, 0.10, 0.03, 0.03, 0.014),
    "seed-leaf": ((104, 142, 68), (96, 136, 62), (120, 154, 86), 0, 0.16, 0.00, 0.01, 0.010),
    "petal": ((226, 176, 44), (216, 150, 30), (206, 150, 34), 0, 0.20, 0.00, 0.01, 0.010),
}
CHARD_RIBS = ((168, 44, 74), (208, 164, 62), (204, 104, 58))
HALF_SPAN = {"chives": 3.5}  # half the sprite's height, in leaf widths; others 0.72


class Leaf(NamedTuple):
    """One leaf as drawn: all lengths in cm, `turn` in radians clockwise from right."""

    kind: str
    seed: int
    x: float
    y: float
    turn: float
    length: float
    width: float
    lift: float  # radians above the level
    height: float  # of the blade's middle over the soil
    tint: float  # brightness of this leaf against its kind
    shape: str


def to_linear(colour):
    """sRGB 0..255 to linear light 0..1."""
    return (np.asarray(colour, np.float32) / 255) ** 2.2


def noise(shape, rng, cells, octaves=3):
    """Smooth noise of about unit spread; `cells` is the number of blobs over (rows, columns)."""
    total, weight = np.zeros(shape, np.float32), 1.0
    for octave in range(octaves):
        grid = rng.standard_normal([int(c * 2**octave) + 2 for c in cells]).astype(np.float32)
        total += weight * cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_CUBIC)
        weight *= 0.5
    return total / 1.2


def step(x, middle, spread):
    """Logistic step from 0 to 1."""
    return 1 / (1 + np.exp(-np.clip((x - middle) / spread, -40, 40)))


def half_width(shape, u):
    """Half width of a leaf outline (0..1) at u = 0 (base) .. 1 (tip)."""
    u = np.clip(u, 0, 1)

    def blade(start, power, roundness):
        v = np.clip((u - start) / (1 - start), 0, 1) ** power
        return np.maximum(np.sin(np.pi * v), 0) ** roundness

    if shape == "fan":  # lettuce: a narrow foot and a wide round end
        wide = 0.16 + 0.84 * np.clip(u / 0.66, 0, 1) ** 1.15
        end = np.sqrt(np.clip(1 - (np.clip(u - 0.62, 0, 1) / 0.38) ** 2.2, 0, 1))
        return wide * end
    if shape == "spoon":  # pak choi, chard: a stout stalk, then an oval blade
        blend = step(u, 0.40, 0.025)
        return 0.15 * (1 - 0.4 * u) * (1 - blend) + blade(0.33, 0.95, 0.55) * blend
    if shape == "heart":
        return np.maximum(blade(0.26, 0.62, 0.85), 0.05 * (u < 0.4))
    if shape == "egg":
        return np.maximum(blade(0.14, 0.78, 0.8), 0.06 * (u < 0.3))
    if shape == "lobed":  # rocket
        lobes = 0.46 + 0.54 * np.abs(np.cos(np.pi * 2.6 * (1 - u) ** 1.2)) ** 0.8
        return np.maximum(blade(0.18, 1.15, 0.7) * lobes, 0.09 * (u < 0.95))
    if shape == "straw":
        return np.clip((1 - u) * 4, 0, 1) ** 0.7 * 0.9
    return np.maximum(blade(0.25, 0.8, 0.55), 0.12 * (u < 0.5))  # seed leaf, petal


def outline(shape, rng, margin, span):
    """Leaf coordinates over the sprite: u from base to tip, s from edge to edge, and more.

    Returns
    -------
    inside, across, u, s : ndarray
        1 inside the outline; distance from the midrib in leaf widths; 0..1; about -1..1.
    """
    rows, columns = ACROSS * 2, ALONG * 2
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    x = x / columns * (1 + 2 * MARGIN) - MARGIN
    y = (y / rows * 2 - 1) * span
    size, grid = (rows, columns), (3, 4)
    along = x + margin * noise(size, rng, grid, 3) * np.clip(x * 2, 0, 1)
    across = y + 1.5 * margin * noise(size, rng, grid, 3) * np.clip(x * 2, 0, 1)
    bend = rng.normal(0, 0.09 if span < 1 else 1.1)
    across = across - bend * np.clip(x, 0, 1) ** 2
    half = half_width(shape, along) / 2
    inside = ((half > np.abs(across)) & (along > 0) & (along < 1)).astype(np.uint8)
    _, parts, sizes, _ = cv2.connectedComponentsWithStats(inside)
    inside = (parts == 1 + np.argmax(sizes[1:, cv2.CC_STAT_AREA])).astype(np.float32)
    s = np.clip(across / np.maximum(half, 1e-3), -1.2, 1.2)
    return inside, across, np.clip(along, 0, 1), s


def veining(rng, veins, across, u, s):
    """Strength (0..1) of midrib, side veins and the net between them."""
    size, side = u.shape, np.abs(s)
    rib = np.exp(-((across / (0.035 * (1.25 - u))) ** 2))
    wave = (
        (u - 0.32 * side**0.85) * veins + np.where(s > 0, 0.3, 0) + 0.12 * noise(size, rng, (4, 5))
    )
    vein = np.exp(-(((wave - np.round(wave)) / (0.075 * (1.15 - side * 0.6))) ** 2))
    vein *= np.clip(1.15 - side, 0, 1) * np.clip((1 - u) * 5, 0, 1) * (veins > 0)
    net = np.exp(-((noise(size, rng, (14, 18), 2) / 0.12) ** 2)) * 0.3
    return rib, vein, net


def paint(kind, shape, rng, rib_colour, lines, u, s):
    """Colour of a leaf in linear light."""
    blade, rim = LOOKS[kind][:2]
    (rib, vein, net), size, side = lines, u.shape, np.abs(s)
    patches = noise(size, rng, (3, 3), 4)

    mix = 0.5 + 0.3 * patches
    if kind == "red-lettuce":
        mix = (u * 1.05 + 0.55 * side**1.3 - 0.48) * 2.0 + 0.3 * patches
    elif kind == "green-lettuce":
        mix = u * 0.8 + 0.3 * side - 0.25 + 0.2 * patches
    mix = np.clip(mix, 0, 1)[..., None]
    colour = to_linear(blade) * (1 - mix) + to_linear(rim) * mix
    colour *= 1 + 0.10 * noise(size, rng, (12, 16), 3)[..., None]
    dull = (1 - 0.6 * mix) if kind == "red-lettuce" else 1.0
    light = np.clip(0.34 * vein + 0.14 * net, 0, 1)[..., None] * dull
    colour = colour * (1 - light) + to_linear(rib_colour) * light
    stalk = np.clip(rib, 0, 1) * np.clip(1.15 - u, 0, 1)
    if shape == "spoon":
        stalk = np.maximum(stalk, 0.95 * step(-u, -0.40, 0.02))
    stalk = (stalk * (0.9 if shape == "spoon" else 0.6))[..., None]
    colour = colour * (1 - stalk) + to_linear(rib_colour) * stalk
    colour *= (0.55 + 0.45 * np.clip(u / 0.75, 0, 1))[..., None]  # the heart gets less light
    return np.clip(colour, 0.004, 1)


def relief(kind, rng, lines, span, u, s):
    """Slopes of a leaf's surface, along and across."""
    cup, ruffle, blister = LOOKS[kind][4:7]
    (rib, vein, _), size, side = lines, u.shape, np.abs(s)
    rows, columns = size
    height = (
        -cup * s**2 / 2 - 0.020 * vein - 0.02 * rib + blister * 0.4 * noise(size, rng, (9, 12), 2)
    )
    folds = np.sin(2 * np.pi * (2.6 * u + 0.25 * np.where(s > 0, 1, -1)) + rng.uniform(0, 6))
    height += ruffle * folds * side**2 * np.clip(u * 1.6, 0, 1)
    height = cv2.GaussianBlur(height.astype(np.float32), (0, 0), 3)
    slope_y, slope_x = np.gradient(height)
    slope = np.dstack([slope_x * columns * 0.7 - 0.5 * (u - 0.45), slope_y * rows / (2 * span)])
    return np.clip(slope, -1.6, 1.6).astype(np.float32)


@cache
def sprite(kind, shape, seed):
    """Pyramid of one leaf's picture, finest first.

    Returns
    -------
    list of (ndarray, ndarray)
        Per level: colour times cover with cover (h, w, 4), and slopes times cover (h, w, 2).
    """
    rng = np.random.default_rng([seed, len(kind)])
    rib_colour, veins, margin = LOOKS[kind][2], LOOKS[kind][3], LOOKS[kind][7]
    if kind == "chard":
        rib_colour = CHARD_RIBS[seed % len(CHARD_RIBS)]
    span = HALF_SPAN.get(kind, 0.72)
    inside, across, u, s = outline(shape, rng, margin, span)
    lines = veining(rng, veins, across, u, s)
    colour = paint(kind, shape, rng, rib_colour, lines, u, s)
    slope = relief(kind, rng, lines, span, u, s)
    level = np.dstack([colour * inside[..., None], inside, slope * inside[..., None]])
    pyramid = []
    while len(pyramid) < 6:
        level = cv2.resize(
            level.astype(np.float32), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA
        )
        pyramid.append((np.ascontiguousarray(level[..., :4]), np.ascontiguousarray(level[..., 4:])))
    return pyramid


@dataclass(frozen=True, kw_only=True)
class Plant:
    """How one plant is built and grows; lengths in cm, times in days since the season's sowing."""

    name: str
    kind: str
    shape: str
    x: float
    y: float
    seed: int
    leaves: int
    first: float  # day of the first true leaf
    every: float  # days from leaf to leaf
    length: float
    slim: float  # width over length
    spread: float = 4.2  # of the growth of one leaf
    middle: float = 10.0  # age at half size
    emerged: float = 4.0
    stem: float = 0.0  # final height of the stem
    clump: float = 0.0  # radius of the patch its leaves come from
    pause: tuple[float, float] = (1e9, 0.0)  # start and days
    cut: float = 1e9
    level: float = 0.42  # lift of a grown leaf
    early: float = 4.0  # leaf number over which final size is reached
    plan: str = field(default="spiral")  # or "pairs", "straws"

    def age(self, day):
        """Day on the plant's own clock, which nearly stands still in a pause."""
        start, days = self.pause
        return day - 0.92 * np.clip(day - start, 0, days)

    def grown(self, age):
        """Size of a leaf of that age, 0..1."""
        floor = step(0, self.middle, self.spread)
        return max(0.0, (step(age, self.middle, self.spread) - floor) / (1 - floor))

    def at(self, day):
        """All leaves at that day, lowest first."""
        now = self.age(day)
        found = [leaf for i in range(self.leaves) if (leaf := self.leaf(i, now, day))]
        young = self.seed_leaves(now) if self.plan != "straws" else []
        return young + found + (self.flower(now) if self.kind == "sunflower" else [])

    def leaf(self, i, now, day):
        """The i-th leaf, or None before it shows or after it was cut."""
        rng = np.random.default_rng([self.seed, i])
        jitter = rng.normal(0, 1, 6)
        born = self.first + i * self.every + 0.25 * self.every * jitter[0]
        size, open_ = self.grown(now - born), step(now - born, 13, 3.5)
        if size < 0.01 or (day >= self.cut and born < self.cut - 22):
            return None
        final = self.length * (1 - 0.72 * np.exp(-(i + 0.6) / self.early)) * (1 + 0.07 * jitter[1])
        late = max(0.0, (i - 0.55 * self.leaves) / self.leaves)
        final *= 1 - 0.9 * late if self.plan != "straws" else 1
        lift = 1.25 + (self.level - 1.25) * open_ + 0.07 * jitter[2]
        turn = i * GOLDEN_ANGLE + self.seed + 0.16 * jitter[3]
        foot = 0.05 + 0.5 * open_
        x, y = self.x + foot * np.cos(turn), self.y + foot * np.sin(turn)
        rise = self.stem * min(1.0, i / self.leaves + 0.1) * step(now, 34, 8)
        if self.plan == "pairs":
            x, y, turn, final = self.on_shoot(i, now, jitter, final)
        elif self.clump:
            hub = rng.uniform(0, 2 * np.pi) if self.plan == "straws" else (self.seed + i % 3 * 2.1)
            out = self.clump * (np.sqrt(rng.uniform(0, 1)) if self.plan == "straws" else 1)
            x, y = self.x + out * np.cos(hub), self.y + out * np.sin(hub)
            if self.plan == "straws":
                turn, lift = hub + 0.9 * jitter[3], 0.95 + 0.22 * jitter[2]
        length = final * size
        width = final * size * self.slim * (0.72 + 0.28 * open_) * (1 + 0.06 * jitter[4])
        if self.plan == "straws":
            width = self.slim * min(1.0, 0.5 + size)
        height = rise + 0.5 + 0.5 * length * np.sin(max(lift, 0.3))
        seed = self.seed * 1000 + i
        tint = (1 + 0.09 * np.clip(jitter[5], -2, 2)) * (1.12 - 0.16 * open_)
        return Leaf(self.kind, seed, x, y, turn, length, width, lift, height, tint, self.shape)

    def on_shoot(self, i, now, jitter, final):
        """Place of a leaf that stands in pairs on a main or side shoot (basil)."""
        shoot, pair, side = (i // 2) % 5, i // 10, i % 2
        turn = self.seed + shoot * np.pi / 2 + np.pi / 2 * pair + np.pi * side + 0.15 * jitter[3]
        if shoot == 0:
            return self.x, self.y, turn, final
        out, hub = 3.6 * step(now, 36, 7), self.seed + 0.6 + shoot * np.pi / 2
        return self.x + out * np.cos(hub), self.y + out * np.sin(hub), turn, final * 0.8

    def seed_leaves(self, now):
        """The two first leaves, which shrivel when the plant has covered them."""
        big = {"sunflower": 2.0, "basil": 0.9}.get(self.kind, 1.15)
        size = big * step(now, self.emerged + 2.2, 1.0) * (1 - step(now, 36, 2.5))
        if size < 0.1:
            return []
        first = Leaf(
            "seed-leaf",
            self.seed,
            self.x,
            self.y,
            self.seed * 1.3,
            size,
            size * 0.62,
            0.3,
            0.8,
            0.95,
            "seed",
        )
        return [first, first._replace(seed=self.seed + 1, turn=self.seed * 1.3 + np.pi + 0.15)]

    def flower(self, now):
        """The bud of the sunflower, and its petals in the last days."""
        bud, open_ = 1.9 * step(now, 47, 3), 2.6 * step(now, 58, 1.3)
        parts = []
        outer = ((14, "petal", open_), (13, "petal", 0.8 * open_))
        inner = ((11, "sunflower", bud), (8, "sunflower", 0.6 * bud))
        for ring, (count, kind, size) in enumerate(outer + inner):
            for i in range(count if size > 0.25 else 0):
                turn = i * 2 * np.pi / count + 0.3 * ring + 0.13 * np.sin(5 * i + ring)
                length, seed = size + 0.06 * bud * np.sin(3 * i), 900 + 20 * ring + i
                parts.append(
                    Leaf(
                        kind,
                        seed,
                        self.x,
                        self.y,
                        turn,
                        length,
                        size * 0.42,
                        0.3,
                        self.stem,
                        0.95,
                        "seed",
                    )
                )
        return parts

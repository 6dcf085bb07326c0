"""Everything on the bench that is not a plant, as meshes (numpy only): slats, pots, soil, cards."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from .layout import (
    CARDS,
    TAG_CENTRE,
    TAG_PLATE_M,
    TAG_TOP_M,
    TAG_TURN_DEG,
    TRAY_CELL_M,
    Container,
    plug_offset,
)

SLATS, SLAT_M, GAP_M = 13, 0.093, 0.007


@dataclass(frozen=True)
class Thing:
    """A mesh: points (n, 3) in m, faces (m, 3 or 4), a material's name and what it needs."""

    name: str
    points: np.ndarray
    faces: np.ndarray
    material: str
    uv: np.ndarray | None = None
    colour: np.ndarray | None = None
    smooth: bool = False
    bevel: float = 0.0


def to_linear(colour):
    """sRGB (0..255) to linear light (0..1)."""
    c = np.asarray(colour, float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def box(x, y, z, half_x, half_y, half_z):
    """Points and faces of an upright box."""
    signs = [(sx, sy, sz) for sz in (-1, 1) for sy in (-1, 1) for sx in (-1, 1)]
    points = np.array(signs, float) * [half_x, half_y, half_z] + [x, y, z]
    faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]
    return points, np.array(faces)


def lathe(profile, steps=72, half=None, power=2.0):
    """Turn a profile of (radius, height) about the upright axis; with `half`, round a box."""
    turn = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    c, s = np.cos(turn), np.sin(turn)
    if power != 2:
        c, s = (np.sign(v) * np.abs(v) ** (2 / power) for v in (c, s))
    wide, deep = half or (0, 0)
    points = [np.stack([(wide + r) * c, (deep + r) * s, np.full(steps, z)], -1) for r, z in profile]
    i = np.arange(steps)
    j = (i + 1) % steps
    rings = [np.stack([k * steps + i, k * steps + j, (k + 1) * steps + j, (k + 1) * steps + i], -1)
             for k in range(len(profile) - 1)]  # fmt: skip
    return np.concatenate(points), np.concatenate(rings)


@cache
def slats() -> tuple[Thing, ...]:
    """The bench's boards, each with its own strip of the wood texture, and rails below."""
    rng = np.random.default_rng(3)
    found = []
    for k in range(SLATS):
        y = -0.635 + k * (SLAT_M + GAP_M)
        points, faces = box(0, y + SLAT_M / 2, -0.012, 0.80, SLAT_M / 2, 0.012)
        points = np.add(points, (rng.uniform(-0.004, 0.004), 0, rng.uniform(-0.0008, 0)))
        across = np.clip((points[:, 1] - y) / SLAT_M, 0, 1)
        uv = np.c_[(points[:, 0] + 0.81) / 1.62, (k + 0.03 + 0.94 * across) / SLATS]
        found.append(Thing(f"slat {k}", points, faces, "wood", uv, bevel=0.0022))
    for x in (-0.6, 0.6):
        points, faces = box(x, 0, -0.06, 0.03, 0.64, 0.035)
        found.append(Thing(f"rail {x}", points, faces, "wood", points[:, :2] * 0.2 + 0.4))
    points, faces = box(0, 0, -0.77, 4, 4, 0.02)
    return (*found, Thing("paving", points, faces, "paving"))


def _plate(name, centre, half, turn_deg, material, top=0.0032):
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    flat = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    flat = flat @ np.array([[c, s], [-s, c]]) + centre
    points = np.concatenate([np.c_[flat, np.full(4, top - 0.002)], np.c_[flat, np.full(4, top)]])
    faces = np.array(
        [[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]
    )
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1]] * 2, float)
    return Thing(name, points, faces, material, uv)


@cache
def cards() -> tuple[Thing, ...]:
    """The printed tag, the grey and the white card."""
    tag = _plate("tag", TAG_CENTRE, (TAG_PLATE_M / 2,) * 2, TAG_TURN_DEG, "tag", TAG_TOP_M)
    return (tag, *(_plate(n, at, half, deg, f"{n} card") for n, at, half, deg in CARDS))


def _noise(x, y, scale, rng):
    grid = rng.standard_normal((64, 64))
    column, row = (x * scale) % 62, (y * scale) % 62
    i, j = column.astype(int), row.astype(int)
    fx, fy = column - i, row - j
    fx, fy = fx * fx * (3 - 2 * fx), fy * fy * (3 - 2 * fy)
    upper = grid[j, i] * (1 - fx) + grid[j, i + 1] * fx
    return upper * (1 - fy) + (grid[j + 1, i] * (1 - fx) + grid[j + 1, i + 1] * fx) * fy


def _soil(name, x, y, z, half_x, half_y, is_round, seed):
    """Uneven ground and loose crumbs, bark and white grains on it."""
    rng = np.random.default_rng(seed)
    across, along = int(2 * half_x / 0.0016), int(2 * half_y / 0.0016)
    gx, gy = np.meshgrid(np.linspace(-half_x, half_x, across), np.linspace(-half_y, half_y, along))
    ox, oy = gx + rng.uniform(1, 50), gy + rng.uniform(1, 50)
    high = sum(h * _noise(ox, oy, s, rng) for h, s in ((0.0026, 45), (0.0018, 130), (0.0013, 330)))
    dark = 0.5 + sum(h * _noise(ox, oy, s, rng) for h, s in ((0.25, 60), (0.22, 300), (0.2, 640)))
    power = 2 if is_round else 8
    inside = np.abs(gx / half_x) ** power + np.abs(gy / half_y) ** power <= 1
    points = np.stack([gx + x, gy + y, z + high], -1).reshape(-1, 3)
    at = np.arange(across * along).reshape(along, across)
    whole = inside[:-1, :-1] & inside[:-1, 1:] & inside[1:, 1:] & inside[1:, :-1]
    faces = np.stack([at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]], -1)[whole]
    shade = np.clip(dark, 0, 1).ravel()[:, None]
    colour = to_linear((38, 29, 23)) * (1 - shade) + to_linear((86, 66, 50)) * shade
    ground = Thing(f"soil {name}", points, faces, "soil", colour=colour, smooth=True)

    n = int(half_x * half_y * (np.pi if is_round else 4) * 38000)
    if is_round:
        far, way = np.sqrt(rng.uniform(0, 1, n)) * 0.96, rng.uniform(0, 2 * np.pi, n)
        px, py = far * np.cos(way) * half_x, far * np.sin(way) * half_y
    else:
        px, py = (rng.uniform(-0.96, 0.96, n) * h for h in (half_x, half_y))
    kind, size = rng.uniform(0, 1, n), rng.lognormal(np.log(0.0014), 0.5, n)
    bark, white = kind < 0.45, kind > 0.978
    base = np.array([[1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0], [0, 0, 0.8], [0, 0, -0.8]])
    shape = base[None] * (1 + 0.35 * rng.standard_normal((n, 6, 1)))
    shape[..., 0] *= np.where(bark, rng.uniform(1.5, 4, n), rng.uniform(0.9, 1.3, n))[:, None]
    shape[..., 2] *= np.where(bark, 0.35, 0.7)[:, None]
    shape *= size[:, None, None]
    turn = rng.uniform(0, 2 * np.pi, n)[:, None]
    tilt = shape[..., 2] + 0.25 * shape[..., 0] * rng.uniform(-1, 1, (n, 1))
    c, s = np.cos(turn), np.sin(turn)
    flat = shape[..., 0] * c - shape[..., 1] * s, shape[..., 0] * s + shape[..., 1] * c
    turned = np.stack([*flat, tilt], -1)
    turned += np.stack([px + x, py + y, z + 0.0008 + rng.uniform(-0.0015, 0.001, n)], -1)[:, None]
    brown = np.where(bark[:, None], to_linear((92, 66, 46)), to_linear((46, 35, 28)))
    brown = brown * rng.uniform(0.45, 1.5, (n, 1))
    brown[white] = to_linear((205, 202, 192)) * rng.uniform(0.7, 1, (white.sum(), 1))
    eight = [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4], [1, 0, 5], [2, 1, 5], [3, 2, 5], [0, 3, 5]]
    faces = (np.array(eight)[None] + (np.arange(n) * 6)[:, None, None]).reshape(-1, 3)
    crumbs = Thing(f"crumbs {name}", turned.reshape(-1, 3), faces, "soil",
                   colour=np.repeat(brown, 6, axis=0))  # fmt: skip
    return ground, crumbs


def _label(pot, rng):
    """A white stick near the rim, leaning outwards."""
    way = rng.uniform(-2.4, -0.7)
    points, faces = box(0, 0, 0.012, 0.0085, 0.0007, 0.03)
    lean = np.deg2rad(rng.uniform(14, 24))
    c, s = np.cos(lean), np.sin(lean)
    points = np.stack([points[:, 0], points[:, 1] * c + points[:, 2] * s,
                       points[:, 2] * c - points[:, 1] * s], -1)  # fmt: skip
    c, s = np.cos(way - np.pi / 2), np.sin(way - np.pi / 2)
    far = 0.80 * pot.half[0]
    points = np.stack([points[:, 0] * c - points[:, 1] * s + pot.x + far * np.cos(way),
                       points[:, 0] * s + points[:, 1] * c + pot.y + far * np.sin(way),
                       points[:, 2] + pot.soil], -1)  # fmt: skip
    return Thing(f"label {pot.name}", points, faces, "label")


def _tray(pot, seed):
    """A module tray: a plate with square holes, cells below, a skirt around."""
    found, walls, faces, count = [], [], [], 0
    outer, inner, low = TRAY_CELL_M / 2, TRAY_CELL_M / 2 - 0.0045, TRAY_CELL_M / 2 - 0.010
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    for number in range(1, 11):
        at = np.array([pot.x, pot.y]) + plug_offset(number)
        levels = ((outer, 0.0), (inner + 0.001, 0.0), (inner, -0.002), (low, -0.04))
        for half, drop in levels:
            walls.append(np.c_[ring * half + at, np.full(4, pot.height + drop)])
        for k in range(3):
            for side in range(4):
                nxt = (side + 1) % 4
                faces.append([count + 4 * k + side, count + 4 * k + nxt, count + 4 * k + 4 + nxt,
                              count + 4 * k + 4 + side])  # fmt: skip
        count += 16
        half = inner - 0.001
        found += _soil(
            f"{pot.name} {number}", *at, pot.soil - 0.0015, half, half, False, seed + number
        )
    edge_x, edge_y = 2.5 * TRAY_CELL_M, TRAY_CELL_M
    for grow, drop in ((0.0, 0.0), (0.006, 0.0), (0.008, -0.004), (0.004, -pot.height)):
        half = np.array([edge_x + grow, edge_y + grow])
        walls.append(np.c_[ring * half + [pot.x, pot.y], np.full(4, pot.height + drop)])
    for k in range(3):
        for side in range(4):
            nxt = (side + 1) % 4
            faces.append([count + 4 * k + side, count + 4 * k + nxt, count + 4 * k + 4 + nxt,
                          count + 4 * k + 4 + side])  # fmt: skip
    return (*found, Thing(f"{pot.name} cells", np.concatenate(walls), np.array(faces), "tray"))


@cache
def container_things(pot: Container) -> tuple[Thing, ...]:
    """Rim and wall, soil and label of one container."""
    seed = sum(map(ord, pot.name))
    h, wide = pot.height, pot.half[0]
    if pot.kind == "tray":
        return _tray(pot, 1000 + seed)
    if pot.kind == "trough":
        profile = [(-0.022, 0), (-0.004, h - 0.008), (0.004, h - 0.006), (0.004, h), (-0.004, h),
                   (-0.006, h - 0.004), (-0.014, h * 0.5)]  # fmt: skip
        points, faces = lathe(profile, 120, pot.half, 7.0)
        wall = Thing(pot.name, np.add(points, (pot.x, pot.y, 0)), faces, "trough", smooth=True)
        return wall, *_soil(pot.name, pot.x, pot.y, pot.soil - 0.002, pot.half[0] - 0.008,
                            pot.half[1] - 0.008, False, seed)  # fmt: skip
    if pot.kind == "terracotta":
        part = [(0.70, 0), (0.90, 0.70), (0.93, 0.70), (1.0, 0.73), (1.03, 0.97), (1.02, 1.0),
                (0.935, 1.0), (0.92, 0.97), (0.86, 0.5)]  # fmt: skip
    else:
        part = [(0.78, 0), (0.96, 0.945), (1.03, 0.96), (1.03, 1.0), (0.965, 1.0), (0.955, 0.97),
                (0.86, 0.5)]  # fmt: skip
    points, faces = lathe([(wide * r, h * z) for r, z in part])
    wall = Thing(pot.name, np.add(points, (pot.x, pot.y, 0)), faces, pot.kind, smooth=True)
    ground = _soil(pot.name, pot.x, pot.y, pot.soil - 0.002, wide * 0.93, wide * 0.93, True, seed)
    stick = (_label(pot, np.random.default_rng(seed)),) if pot.labelled else ()
    return (wall, *ground, *stick)

"""Textures by numpy and OpenCV: leaves (colour and height), boards, the printed tag.

Leaf textures run across (left to right) and along (base at the bottom); those of the frilled
lettuces run along the margin (base, tip, base) and from the midrib (bottom) out to the margin.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from .bench import SLATS, to_linear
from .layout import TAG_PLATE_M, TAG_SQUARE_M

TAG_NUMBER = 7
PAPER, INK = 192, 40


@dataclass(frozen=True)
class Look:
    """A leaf's colours (sRGB) and veins."""

    blade: tuple[int, int, int]
    other: tuple[int, int, int]
    rib: tuple[int, int, int]
    veins: int = 7
    rib_width: float = 0.06
    vein: float = 0.3
    bubbles: float = 0.6
    stalk: float = 0.0


# fmt: off
LOOKS = {
    "green lettuce": Look((84, 130, 44), (138, 170, 66), (190, 208, 138), 9, 0.085, 0.30, 1.0),
    "red lettuce": Look((98, 112, 50), (92, 34, 42), (172, 156, 118), 9, 0.08, 0.26, 1.0),
    "pak choi": Look((56, 104, 38), (72, 120, 48), (202, 216, 178), 7, 0.10, 0.17, 0.25, 0.46),
    "chard red": Look((42, 90, 34), (58, 104, 42), (176, 34, 62), 8, 0.07, 0.38, 0.7, 0.5),
    "chard yellow": Look((50, 98, 34), (66, 114, 42), (222, 168, 44), 8, 0.07, 0.34, 0.7, 0.5),
    "chard pink": Look((46, 96, 38), (60, 110, 46), (218, 122, 150), 8, 0.07, 0.34, 0.7, 0.5),
    "rocket": Look((66, 118, 46), (82, 132, 54), (140, 168, 98), 6, 0.06, 0.35, 0.25),
    "corn salad": Look((62, 116, 46), (80, 134, 54), (128, 166, 92), 4, 0.07, 0.2, 0.2),
    "basil": Look((64, 126, 40), (84, 142, 50), (122, 164, 78), 6, 0.035, 0.30, 0.8),
    "sunflower": Look((74, 120, 50), (90, 134, 58), (148, 178, 104), 6, 0.035, 0.40, 0.6),
    "chives": Look((60, 110, 52), (72, 124, 58), (70, 120, 58), 1, 0.01, 0.0, 0.0),
    "seed leaf": Look((98, 150, 58), (112, 160, 66), (150, 184, 104), 2, 0.05, 0.12, 0.1),
    "stalk": Look((150, 172, 110), (164, 182, 124), (160, 180, 120), 1, 0.01, 0.0, 0.0),
}
# fmt: on


def clouds(rows, columns, rng, base=4, octaves=6, fade=0.55, aspect=1.0):
    """Smooth random field of several scales, about -1 to 1."""
    out, weight, total = np.zeros((rows, columns), np.float32), 1.0, 0.0
    for octave in range(octaves):
        n = base * 2**octave
        grid = rng.standard_normal((max(2, int(n * aspect) + 1), n + 1)).astype(np.float32)
        out += weight * cv2.resize(grid, (columns, rows), interpolation=cv2.INTER_CUBIC)
        total, weight = total + weight, weight * fade
    return out / total


def _veins(look, fan, u, across, rng, n):
    """Strength of midrib, side veins and the net between them, each 0 to 1."""
    wobble = clouds(n, n, rng, 6, 4) * 0.05
    net = np.exp(-((np.abs(clouds(n, n, rng, 22, 3)) / 0.08) ** 2)) * 0.5
    net = np.clip(net + np.exp(-((np.abs(clouds(n, n, rng, 46, 2)) / 0.10) ** 2)) * 0.25, 0, 1)
    a = np.abs(across)
    if fan:  # here `across` runs along the margin and u from midrib to margin
        rib = np.exp(-((u / (look.rib_width * (0.5 + 2.4 * a**2))) ** 2))
        phase = (across + 0.10 * u * np.sign(across) + wobble * 0.6) * look.veins
        near = np.abs(phase - np.round(phase))
        side = np.exp(-((near / (0.07 * (1.15 - u))) ** 2)) * np.clip(1.2 - u, 0, 1)
        return np.maximum(rib, np.clip((a - 0.86) / 0.1, 0, 1)), side, net
    rib = np.exp(-((a / (look.rib_width * (1.15 - u))) ** 2))
    phase = (u - 0.34 * a**0.8 + wobble) * look.veins + 0.25 * (across > 0)
    near = np.abs(phase - np.round(phase))
    side = np.exp(-((near / (0.055 * (1.1 - a))) ** 2))
    return rib, side * np.clip(1.15 - a, 0, 1) * np.clip((1 - u) * 6, 0, 1), net


def leaf(name: str, n=512):
    """Colour (sRGB uint8, RGB) and height (uint8) of a leaf, base at the bottom row."""
    look = LOOKS[name]
    rng = np.random.default_rng(sum(map(ord, name)))
    u, across = np.mgrid[0:n, 0:n] / (n - 1.0)
    across = across * 2 - 1
    a = np.abs(across)
    fan = name.endswith("lettuce")
    rib, side, net = _veins(look, fan, u, across, rng, n)
    low = clouds(n, n, rng, 3, 5)
    if name == "red lettuce":
        k = np.clip((0.9 * u + 0.75 * (1 - a) - 0.42) * 1.5 + 0.5 * low, 0, 1)
    elif fan:
        k = np.clip(0.75 * u - 0.15 + 0.3 * (1 - a) + 0.35 * low, 0, 1)
    else:
        k = np.clip(0.5 + 0.8 * low, 0, 1)
    blade, other, pale = (to_linear(c)[None, None] for c in (look.blade, look.other, look.rib))
    k = k[..., None]
    colour = (blade * (1 - k) + other * k) * (1 + 0.2 * clouds(n, n, rng, 12, 4)[..., None])
    m = np.clip(look.vein * side + 0.22 * look.vein * net, 0, 1)[..., None]
    m = m * (1 - 0.6 * k) if name == "red lettuce" else m
    colour = colour * (1 - m) + pale * m
    if look.veins > 1:
        m = np.clip(rib * 1.1, 0, 1) * (0.95 if look.stalk else 0.75)
        m = m * (1 if fan else np.clip(1.25 - 1.05 * u, 0, 1))
        if look.stalk:
            m = np.maximum(m, np.clip((look.stalk - u) / 0.05, 0, 1) * 0.95)
        colour = colour * (1 - m[..., None]) + pale * m[..., None]
    spots = np.clip(clouds(n, n, rng, 40, 3) * 2.2 - 1.45, 0, 1)[..., None] * 0.5  # blemishes
    colour = np.clip(colour * (1 - spots) + to_linear((146, 128, 74)) * spots * 0.6, 0, 1)
    high = 0.5 + look.bubbles * (-0.3 * side - 0.12 * net + 0.18 * clouds(n, n, rng, 18, 3))
    high = cv2.GaussianBlur(np.clip(high + 0.2 * rib, 0, 1).astype(np.float32), (0, 0), 2)
    shown = np.where(colour <= 0.0031308, colour * 12.92, 1.055 * colour ** (1 / 2.4) - 0.055)
    return (shown[::-1] * 255 + 0.5).astype(np.uint8), (high[::-1] * 255).astype(np.uint8)


def _board(rng, rows=232, columns=3072):
    """One weathered softwood board, sRGB floats."""
    y = np.linspace(0, 1, rows)[:, None] * np.ones((1, columns))
    x = np.linspace(0, 1, columns)[None] * np.ones((rows, 1))
    warp = clouds(rows, columns, rng, 3, 3, aspect=1.2) * 0.16
    knots = np.zeros((rows, columns))
    for _ in range(rng.integers(0, 3)):
        at_x, at_y, r = rng.uniform(0.03, 0.97), rng.uniform(0.2, 0.8), rng.uniform(0.05, 0.085)
        far = np.hypot((x - at_x) * columns / rows / 1.7, y - at_y) / r
        warp += 0.11 * np.sign(y - at_y) * np.exp(-((far / 2.6) ** 2))
        knots = np.maximum(knots, np.exp(-(far**4)))
    rings = (y + warp + rng.uniform(0, 9)) * rng.uniform(7, 15)
    ring = 0.5 + 0.5 * np.sin(2 * np.pi * rings + clouds(rows, columns, rng, 3, 3))
    fine, coarse = (
        cv2.resize(rng.standard_normal((rows // a, columns // b)).astype(np.float32),
                   (columns, rows), interpolation=cv2.INTER_LINEAR)
        for a, b in ((1, 60), (2, 200))
    )  # fmt: skip
    low = clouds(rows, columns, rng, 4, 4, aspect=0.4)
    t = np.clip(0.34 * ring**2 + 0.10 * fine + 0.09 * coarse + 0.25 * low + 0.16, 0, 1)[..., None]
    light = np.array([142, 122, 99]) * rng.uniform(0.86, 1.08) + rng.normal(0, 3, 3)
    board = light * (1 - t) + np.array([95, 79, 63]) * t
    grey = np.clip(0.5 + 0.55 * clouds(rows, columns, rng, 3, 4, aspect=0.5), 0, 0.9)[..., None]
    board = board * (1 - grey) + board.mean(-1, keepdims=True) * np.array([1.05, 1, 0.945]) * grey
    board = board * (1 - 0.55 * knots[..., None]) + np.array([72, 52, 39]) * 0.55 * knots[..., None]
    stain = np.clip(clouds(rows, columns, rng, 9, 3, aspect=0.3) * 2 - 0.9, 0, 1)[..., None]
    board = board * (1 - 0.22 * stain)
    crack = cv2.resize(rng.standard_normal((rows, columns // 420 + 2)).astype(np.float32),
                       (columns, rows), interpolation=cv2.INTER_CUBIC)  # fmt: skip
    crack = cv2.GaussianBlur(
        ((np.abs(crack) < 0.012) & (low > 0.16)).astype(np.float32), (0, 0), 0.8
    )
    return board * (1 - 0.6 * crack[..., None])


def wood() -> np.ndarray:
    """A board of its own for every slat, one above the other: sRGB uint8."""
    rng = np.random.default_rng(11)
    return np.clip(np.concatenate([_board(rng) for _ in range(SLATS)]), 0, 255).astype(np.uint8)


def tag(px_per_mm=8) -> np.ndarray:
    """The printed tag: grey uint8."""
    square, plate = round(TAG_SQUARE_M * 1000) * px_per_mm, round(TAG_PLATE_M * 1000) * px_per_mm
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    printed = cv2.aruco.generateImageMarker(marks, TAG_NUMBER, square)
    paper = np.full((plate, plate), PAPER, np.uint8)
    edge = (plate - square) // 2
    paper[edge : edge + square, edge : edge + square] = np.where(printed > 0, PAPER, INK)
    words = f"{TAG_NUMBER}   {TAG_SQUARE_M * 1000:.0f} mm"
    cv2.putText(paper, words, (edge, plate - 40), cv2.FONT_HERSHEY_SIMPLEX, 1.7, 70, 3, cv2.LINE_AA)
    return paper


def write_all(folder: Path):
    """Write every texture as PNG into a folder, unless this version of them is there."""
    folder.mkdir(parents=True, exist_ok=True)
    sources = (Path(__file__), Path(__file__).with_name("layout.py"))
    version = hashlib.sha256(b"".join(p.read_bytes() for p in sources)).hexdigest()
    done = folder / "done"
    if done.exists() and done.read_text() == version:
        return
    for name in LOOKS:
        colour, high = leaf(name)
        cv2.imwrite(str(folder / f"{name}.png"), colour[..., ::-1])
        cv2.imwrite(str(folder / f"{name} height.png"), high)
    cv2.imwrite(str(folder / "wood.png"), wood()[..., ::-1])
    cv2.imwrite(str(folder / "tag.png"), tag())
    done.write_text(version)

"""Pictures with truth to train the canopy model on: field photographs and rendered benches.

Photographs: 142 of wheat plots with a mask each, doi:10.3929/ethz-b-000512332, CC BY-SA 4.0.
Benches: made by ``tests/render_training_frames.py``; no plant, pot, board or light of the sample
season is among them. Both are shown to the model in several ways: under other light, at other
scales, and through other cameras.
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from training_drawings import drawing, not_green
from training_grounds import other_grounds

from lapsekit.detail import detail_of
from lapsekit.photographs import Photograph
from lapsekit.vision.detail import WHOLE, Detail
from lapsekit.vision.pictures import decode

PHOTOGRAPH_VIEWS = (
    # (how it is changed, enlargement, share of the perceptron's pixels, of the network's crops)
    ("as it is", 1, 1.0, 1.0),
    ("light", 1, 0.8, 0.8),
    ("light", 0.5, 0.3, 0.3),
    ("light", 2, 0.3, 0.3),
    ("objects", 1, 0.6, 0.07),
    ("objects", 2, 0.4, 0.05),
    ("ground", 1, 0.3, 0),
    ("ground", 2, 0.3, 0),
    ("ground", 4, 0.3, 0),
)
"""Smooth things among leaves are few for the network: where they were many, it took the insides of
broad plain leaves for such things."""

BENCH_VIEWS = 8
"""How often a rendered frame is developed, each time with another camera at another scale."""

BENCH_SCALES = (0.28, 1.7)
"""From 2 to 25 px/cm. A network that saw few coarse pictures took small plants in them for too
large: a quarter at 4 px/cm, whose leaves are as narrow as a pixel."""

OTHER_GROUNDS = 0.65
"""Share of these on other soil, in other pots and on other boards. Where all soils were brown and
grey, reddish soil around seedlings and clay rims beside them were taken for red leaves."""

REDUCED = 0.4
"""Share of cameras whose pictures are so large that they are measured at half their size."""

SAMPLINGS = (
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
)
SAMPLING_SHARES = (0.78, 0.09, 0.13)
"""How cameras keep colours: mostly at half the resolution of lightness, across and down."""

DRAWING_VIEWS = 4
"""Drawings that one number stands for."""


@dataclass(frozen=True)
class Bench:
    """A rendered frame: linear light (H, W, 3), and plant at nine samples a pixel (3H, 3W)."""

    name: str
    light: np.ndarray
    plant: np.ndarray


@dataclass(frozen=True)
class View:
    """A picture as a camera gives it, the plants' share of every pixel, how much it counts, and how
    finely its file keeps colours.
    """

    picture: np.ndarray
    cover: np.ndarray
    share: float
    detail: Detail = WHOLE


@dataclass(frozen=True)
class Drawing:
    """Shapes drawn with a pencil of exact truth; `number` is its seed."""

    number: int

    @property
    def name(self) -> str:
        return f"drawing-{self.number:03d}"


def read_bench(path: Path) -> Bench:
    with np.load(path) as stored:
        return Bench(path.stem, stored["light"], stored["plant"] > 0)


def read_benches(folder: Path) -> list[Bench]:
    return [read_bench(path) for path in sorted(folder.glob("bench-*-?.npz"))]


def views(thing: Photograph | Bench | Drawing, seed: int) -> Iterator[View]:
    """Everything the model sees of a picture; depends on this picture and the seed alone."""
    rng = np.random.default_rng([seed, zlib.crc32(thing.name.encode())])
    if isinstance(thing, Photograph):
        for kind, factor, _, share in PHOTOGRAPH_VIEWS:
            if share:
                picture, mask = photograph_view(thing, kind, factor, rng)
                yield View(picture, mask.astype(np.float32), share)
    elif isinstance(thing, Drawing):
        for _ in range(DRAWING_VIEWS):
            light, cover = drawing(rng)
            picture, detail = photographed(light, rng)
            yield View(picture, cover, 1.0, detail)
    else:
        for _ in range(BENCH_VIEWS):
            yield developed(thing, float(np.exp(rng.uniform(*np.log(BENCH_SCALES)))), rng)


# --- benches through other cameras ---------------------------------------------------------------


def _tone(light: np.ndarray, rng) -> np.ndarray:
    """Exposure, white balance, tone curve and saturation of some camera: 0 to 1."""
    meter = 0.17 / np.exp(np.log(light.mean(axis=2) + 1e-3).mean())
    whole = light.mean(axis=(0, 1))
    found = (whole[1] / whole) ** rng.uniform(0, 0.9) * np.exp(rng.normal(0, 0.05, 3))
    light = light * (meter**0.9 * 2 ** rng.uniform(-0.9, 0.7) * found).astype(np.float32)
    knee = rng.uniform(0, 1)
    light = np.clip(light * (1 + light / 7) / (1 + knee * light), 0, 1)
    shown = light ** np.float32(np.exp(rng.uniform(-0.12, 0.12)) / 2.2)
    shown += rng.uniform(-0.03, 0.12) * (shown - 0.5) * (1 - np.abs(2 * shown - 1))
    grey = shown.mean(axis=2, keepdims=True)
    return grey + (shown - grey) * np.float32(np.exp(rng.uniform(-0.25, 0.3)))


def _grain(shape, rng) -> np.ndarray:
    grain = rng.standard_normal((*shape, 1)) * 0.75 + rng.standard_normal((*shape, 3)) * 0.45
    return cv2.GaussianBlur(grain.astype(np.float32), (0, 0), rng.uniform(0.3, 0.8))


def compressed(picture: np.ndarray, by: int, rng) -> tuple[np.ndarray, Detail]:
    """Through JPEG: quality 70 to 95, colour mostly at half resolution; decoded `by` times smaller.

    With how finely it has its colours then.
    """
    way = int(rng.choice(SAMPLINGS, p=SAMPLING_SHARES))
    options = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 96))]
    options += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, way]
    data = cv2.imencode(".jpg", picture[..., ::-1], options)[1].tobytes()
    shown = decode(data, by)
    return shown, detail_of(data, shown, by)


def developed(bench: Bench, scale: float, rng) -> View:
    """A rendered frame at some scale through some camera: lens, tone, grain, sharpening, JPEG."""
    light = bench.light.astype(np.float32)
    size = (round(light.shape[1] * scale), round(light.shape[0] * scale))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    light = np.clip(cv2.resize(light, size, interpolation=way), 0, None)
    fine = bench.plant.astype(np.float32)
    cover = cv2.resize(fine, size, interpolation=cv2.INTER_AREA)
    if rng.uniform() < OTHER_GROUNDS:
        light = other_grounds(light, cover, rng)
    if rng.uniform() < 0.5:
        light, cover = light[:, ::-1], cover[:, ::-1]
    if rng.uniform() < 0.5:
        light, cover = light.transpose(1, 0, 2), cover.T
    picture, detail = photographed(np.ascontiguousarray(light), rng)
    return View(picture, np.ascontiguousarray(cover), 1.0, detail)


def photographed(light: np.ndarray, rng) -> tuple[np.ndarray, Detail]:
    """Linear light through some camera: lens, tone, grain, sharpening and JPEG; uint8.

    Two cameras in five have twice as many pixels a side, and their pictures are decoded at half.
    """
    by = 2 if rng.uniform() < REDUCED else 1
    if by > 1:
        size = (by * light.shape[1], by * light.shape[0])
        light = np.clip(cv2.resize(light, size, interpolation=cv2.INTER_CUBIC), 0, None)
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.3, 0.9))
    y, x = np.mgrid[-1 : 1 : light.shape[0] * 1j, -1 : 1 : light.shape[1] * 1j]
    light *= (1 - rng.uniform(0, 0.3) * (x**2 + y**2) / 2).astype(np.float32)[..., None]
    shown = _tone(light, rng)
    bright = 0.5 + np.sqrt(np.clip(shown, 0, 1))
    shown += rng.uniform(0.002, 0.02) * _grain(light.shape[:2], rng) * bright
    shown += rng.uniform(0, 0.6) * (shown - cv2.GaussianBlur(shown, (0, 0), 1.2))
    return compressed(np.rint(np.clip(shown, 0, 1) * 255).astype(np.uint8), by, rng)


# --- photographs: other light, other ground, other things ----------------------------------------


def other_light(picture: np.ndarray, rng) -> np.ndarray:
    """Another white balance, exposure, tone curve and saturation, within what cameras do."""
    linear = (np.arange(256) / 255) ** 2.2
    gains = np.exp(rng.normal(0, 0.08, 3)) * 2 ** rng.uniform(-1.0, 0.6)
    curve = np.exp(rng.uniform(-0.15, 0.15)) / 2.2
    tables = (np.clip(linear * gains[:, None], 0, 1) ** curve).astype(np.float32)
    changed = np.stack([tables[c][picture[..., c]] for c in range(3)], axis=-1)
    grey = changed.mean(axis=2, keepdims=True)
    changed = grey + (changed - grey) * np.float32(np.exp(rng.uniform(-0.2, 0.4)))
    return np.rint(np.clip(changed, 0, 1) * 255).astype(np.uint8)


def _lab(picture: np.ndarray) -> np.ndarray:
    return cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _rgb(lab: np.ndarray) -> np.ndarray:
    lab[..., 0] = np.clip(lab[..., 0], 0, 100)
    rgb = cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_LAB2RGB)
    return np.rint(np.clip(rgb, 0, 1) * 255).astype(np.uint8)


def other_ground(picture: np.ndarray, mask: np.ndarray, rng) -> np.ndarray:
    """The same leaves, often greener, on ground of another colour and roughness."""
    lab = _lab(picture)
    leaf = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.7)[..., None]
    ground = lab - (lab[~mask].mean(axis=0) if not mask.all() else 0)
    ground[..., 0] *= rng.uniform(0.2, 1.2)
    ground += not_green(rng, neutral=0.25)
    leaves = lab * np.array([rng.uniform(0.7, 1.3), *[rng.uniform(0.9, 2.0)] * 2], np.float32)
    return _rgb(leaves * leaf + ground * (1 - leaf))


def with_objects(picture: np.ndarray, mask: np.ndarray, rng) -> tuple[np.ndarray, np.ndarray]:
    """Smooth things that are no plants on the photograph: labels, rims, tools, perlite grains."""
    lab, truth = _lab(picture), mask.copy()
    height, width = mask.shape
    for _ in range(rng.integers(4, 25)):
        shape = np.zeros(mask.shape, np.uint8)
        centre = (int(rng.integers(0, width)), int(rng.integers(0, height)))
        sides = np.exp(rng.uniform(np.log(3), np.log(120))) * rng.uniform([0.3, 0.6], 1)
        angle = float(rng.uniform(0, 180))
        line = -1 if sides.max() < 20 or rng.uniform() < 0.6 else int(rng.integers(3, 20))
        if rng.uniform() < 0.5:
            corners = cv2.boxPoints((centre, tuple(map(float, sides)), angle)).astype(np.int32)
            cv2.drawContours(shape, [corners], 0, 1, line)
        else:
            axes = tuple(int(side) for side in np.maximum(sides, 2) / 2)
            cv2.ellipse(shape, centre, axes, angle, 0, 360, 1, line)
        slope = np.linspace(-1, 1, width, dtype=np.float32) * rng.uniform(-15, 15)
        thing = np.broadcast_to(not_green(rng, neutral=0.6), lab.shape).copy()
        thing[..., 0] += slope + rng.normal(0, rng.uniform(0.3, 2.5), mask.shape)
        edge = cv2.GaussianBlur(shape.astype(np.float32), (0, 0), 0.8)[..., None]
        lab = thing * edge + lab * (1 - edge)
        truth &= shape == 0
    return _rgb(lab), truth


def enlarged(picture: np.ndarray, mask: np.ndarray, factor: float, rng):
    """The photograph at another scale; a quarter of it where it would grow too large."""
    if factor > 2:
        top, left = rng.integers(0, np.array(mask.shape) // 2 + 1)
        part = np.s_[top : top + mask.shape[0] // 2, left : left + mask.shape[1] // 2]
        picture, mask = picture[part], mask[part]
    if factor == 1:
        return picture, mask
    size = (int(mask.shape[1] * factor), int(mask.shape[0] * factor))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    cover = cv2.resize(mask.astype(np.float32), size, interpolation=way)
    return cv2.resize(picture, size, interpolation=way), cover > 0.5


def photograph_view(photo, kind, factor, rng) -> tuple[np.ndarray, np.ndarray]:
    """A photograph and its truth, changed in one of the ways that `PHOTOGRAPH_VIEWS` names."""
    picture, mask = photo.picture, photo.mask
    if kind == "ground":
        picture = other_ground(picture, mask, rng)
    if kind in ("ground", "objects"):
        picture, mask = with_objects(picture, mask, rng)
    if kind != "as it is":
        picture = other_light(picture, rng)
    return enlarged(picture, mask, factor, rng)

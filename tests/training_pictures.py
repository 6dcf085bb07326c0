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
    ("objects", 1, 0.6, 0.24),
    ("objects", 2, 0.4, 0.16),
    ("ground", 1, 0.3, 0),
    ("ground", 2, 0.3, 0),
    ("ground", 4, 0.3, 0),
)
BENCH_VIEWS = 8
"""How often a rendered frame is developed, each time with another camera at another scale."""

BENCH_SCALES = (0.28, 1.7)
"""From 2 to 25 px/cm. A network that saw few coarse pictures took small plants in them for too
large: a quarter at 4 px/cm, whose leaves are as narrow as a pixel."""

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
WHOLE_PLANTS = 0.6
"""Share of drawings with tufts and rosettes; the others have leaves here and there. Without these
the network took dark soil among rows of small seedlings for red leaves."""

DRAWING_PX = 320


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


def read_benches(folder: Path) -> list[Bench]:
    found = []
    for path in sorted(folder.glob("bench-??-?.npz")):
        with np.load(path) as stored:
            found.append(Bench(path.stem, stored["light"], stored["plant"] > 0))
    return found


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
            yield drawn(rng)
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
    return decode(data, by), detail_of(data, by)


def developed(bench: Bench, scale: float, rng) -> View:
    """A rendered frame at some scale through some camera: lens, tone, grain, sharpening, JPEG."""
    light = bench.light.astype(np.float32)
    size = (round(light.shape[1] * scale), round(light.shape[0] * scale))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    light = np.clip(cv2.resize(light, size, interpolation=way), 0, None)
    fine = bench.plant.astype(np.float32)
    cover = cv2.resize(fine, size, interpolation=cv2.INTER_AREA)
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


# --- drawings ------------------------------------------------------------------------------------


def _rough(rng, colour, strength) -> np.ndarray:
    """A surface of about one colour (linear light), rough at two scales: (3n, 3n, 3)."""
    size = 3 * DRAWING_PX
    light = np.zeros((size, size), np.float32)
    for cells in (int(rng.integers(4, 40)), int(rng.integers(60, 240))):
        grid = rng.standard_normal((cells, cells)).astype(np.float32)
        light += cv2.resize(grid, (size, size), interpolation=cv2.INTER_CUBIC)
    hue = rng.standard_normal((int(rng.integers(3, 60)),) * 2 + (3,)).astype(np.float32)
    hue = cv2.resize(hue, (size, size), interpolation=cv2.INTER_CUBIC)
    return np.exp(strength * light[..., None] + 0.25 * strength * hue) * colour


def _leaf_colour(rng) -> np.ndarray:
    """Linear light of some leaf: mostly greens, some reds and purples."""
    if rng.uniform() < 0.75:
        hue, depth = rng.uniform(70, 150), rng.uniform(0.35, 0.8)
    else:
        hue, depth = rng.uniform(-50, 12), rng.uniform(0.45, 0.75)
    hsv = np.float32([[[hue % 360, depth, rng.uniform(0.3, 0.75)]]])
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)[0, 0] ** np.float32(2.2)


def _shape(rng) -> np.ndarray:
    """A disc, a leaf, a straw or a star, three times as fine as the picture: (3n, 3n) uint8."""
    size = 3 * DRAWING_PX
    shape = np.zeros((size, size), np.uint8)
    centre = rng.uniform(0, size, 2)
    kind, long = rng.integers(4), float(np.exp(rng.uniform(np.log(9), np.log(450))))
    if kind == 3:
        ends = centre + rng.uniform(-1, 1, (4, 2)) * long
        wide = int(rng.integers(2, 16))
        cv2.polylines(shape, [ends.astype(np.int32)], False, 1, wide, cv2.LINE_8)
        return shape
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    if kind == 2:
        far = 0.55 + 0.45 * np.cos(rng.integers(3, 9) * turn)
    else:
        far = 1 + 0.06 * np.cos(rng.integers(3, 20) * turn + 1) * (kind == 1)
    slim = 1.0 if kind == 0 else rng.uniform(0.25, 1)
    points = long / 2 * far[:, None] * np.stack([np.cos(turn), slim * np.sin(turn)], 1)
    a = rng.uniform(0, np.pi)
    points = points @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) + centre
    cv2.fillPoly(shape, [np.rint(points).astype(np.int32)], 1)
    return shape


@dataclass(frozen=True)
class _Kind:
    """What plants of a kind have in common; lengths are parts of their reach."""

    tuft: bool
    leaves: int
    slim: float
    stalk: float
    straw: float

    @classmethod
    def some(cls, rng) -> "_Kind":
        tuft = bool(rng.uniform() < 0.4)
        leaves = int(rng.integers(15, 80) if tuft else rng.integers(2, 18))
        return cls(tuft, leaves, *rng.uniform((0.12, 0, 0.01), (0.4, 0.5, 0.05)))


def _leaves(kind: _Kind, centre: np.ndarray, reach: float, rng) -> list[tuple[np.ndarray, int]]:
    """Leaves of one plant, the lowest first: points of a line or of an outline, and how wide.

    Between them lie gaps that are as narrow as a pixel and in the plant's own shade.
    """
    found, wide = [], int(np.clip(reach * kind.straw, 1, 8))
    turns = rng.uniform(0, 2 * np.pi) + 2.4 * np.arange(kind.leaves)  # the golden angle
    if kind.tuft:
        turns = rng.uniform(0, 2 * np.pi, kind.leaves)
    for turn in turns:
        long, bent = reach * rng.uniform(0.4, 1), turn + rng.normal(0, 0.25)
        first = centre + rng.normal(0, 0.06 * reach, 2) * kind.tuft
        middle = first + 0.5 * long * np.array([np.cos(turn), np.sin(turn)])
        last = middle + 0.5 * long * np.array([np.cos(bent), np.sin(bent)])
        found.append((np.array([first, middle, last]), wide))
        if not kind.tuft:
            blade = first + (kind.stalk + (1 - kind.stalk) / 2) * (last - first)
            along = (1 - kind.stalk) / 2 * (last - first)
            across = kind.slim * np.array([-along[1], along[0]])
            a = np.linspace(0, 2 * np.pi, 40)[:, None]
            found.append((blade + np.cos(a) * along + np.sin(a) * across, 0))
    return found


def _planted(rng) -> list[tuple[np.ndarray, int]]:
    """Leaves of a few plants anywhere, or of many alike in rows, as in a tray or a seed bed."""
    size = 3 * DRAWING_PX
    if rng.uniform() < 0.5:
        reaches = np.exp(rng.uniform(np.log(15), np.log(300), rng.integers(1, 14)))
        plants = [(_Kind.some(rng), rng.uniform(0, size, 2), reach) for reach in reaches]
    else:
        kind, reach = _Kind.some(rng), float(np.exp(rng.uniform(np.log(12), np.log(110))))
        apart = max(reach * rng.uniform(1.6, 4), 45.0)
        rows = np.arange(rng.uniform(0, apart), size, apart)
        places = [np.array([x, y]) for y in rows for x in rows if rng.uniform() < 0.9]
        places = [place + rng.normal(0, 0.1 * apart, 2) for place in places]
        plants = [(kind, place, reach * np.exp(rng.normal(0, 0.2))) for place in places]
    return [leaf for plant in plants for leaf in _leaves(*plant, rng)]


def _drawn_leaf(points: np.ndarray, wide: int, size: int) -> tuple[tuple[slice, slice], np.ndarray]:
    """Where a leaf lies, and its mask there."""
    low = np.clip(np.floor(points.min(0)).astype(int) - wide - 1, 0, size)
    high = np.clip(np.ceil(points.max(0)).astype(int) + wide + 2, 0, size)
    mask = np.zeros(np.maximum(high - low, 0)[::-1], np.uint8)
    at = np.rint(points - low).astype(np.int32)
    if mask.size and wide:
        cv2.polylines(mask, [at], False, 1, wide, cv2.LINE_8)
    elif mask.size:
        cv2.fillPoly(mask, [at], 1)
    return (slice(low[1], high[1]), slice(low[0], high[0])), mask > 0


def _put_plants(light: np.ndarray, leaf_light: np.ndarray, rng) -> np.ndarray:
    """Draw plants into the light, over the shade that they throw; where they are."""
    leaves = [_drawn_leaf(*leaf, len(light)) for leaf in _planted(rng)]
    every = np.zeros(light.shape[:2], np.uint8)
    for at, mask in leaves:
        every[at] |= mask
    soft = cv2.GaussianBlur(every.astype(np.float32), (0, 0), rng.uniform(3, 14))
    step = tuple(int(n) for n in rng.integers(-8, 9, 2))
    light *= (1 - rng.uniform(0, 0.85) * np.roll(soft, step, (0, 1)))[..., None]
    low = rng.uniform(0.4, 1)
    for at, mask in leaves:
        tint = rng.uniform(low, 1) * np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.05, 3))
        light[at][mask] = leaf_light[at][mask] * tint.astype(np.float32)
    return every


def drawn(rng) -> View:
    """Leaves and other things of drawn shapes on a rough ground, through some camera."""
    grounds = ((96, 76, 58), (60, 46, 36), (60, 46, 36), (44, 36, 30), (142, 122, 99),
               (120, 120, 118), (190, 180, 165), (170, 110, 80), (60, 60, 64))  # fmt: skip
    ground = (np.float32(grounds[rng.integers(len(grounds))]) / 255) ** 2.2
    ground *= np.exp(rng.normal(0, 0.15, 3) + rng.normal(0, 0.4)).astype(np.float32)
    light = _rough(rng, ground, rng.uniform(0.02, 0.35))
    plant = np.zeros(light.shape[:2], np.uint8)
    leaf = _rough(rng, _leaf_colour(rng), rng.uniform(0.01, 0.2))
    whole = rng.uniform() < WHOLE_PLANTS
    if whole:
        plant |= _put_plants(light, leaf, rng)
    for _ in range(int(rng.integers(0, 4) if whole else rng.integers(3, 40))):
        shape = _shape(rng)
        if rng.uniform() < 0.8:
            tint = np.exp(rng.normal(0, 0.15)) * np.exp(rng.normal(0, 0.05, 3))
            light[shape > 0] = leaf[shape > 0] * tint.astype(np.float32)
            plant |= shape
        else:
            thing = cv2.cvtColor(not_green(rng, 0.6)[None, None], cv2.COLOR_LAB2RGB)[0, 0]
            light[shape > 0] = np.clip(thing, 0.02, 1) ** np.float32(2.2)
            plant &= 1 - shape
    shade = _shape(rng) | _shape(rng)
    if rng.uniform() < 0.5:
        soft = cv2.GaussianBlur(shade.astype(np.float32), (0, 0), rng.uniform(2, 12))
        light *= (1 - rng.uniform(0.3, 0.75) * soft)[..., None]
    size = (DRAWING_PX, DRAWING_PX)
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    cover = cv2.resize(plant.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    picture, detail = photographed(small, rng)
    return View(picture, cover, 1.0, detail)


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


def not_green(rng, neutral: float) -> np.ndarray:
    """A Lab colour that no green leaf has; with probability `neutral` a grey."""
    hue = np.deg2rad(rng.uniform(-150, 80))
    chroma = rng.uniform(0, 6) if rng.uniform() < neutral else 45 * rng.uniform() ** 1.5
    return np.array([rng.uniform(10, 97), chroma * np.cos(hue), chroma * np.sin(hue)], np.float32)


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

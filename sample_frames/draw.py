"""Draw the sample season: frames, exact truth and the season's text files.

Run ``python sample_frames/draw.py --out sample_frames``; every run gives the same pictures.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import cv2
import numpy as np
from leaves import ACROSS, ALONG, HALF_SPAN, MARGIN, Plant, noise, sprite, to_linear
from PIL import Image

WIDTH, HEIGHT, FINE = 960, 720, 2  # frame size in px, and the supersampling of the drawing
PX_PER_CM = 9.0
SOWN, FIRST_DAY, LAST_DAY = dt.date(2026, 3, 9), dt.date(2026, 3, 14), dt.date(2026, 5, 8)
ZONE, CAMERA = ZoneInfo("CET"), "bench"
TIMES = (dt.time(8, 30), dt.time(12), dt.time(16, 30))
NO_FRAMES = (dt.date(2026, 4, 2), dt.date(2026, 4, 26))
MISHAPS = {
    "20260321T153000Z": "dark",
    "20260407T100000Z": "blown-out",
    "20260416T063000Z": "blurred",
}
POTTED_ON, CUT = 32.4, 44.4  # days after sowing, between the morning and the noon frame
JPEG_QUALITY = 62
POT_HEIGHT, RIM = 7.0, 0.75  # cm

# fmt: off
PLANTS = (
    Plant(name="green-lettuce", kind="green-lettuce", shape="fan", x=13.5, y=18.6, seed=11,
          leaves=38, first=6, every=1.25, length=12.0, slim=0.86),
    Plant(name="red-lettuce", kind="red-lettuce", shape="fan", x=40.2, y=18.9, seed=12, leaves=36,
          first=7, every=1.35, length=11.4, slim=0.82, emerged=4.4),
    Plant(name="pak-choi", kind="pak-choi", shape="spoon", x=66.7, y=18.5, seed=13, leaves=30,
          first=6, every=1.9, length=12.2, slim=0.56, emerged=3.6, cut=CUT),
    Plant(name="sunflower", kind="sunflower", shape="heart", x=93.1, y=18.8, seed=14, leaves=17,
          first=5, every=2.7, length=12.2, slim=0.66, emerged=3.2, stem=14.0, early=3.0),
    Plant(name="basil", kind="basil", shape="egg", x=11.3, y=49.0, seed=15, leaves=60, first=9,
          every=0.9, length=5.8, slim=0.62, emerged=4.6, stem=7.0, pause=(POTTED_ON, 10.0),
          early=6.0, plan="pairs"),
    Plant(name="chives", kind="chives", shape="straw", x=30.0, y=49.0, seed=16, leaves=90,
          first=-9, every=0.62, length=9.5, slim=0.36, clump=1.9, early=14.0, plan="straws"),
    Plant(name="chard", kind="chard", shape="spoon", x=49.1, y=49.0, seed=17, leaves=18, first=8,
          every=2.6, length=11.4, slim=0.5, emerged=4.4, clump=1.3, early=4.5),
    Plant(name="trough-rocket", kind="rocket", shape="lobed", x=68.2, y=49.0, seed=18, leaves=26,
          first=6, every=1.6, length=7.2, slim=0.4, emerged=3.4),
    Plant(name="trough-red-lettuce", kind="red-lettuce", shape="fan", x=83.3, y=49.0, seed=19,
          leaves=30, first=8, every=1.6, length=6.9, slim=0.84, emerged=4.8),
    Plant(name="trough-pak-choi", kind="pak-choi", shape="spoon", x=98.4, y=49.0, seed=20,
          leaves=20, first=7, every=2.1, length=6.9, slim=0.58),
)
# fmt: on
TERRACOTTA, DARK, ZINC = (176, 112, 82), (58, 58, 60), (132, 136, 138)
# x, y, half width, half depth, corner radius (cm), colour
POTS = (
    (13.5, 18.6, 8.2, 8.2, 8.2, TERRACOTTA),
    (40.2, 18.9, 8.0, 8.0, 8.0, TERRACOTTA),
    (66.7, 18.5, 7.6, 7.6, 7.6, TERRACOTTA),
    (93.1, 18.8, 7.6, 7.6, 7.6, DARK),
    (11.3, 49.0, 5.0, 5.0, 5.0, TERRACOTTA),
    (30.0, 49.0, 6.0, 6.0, 6.0, TERRACOTTA),
    (49.1, 49.0, 7.4, 7.4, 7.4, DARK),
    (83.3, 49.0, 22.2, 7.6, 2.4, ZINC),
)
BASIL_POT = (11.3, 49.0, 7.0, 7.0, 7.0, TERRACOTTA)
WARM = np.array([1.5, 0.0, -1.5])  # direction in which the boards differ in hue
FINE_PER_CM = PX_PER_CM * FINE
SHAPE = (HEIGHT * FINE, WIDTH * FINE)


def moments():
    """Yield (local day, time in UTC) of every frame."""
    for number in range((LAST_DAY - FIRST_DAY).days + 1):
        day = FIRST_DAY + dt.timedelta(number)
        for clock in TIMES if day not in NO_FRAMES else ():
            yield day, dt.datetime.combine(day, clock, ZONE).astimezone(dt.UTC)


def days_since_sowing(moment):
    """Days from local midnight of the sowing day, as a decimal number."""
    local = moment.astimezone(ZONE)
    return (local.date() - SOWN).days + (local.hour + local.minute / 60) / 24


def light(moment):
    """Sun and sky of one frame: towards the sun (x, y, z), its strength, both colours, exposure."""
    day_rng = np.random.default_rng([7, moment.toordinal()])
    rng = np.random.default_rng([8, int(moment.timestamp()) // 60])
    hour = (moment.hour + moment.minute / 60 - 11.4) / 24 * 2 * np.pi
    season = np.deg2rad(-3 + 20 * (moment.date() - FIRST_DAY).days / 56)
    height = np.arcsin(0.77 * np.sin(season) + 0.64 * np.cos(season) * np.cos(hour))
    height = np.clip(height, np.deg2rad(32), None)  # kept up so that shadows stay on the bench
    turn = np.arctan2(np.cos(hour), -np.sin(hour) * 1.3)  # morning sun stands right, noon below
    towards = (np.cos(turn) * np.cos(height), np.sin(turn) * np.cos(height), np.sin(height))
    cloud = np.clip(day_rng.beta(0.9, 1.1) + rng.normal(0, 0.1), 0.05, 0.95)
    warm = 0.055 * abs(np.sin(hour)) + rng.normal(0, 0.012)
    sun = 1.4 * (1 - cloud) * np.array([1 + warm, 1.0, 1 - 1.6 * warm])
    sky = (0.48 + 0.46 * cloud) * np.array([0.97 + warm / 2, 1.0, 1.05 - warm / 2])
    return np.float32(towards), np.float32(sun), np.float32(sky), 1 + rng.normal(0, 0.035)


@cache
def bench():
    """Wooden slats seen from above, with a printed tag and a grey card: linear light, fine grid."""
    rng = np.random.default_rng(5)
    rows, columns = SHAPE
    wood = np.full((rows, columns, 3), to_linear((26, 23, 21)), np.float32)
    top, slat, gap = -70, 172, 9
    while top < rows:
        size = (slat, columns)
        bow = noise(size, rng, (1, 4), 3)
        rings = np.sin((np.mgrid[0:slat, 0:columns][0] / slat + 0.09 * bow) * rng.uniform(36, 64))
        grain = (
            0.5 * rings + 0.40 * noise(size, rng, (26, 7), 2) + 0.5 * noise(size, rng, (3, 4), 3)
        )
        for _ in range(rng.integers(0, 3)):
            x, y, r = rng.uniform(0, columns), rng.uniform(40, slat - 40), rng.uniform(8, 15)
            yy, xx = np.mgrid[0:slat, 0:columns]
            grain -= 2.6 * np.exp(-(((((xx - x) / 1.7) ** 2 + (yy - y) ** 2) / r**2) ** 1.5))
        hue = np.array([149, 137, 121]) * rng.uniform(0.93, 1.06) + rng.normal(0, 1.3) * WARM
        tone = to_linear(hue)
        board = tone * (1 + 0.115 * grain[..., None] * np.float32([0.9, 1.0, 1.12]))
        edge = np.minimum(np.arange(slat), np.arange(slat)[::-1])
        board *= (0.62 + 0.38 * np.clip(edge / 7, 0, 1))[:, None, None]
        first, last = max(0, -top), min(slat, rows - top)
        wood[top + first : top + last] = board[first:last]
        top += slat + gap
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    tag = cv2.aruco.generateImageMarker(marks, 7, 144)
    tag = cv2.copyMakeBorder(tag, 24, 24, 24, 24, cv2.BORDER_CONSTANT, value=255)
    paper = to_linear(np.dstack([24 + tag * 0.80] * 3))
    wood[1210:1402, 180:372] = paper  # black square 8 cm wide
    wood[1250:1370, 430:590] = to_linear((118, 118, 118))
    return np.clip(wood, 0.003, 1)


@cache
def earth():
    """Soil over the whole fine grid, linear light: crumbs, bark and a few white grains."""
    rng = np.random.default_rng(6)
    crumbs = noise(SHAPE, rng, (190, 250), 2) + 0.6 * noise(SHAPE, rng, (40, 54), 2)
    colour = to_linear((68, 53, 42)) * np.clip(1 + 0.42 * crumbs[..., None], 0.25, 2.4)
    for _ in range(2600):
        x, y, turn = rng.uniform(0, SHAPE[1]), rng.uniform(0, SHAPE[0]), rng.uniform(0, 180)
        white = rng.uniform() < 0.05
        tone = to_linear(
            (196, 190, 180) if white else np.array([104, 78, 56]) * rng.uniform(0.6, 1.1)
        )
        axes = (3, 2) if white else (int(rng.uniform(4, 10)), 2)
        cv2.ellipse(colour, (int(x), int(y)), axes, turn, 0, 360, tone.tolist(), -1, cv2.LINE_AA)
    return colour.astype(np.float32)


@cache
def distance(pot):
    """Signed distance (cm, negative inside) to a pot's outer edge, over the fine grid."""
    x, y, wide, deep, corner, _ = pot
    rows, columns = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].astype(np.float32)
    dx = np.abs((columns + 0.5) / FINE_PER_CM - x) - (wide - corner)
    dy = np.abs((rows + 0.5) / FINE_PER_CM - y) - (deep - corner)
    return (
        np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - corner
    )


def shifted(picture, dx, dy, scale=1.0):
    """Picture moved by (dx, dy) cm."""
    move = np.float32([[1, 0, dx * FINE_PER_CM * scale], [0, 1, dy * FINE_PER_CM * scale]])
    return cv2.warpAffine(picture, move, picture.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)


def placed(leaf, per_cm, level, extra=(0.0, 0.0), swell=1.0):
    """Affine map of a sprite level onto the picture, and the box it fills (x0, y0, x1, y1)."""
    length, width = leaf.length * np.cos(leaf.lift * 0.8) * swell, leaf.width * swell
    span, shrink = HALF_SPAN.get(leaf.kind, 0.72), 2.0**level
    c, s = np.cos(leaf.turn), np.sin(leaf.turn)
    a = length * per_cm * (1 + 2 * MARGIN) / ALONG * shrink
    b = width * per_cm * 2 * span / ACROSS * shrink
    start, low = -MARGIN * length * per_cm, -span * width * per_cm
    x, y = (leaf.x + extra[0]) * per_cm, (leaf.y + extra[1]) * per_cm
    matrix = np.array(
        [[a * c, -b * s, x + start * c - low * s], [a * s, b * c, y + start * s + low * c]]
    )
    ends = (
        matrix @ np.array([[0, ALONG, 0, ALONG], [0, 0, ACROSS, ACROSS], [shrink] * 4]) / [[shrink]]
    )
    return matrix, ends


def stamp(leaf, per_cm, shape, level, part, **where):
    """One leaf's sprite warped into its box; returns the box's slices and the warped layers."""
    matrix, ends = placed(leaf, per_cm, level, **where)
    low = np.maximum(np.floor(ends.min(1)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(ends.max(1)).astype(int) + 2, shape[1::-1])
    if (high <= low).any():
        return None, None
    matrix[:, 2] -= low
    layers = [cv2.warpAffine(layer, matrix, tuple(int(n) for n in high - low)) for layer in part]
    return np.s_[low[1] : high[1], low[0] : high[0]], layers


def draw_leaf(canvas, labels, leaf, number, sun_light):
    """Draw one leaf with its soft shadow on what lies below; mark it in the label map."""
    towards, sun, sky, _ = sun_light
    pyramid = sprite(leaf.kind, leaf.shape, leaf.seed)
    level = int(np.clip(np.log2(ALONG / max(leaf.length * FINE_PER_CM, 1)), 0, len(pyramid) - 1))
    reach = -towards[:2] / towards[2] * min(0.9, 0.14 * leaf.length)
    box, (dim,) = stamp(
        leaf, FINE_PER_CM, SHAPE, 3, [pyramid[3][0][..., 3]], extra=reach, swell=1.06
    )
    canvas[box] *= 1 - 0.55 * (sun.mean() / (sun.mean() + sky.mean()) + 0.25) * dim[..., None]
    box, (colour, slope) = stamp(leaf, FINE_PER_CM, SHAPE, level, pyramid[level])
    cover = colour[..., 3]
    slope = slope / np.maximum(cover, 0.05)[..., None]
    c, s = np.cos(leaf.turn), np.sin(leaf.turn)
    rise = slope[..., 0] + 0.5 * np.sin(leaf.lift)
    east, south = rise * c - slope[..., 1] * s, rise * s + slope[..., 1] * c
    norm = 1 / np.sqrt(1 + east**2 + south**2)
    facing = (towards[2] - east * towards[0] - south * towards[1]) * norm
    lit = 0.82 * np.clip(facing, 0, None) + 0.20
    gleam = 0.05 * np.clip(facing, 0, 1) ** 24
    shade = lit[..., None] * sun + (0.55 + 0.45 * norm)[..., None] * sky
    painted = leaf.tint * colour[..., :3] * shade + (gleam * cover)[..., None] * sun
    canvas[box] = canvas[box] * (1 - cover[..., None]) + painted
    labels[box][cover > 0.5] = number


def ground_shadows(leaves, pots, towards):
    """Shadow (0..1) on the bench and on the soil, fine grid."""
    reach = -towards[:2] / towards[2]
    maps = np.zeros((2, HEIGHT, WIDTH), np.float32)
    for leaf in leaves:
        cover = sprite(leaf.kind, leaf.shape, leaf.seed)[2][0][..., 3]
        for plane, drop in zip(maps, (leaf.height + POT_HEIGHT, leaf.height), strict=True):
            box, layer = stamp(leaf, PX_PER_CM, plane.shape, 2, [cover], extra=reach * drop)
            if box:
                np.maximum(plane[box], layer[0], out=plane[box])
    for pot in pots:
        body = (distance(pot)[::FINE, ::FINE] < 0).astype(np.float32)
        for part in np.linspace(0, 1, 9):
            np.maximum(maps[0], shifted(body, *(reach * POT_HEIGHT * part), 1 / FINE), out=maps[0])
    soft = (
        cv2.GaussianBlur(plane, (0, 0), width)
        for plane, width in zip(maps, (2.6, 1.4), strict=True)
    )
    return [cv2.resize(plane, SHAPE[::-1], interpolation=cv2.INTER_LINEAR) for plane in soft]


def wetness(day):
    """How wet the soil is (0..1): watered every third morning, drying in between."""
    return float(np.exp(-((day - 0.42) % 3) / 0.8))


def draw_pots(canvas, pots, shadow, day, sun_light):
    """Draw pots and soil over the bench."""
    towards, sun, sky, _ = sun_light
    reach = -towards[:2] / towards[2]
    damp = 1 - 0.42 * wetness(day)
    for pot in pots:
        x, y, wide, deep, _, colour = pot
        x0, y0 = (max(0, int((v - r - 1) * FINE_PER_CM)) for v, r in ((x, wide), (y, deep)))
        x1, y1 = (int((v + r + 1) * FINE_PER_CM) for v, r in ((x, wide), (y, deep)))
        box = np.s_[y0:y1, x0:x1]
        near = distance(pot)[box]
        rim_shadow = np.clip((shifted(near, *(reach * 1.3)) + RIM) * 4 + 0.5, 0, 1)
        dark = np.maximum(shadow[box], cv2.GaussianBlur(rim_shadow, (0, 0), 3))
        depth = np.clip(-(near + RIM) / 1.4, 0, 1) ** 0.6
        ground = (
            earth()[box]
            * damp
            * (sun * (1 - 0.9 * dark)[..., None] + sky * (0.5 + 0.5 * depth)[..., None])
        )
        slope_y, slope_x = np.gradient(near)
        curve = np.clip((near + RIM / 2) / (RIM / 2), -1, 1) * 0.85
        facing = towards[2] + curve * FINE_PER_CM * (slope_x * towards[0] + slope_y * towards[1])
        lit = np.clip(facing / np.sqrt(1 + curve**2), 0, None) * (1 - 0.85 * shadow[box])
        mottle = 1 + 0.05 * noise(near.shape, np.random.default_rng(int(x)), (9, 9))
        rim = to_linear(colour) * mottle[..., None] * (lit[..., None] * sun + 0.9 * sky)
        soil_part, pot_part = (
            np.clip(0.5 - (near + r) * FINE_PER_CM, 0, 1)[..., None] for r in (RIM, 0)
        )
        canvas[box] = (
            canvas[box] * (1 - pot_part) + rim * (pot_part - soil_part) + ground * soil_part
        )


def draw_scene(moment):
    """Draw one moment before the camera.

    Returns
    -------
    canvas : ndarray of float32, shape (1440, 1920, 3)
        Linear light.
    labels : ndarray of uint8, shape (1440, 1920)
        0 for no plant, else 1 + the plant's place in `PLANTS`.
    """
    day, sun_light = days_since_sowing(moment), light(moment)
    towards, sun, sky, _ = sun_light
    pots = [BASIL_POT if pot[:2] == BASIL_POT[:2] and day > POTTED_ON else pot for pot in POTS]
    rng = np.random.default_rng([9, int(moment.timestamp()) // 60])
    growing = [
        [leaf._replace(turn=leaf.turn + rng.normal(0, 0.008)) for leaf in plant.at(day)]
        for plant in PLANTS
    ]
    on_bench, on_soil = ground_shadows([leaf for some in growing for leaf in some], pots, towards)
    level = towards[2] * 0.9
    canvas = bench() * (
        level * sun * (1 - 0.92 * on_bench)[..., None] + sky * (1 - 0.3 * on_bench)[..., None]
    )
    draw_pots(canvas, pots, on_soil, day, sun_light)
    labels = np.zeros(SHAPE, np.uint8)
    for number, leaves in enumerate(growing, start=1):
        for leaf in leaves:
            draw_leaf(canvas, labels, leaf, number, sun_light)
    return canvas, labels


def develop(canvas, moment, state):
    """The camera: exposure, mishaps, tone curve, a little noise; gives 8-bit RGB."""
    rng = np.random.default_rng([10, int(moment.timestamp()) // 60])
    picture = cv2.resize(canvas, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    if state == "blurred":
        picture = cv2.GaussianBlur(picture, (0, 0), 9) * 0.75 + 0.10
    meter = 0.235 / np.mean(picture) * light(moment)[3]
    picture = picture * meter**0.75 * {"dark": 0.018, "blown-out": 7.0}.get(state, 1.0)
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    picture = picture * (1 - 0.07 * (x**2 + y**2))[..., None]
    picture = np.clip(picture, 0, None) ** (1 / 2.2)
    picture = np.where(picture > 0.8, 0.8 + 0.2 * np.tanh((picture - 0.8) / 0.2), picture)
    if state == "blown-out":
        picture = np.clip(picture * 1.02, 0, 1)
    grain = cv2.GaussianBlur(
        rng.standard_normal((HEIGHT, WIDTH, 1)).astype(np.float32), (0, 0), 0.6
    )
    return np.clip(picture * 255 + 1.1 * grain[..., None] + 0.5, 0, 255).astype(np.uint8)


def coverage(labels):
    """Visible canopy of each plant in frame px: fine counts over fine px a frame px."""
    return np.bincount(labels.ravel(), minlength=len(PLANTS) + 1)[1:] / FINE**2


def frame_labels(labels):
    """Label map of frame size: the fine label nearest each pixel's centre, no majority vote."""
    return labels[1::FINE, 1::FINE]


def save_frame(picture, path, moment):
    """Write a JPEG with its local time and offset, and no place."""
    local = moment.astimezone(ZONE)
    exif = Image.Exif()
    exif.get_ifd(0x8769).update(
        {0x9003: f"{local:%Y:%m:%d %H:%M:%S}", 0x9011: local.isoformat()[-6:]}
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(picture).save(path, quality=JPEG_QUALITY, optimize=True, exif=exif)


def save_mask(mask, path):
    """Write a label map as a small PNG with a palette."""
    image = Image.fromarray(mask)
    hues = np.uint8([[[18 * i, 200 if i else 0, 220 if i else 0] for i in range(len(PLANTS) + 1)]])
    image.putpalette(cv2.cvtColor(hues, cv2.COLOR_HSV2RGB).ravel().tolist())
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, optimize=True)


def write_rows(path, header, rows):
    """Write a table as CSV."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([header, *rows])


def draw_season(out):
    """Draw every frame and its truth into the folder `out`."""
    frames, areas = [], []
    for number, (day, moment) in enumerate(moments()):
        name = f"{moment:%Y%m%dT%H%M%SZ}"
        state = MISHAPS.get(name, "usable")
        canvas, labels = draw_scene(moment)
        path = Path("frames", CAMERA, str(day), f"{name}.jpg")
        save_frame(develop(canvas, moment, state), out / path, moment)
        frames.append((path.as_posix(), CAMERA, f"{moment:%Y-%m-%dT%H:%M:%SZ}", state))
        if state != "usable":
            continue
        for plant, px in zip(PLANTS, coverage(labels), strict=True):
            areas.append(
                (CAMERA, frames[-1][2], plant.name, f"{px:.2f}", f"{px / PX_PER_CM**2:.4f}")
            )
        if number % 14 == 1:
            save_mask(frame_labels(labels), out / "truth" / "masks" / f"{name}.png")
    write_rows(out / "truth" / "frames.csv", ("path", "camera", "taken_at", "state"), frames)
    header = ("camera", "taken_at", "region", "area_px", "area_cm2")
    write_rows(out / "truth" / "areas.csv", header, areas)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    draw_season(parser.parse_args().out)

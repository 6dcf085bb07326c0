"""Pictures and seasons whose truth is known because we drew them."""

import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from lapsekit.season import Season
from lapsekit.trust import trust

SOIL, LEAF = (96, 72, 52), (70, 140, 48)
FIRST_DAY = date(2031, 4, 1)


def bench_picture(discs, size=(320, 240), ground=SOIL, seed=0):
    """Textured soil with green discs; `discs` are (x, y, radius) in px."""
    width, height = size
    noise = np.random.default_rng(seed).normal(0, 6, (height, width, 1))
    picture = np.clip(np.array(ground) + noise, 0, 255)
    y, x = np.mgrid[:height, :width]
    for cx, cy, radius in discs:
        inside = (x - cx) ** 2 + (y - cy) ** 2 <= radius**2
        picture[inside] = np.array(LEAF) + noise[inside] / 2
    return picture.astype(np.uint8)


def faint_leaves(centres, radius, strength, size=(320, 240), seed=0):
    """Leaves on soil, discs at (x, y), whose saturation is `strength`: at 0 grey, light as soil."""
    soil, green = np.float32([92, 74, 58]), np.float32([78, 118, 46])
    across, down = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    away = np.min([np.hypot(down - y, across - x) for x, y in centres], axis=0)
    inside = np.clip(radius - away + 0.5, 0, 1)[..., None]
    leaf = soil.mean() + strength * (green - green.mean())
    rough = np.random.default_rng(seed).normal(0, 7, (size[1], size[0]))
    noise = 2 * cv2.GaussianBlur(rough, (0, 0), 1.2)[..., None]
    return np.clip(soil + inside * (leaf - soil) + noise, 0, 255).round().astype(np.uint8)


def as_grey(picture):
    """The picture without its colours."""
    return np.repeat(np.asarray(Image.fromarray(picture).convert("L"))[..., None], 3, axis=2)


def disc_px(radius, centre=(0, 0)):
    """Pixels whose centres lie in a disc: the exact truth of `bench_picture`."""
    reach = int(radius) + 2
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return int(((x - centre[0] % 1) ** 2 + (y - centre[1] % 1) ** 2 <= radius**2).sum())


def encoded(picture, form="PNG", **options):
    """Bytes of a picture file; PNG keeps every pixel."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, form, **options)
    return out.getvalue()


SETTINGS = """\
[season]
title = "Test bench"
time_zone = "CET"
sown = 2031-03-25

[cameras.bench]
kind = "files"
px_per_cm = 10

[capture]
daily_at = "12:00"

[screening]
blurred_above = 1

[canopy]
method = "exgr"
"""

REGIONS = """\
[[region]]
name = "basil"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[0, 0], [159.5, 0], [159.5, 240], [0, 240]]

[[region]]
name = "chives"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[159.5, 0], [320, 0], [320, 240], [159.5, 240]]
"""


def make_season(folder: Path, settings=SETTINGS, regions=REGIONS) -> Season:
    """A trusted season folder with two regions side by side, left and right."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "season.toml").write_text(settings)
    (folder / "regions.toml").write_text(regions)
    trust(folder)
    return Season(folder)


def basil_radius(step):
    return 10 * 1.04**step


def chives_radius(step):
    return 12 * 1.02**step


def growing_bench(step, seed=0):
    """The bench after `step` thirds of a day: two discs that grow at known rates."""
    discs = [(80, 120, basil_radius(step)), (240, 120, chives_radius(step))]
    return bench_picture(discs, seed=seed)


def fill(season: Season, days=5, a_day=3, growth=1.0) -> list[datetime]:
    """File `a_day` frames on each of `days` days, four hours apart from 09:00 UTC.

    `growth` slows the discs down, so that they stay in the picture over many days.
    """
    moments = []
    for number in range(days):
        for shot in range(a_day):
            moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC) + timedelta(
                days=number, hours=9 + 4 * shot
            )
            data = encoded(growing_bench(growth * (number * a_day + shot), seed=len(moments)))
            season.archive.store("bench", moment, data, ".png")
            moments.append(moment)
    return moments


def tables(season: Season):
    """Everything derived, as comparable rows."""
    catalogue = season.catalogue
    return (
        [s for _, s in catalogue.screenings()],
        [m for _, m in catalogue.measurements()],
        catalogue.daily(),
    )

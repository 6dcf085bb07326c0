"""Render a season that is not the sample one, to hold the whole tool against plants it never met.

    python tests/render_other_season.py --out DIR [--number 1] [--days 75] [--workers 2]

Needs the generator's own environment (see sample_frames/render/README.md). What happens, and when,
is the sample season's story; all else is another's: which plant stands where, their seeds, sizes
and leaf colours, boards, pots, soil and cloth, height, place and tilt of the camera, latitude,
skies, exposure and white balance, how the camera is knocked, and how hard its files are compressed.
The canopy model is trained on benches with other numbers, and nothing is tuned on these seasons.
DIR is then judged by ``lapsekit prove --frames DIR``. Three frames a day; about 16 seconds a frame
on one core, and 5 for its truth; frames that are there are not made again.
"""

import argparse
import datetime as dt
import multiprocessing
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from render_training_frames import HIGHEST_SEASON_SEED, _change_things, _near, _Seeded

GENERATOR = Path(__file__).resolve().parents[1] / "sample_frames"
FIRST_NUMBER = 5000
"""Added to a season's number: training benches have smaller ones."""

TIMES = ((9, 15), (12, 0), (15, 30))
MISHAPS = {
    (10, TIMES[2]): "dark", (15, TIMES[0]): "dew", (43, TIMES[0]): "dew", (30, TIMES[1]):
    "obstructed", (39, TIMES[1]): "obstructed", (50, TIMES[2]): "obstructed", (62, TIMES[2]):
    "obstructed", (33, TIMES[1]): "frozen", (33, TIMES[2]): "frozen", (42, TIMES[1]): "blown-out",
}  # fmt: skip
"""By day number and time."""

PLACES = {  # species that may stand there, with the leaf area that it stops at and its vigour
    "green-lettuce": (("red lettuce", 2100, 1.0), ("pak choi", 1150, 1.0)),
    "red-lettuce": (("pak choi", 1100, 1.0), ("green lettuce", 2000, 0.95), ("chard", 900, 1.0)),
    "sunflower": (("green lettuce", 1800, 0.95), ("red lettuce", 1800, 0.95), ("chard", 800, 1.0)),
    "pak-choi": (("chard", 900, 1.0), ("green lettuce", 2000, 1.0), ("red lettuce", 1900, 1.0)),
    "basil": (("rocket", 330, 0.9), ("corn salad", 160, 1.4), ("basil", 560, 0.95)),
    "chives": (("basil", 420, 0.9), ("rocket", 260, 0.85), ("chives", 360, 1.0)),
    "chard": (("sunflower", 560, 0.9), ("rocket", 420, 1.0), ("pak choi", 750, 0.9)),
    "trough-rocket": (("chives", 380, 0.95), ("basil", 400, 0.9), ("corn salad", 150, 1.4)),
    "trough-red-lettuce": (("green lettuce", 650, 0.8), ("pak choi", 520, 0.72)),
    "trough-pak-choi": (("red lettuce", 700, 0.78), ("green lettuce", 620, 0.76)),
}
PLUGS = ("basil", "rocket", "pak choi", "green lettuce")


def _change_view(rng):
    """Another mounting; outlines, which are drawn around the same places, go with it."""
    from render import layout

    before = layout.View()
    layout.CAMERA_HEIGHT_M = float(rng.uniform(1.25, 1.9))
    layout.VIEW_WIDTH_M = float(rng.uniform(1.38, 1.5))
    layout.FOCAL_PX = layout.WIDTH * layout.CAMERA_HEIGHT_M / layout.VIEW_WIDTH_M
    layout.PX_PER_CM = layout.FOCAL_PX / layout.CAMERA_HEIGHT_M / 100
    layout.CAMERA_PLACE = (*map(float, rng.uniform(-0.015, 0.015, 2)), layout.CAMERA_HEIGHT_M)
    layout.MOUNTING_TILT_DEG = tuple(map(float, rng.uniform(-1.5, 1.5, 3)))
    return before


def _change_outlines(before):
    """Boxes in the view as it is now around what they held in the view of before."""
    from render import layout, season_files

    height = 0.11

    def moved(box):
        x0, y0, x1, y1 = box
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
        focal = layout.WIDTH * before.place[2] / 1.36
        rays = np.stack([(corners[:, 0] - layout.WIDTH / 2) / focal,
                         (layout.HEIGHT / 2 - corners[:, 1]) / focal, -np.ones(4)], -1)  # fmt: skip
        rays = rays @ before.axes.T
        points = before.place + rays * ((height - before.place[2]) / rays[:, 2])[:, None]
        seen = layout.View().project(points)[0]
        low = np.clip(seen.min(0), 2, None)
        high = np.minimum(seen.max(0), [layout.WIDTH - 3, layout.HEIGHT - 3])
        return tuple(int(v) for v in np.rint([*low, *high]))

    season_files._BOXES_PX = {name: moved(box) for name, box in season_files._BOXES_PX.items()}
    season_files._LATER_BOXES_PX = {
        name: tuple((day, moved(box)) for day, box in later)
        for name, later in season_files._LATER_BOXES_PX.items()
    }


def _change_plants(rng, number):
    from render import story, textures

    plugs = str(rng.choice(PLUGS))

    def other(k, plant):
        changed = replace(plant, seed=HIGHEST_SEASON_SEED + 1000 * number + k)
        if plant.group:
            return replace(changed, species=plugs)
        species, full, vigour = PLACES[plant.name][rng.integers(len(PLACES[plant.name]))]
        label = f"{species.capitalize()}, place {k + 1}"
        return replace(changed, species=species, full_cm2=full, vigour=vigour, label=label,
                       rate=plant.rate * float(rng.uniform(0.9, 1.1)))  # fmt: skip

    story.PLANTS = tuple(other(k, plant) for k, plant in enumerate(story.PLANTS))
    for name, look in list(textures.LOOKS.items()):
        blade, leaf, rib = (_near(c, rng, 0.07) for c in (look.blade, look.other, look.rib))
        textures.LOOKS[name] = replace(look, blade=blade, other=leaf, rib=rib)


def _change_story(rng, number, days):
    from render import camera, story, weather

    story.TIMES, story.MORE_TIMES = tuple(dt.time(*at) for at in TIMES), ()
    story.LAST_DAY = min(story.LAST_DAY, story.FIRST_DAY + dt.timedelta(days - 1))
    story._MISHAPS = {
        ((day.month, day.day), clock): state
        for (after, clock), state in MISHAPS.items()
        for day in [story.SOWN + dt.timedelta(after)]
    }
    way, size = rng.uniform(0, 2 * np.pi), rng.uniform(9, 22)
    story.KNOCK_PX = (float(size * np.cos(way)), float(size * np.sin(way)))
    story.KNOCK_DEG = float(rng.uniform(-1.5, 1.5))
    weather.LATITUDE_DEG = float(rng.uniform(38, 56))
    weather.np = camera.np = _Seeded(FIRST_NUMBER + number)
    camera.JPEG_QUALITY = int(rng.integers(76, 92))


def _settle_things():
    """Draw now what would be drawn when it is first asked for, in another order in each process."""
    from render import textures
    from render import visitor as visitors

    boards = textures.wood()
    textures.wood = lambda: boards
    for after, _ in MISHAPS:
        _ = visitors._POSES[after]


def change(number, days):
    """Make the generator that of another season; once in a process, before anything is made."""
    sys.path.insert(0, str(GENERATOR))
    rng = np.random.default_rng([HIGHEST_SEASON_SEED, number])
    before = _change_view(rng)
    _change_plants(rng, FIRST_NUMBER + number)
    _change_story(rng, number, days)
    _change_things(rng, FIRST_NUMBER + number)
    _settle_things()
    _change_outlines(before)


def _share(job):
    """A share of a season's truth and frames, in a process of its own."""
    out, number, days, share, of = job
    change(number, days)
    from render import make, story

    frames = story.frames()
    mine = range(share, len(frames), of)
    rows = [make._truth_of((out, k)) for k in mine if frames[k].state != "truncated"]
    with tempfile.TemporaryDirectory() as scratch:
        from render.textures import write_all

        write_all(Path(scratch) / "textures")
        wanted = [frames[k] for k in mine]
        for done, path in enumerate(make.render(out, wanted, make.SAMPLES, Path(scratch)), 1):
            print(f"{done} of {len(wanted)}: {path.name}", flush=True)
    return dict(zip((k for k in mine if frames[k].state != "truncated"), rows, strict=True))


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--number", type=int, default=1)
    parser.add_argument("--days", type=int, default=75)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    jobs = [(given.out, given.number, given.days, k, given.workers) for k in range(given.workers)]
    with multiprocessing.get_context("spawn").Pool(given.workers, maxtasksperchild=1) as pool:
        parts = pool.map(_share, jobs, chunksize=1)
    change(given.number, given.days)
    from render import make, season_files, story

    rows = [row for _, row in sorted(pair for part in parts for pair in part.items())]
    season_files.write_texts(given.out)
    season_files.write_frames_table(given.out, story.frames())
    areas, cameras = [row for rows_of, _ in rows for row in rows_of], [row for _, row in rows]
    season_files.write_rows(given.out / "truth" / "areas.csv", season_files.AREAS, areas)
    season_files.write_rows(given.out / "truth" / "camera.csv", make.CAMERA_COLUMNS, cameras)


if __name__ == "__main__":
    main()

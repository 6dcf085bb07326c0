"""Render benches that are not the sample season's, to train the canopy model on.

    python tests/render_training_frames.py --out DIR --benches 12 --frames 4

Needs the generator's own environment (see sample_frames/render/README.md). Each bench has plants
grown from other seeds, other leaf colours, boards, pots, soil, light, latitude, distance and place
of the camera than the sample season, so that a score on the sample season is taken on plants,
things and light that the model has never seen. What the generator knows of leaf shapes is shared.

Kept are the linear light of a frame and its truth at nine samples a pixel: the training script
develops them with other blur, sharpening, tone, noise and compression every time. About 20 seconds
a frame on one core; a bench that is there is not made again.
"""

import argparse
import datetime as dt
import multiprocessing
import sys
import tempfile
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
SEED = 90417
HIGHEST_SEASON_SEED = 10_000
"""The sample season's seeds lie below this; ours above."""

BOARDS = (
    # sRGB colour the boards' mean is brought to, and how much of their pattern stays
    ((142, 122, 99), 1.0),
    ((186, 156, 112), 1.0),
    ((104, 78, 54), 0.9),
    ((150, 150, 146), 0.5),
    ((196, 190, 178), 0.5),
    ((92, 96, 100), 0.6),
    ((128, 92, 76), 0.8),
    ((112, 128, 138), 0.6),
)
POTS = (
    ((170, 100, 70), (198, 146, 118)),
    ((188, 120, 84), (206, 160, 134)),
    ((148, 78, 56), (176, 112, 90)),
    ((196, 190, 176), (210, 206, 196)),
    ((120, 104, 92), (146, 132, 122)),
    ((62, 78, 104), (80, 94, 118)),
)
FIRST_BENCHES = 24
"""From this bench on there are flowers, narrower and broader straws, more red leaves and seedlings:
what a model trained on the benches before found hardest."""

GROWN_TRAYS = 72
"""From this bench on the trays' plugs have grown until they nearly meet, and narrow views look at
them: before, nearly all of those that the camera saw were seedlings."""

LOW_SUNS, LOW_DEG = 256, (7, 28)
"""From this bench on the sun stands so low, and mostly shines: warm soil between straws in such
light was taken for leaf."""

NARROW_AND_RED = ("chives", "chives", "chives", "red lettuce", "red lettuce", "chard", "rocket",
                  "basil", "sunflower", "sunflower", "green lettuce", "pak choi")  # fmt: skip
PLUGS = ("corn salad", "corn salad", "red lettuce", "green lettuce", "basil", "rocket", "chives",
         "pak choi", "chard")  # fmt: skip
PETALS = ((240, 178, 22), (236, 232, 222), (226, 120, 30), (214, 120, 160), (120, 84, 170),
          (196, 60, 50), (244, 214, 60))  # fmt: skip
DISCS = ((66, 44, 22), (150, 120, 40), (206, 168, 50), (84, 96, 40))
CLOTHS = ((70, 92, 124), (122, 48, 46), (96, 96, 98), (196, 190, 182), (58, 60, 70), (150, 112, 70))
LEAVES = ("green lettuce", "red lettuce", "red lettuce", "pak choi", "chard", "rocket", "basil",
          "sunflower", "chives", "corn salad")  # fmt: skip


class _Seeded:
    """numpy with every random stream shifted by a bench's number."""

    def __init__(self, bench):
        self._bench, self.random = bench, self

    def default_rng(self, seed):
        flat = [seed] if np.isscalar(seed) else list(seed)
        return np.random.default_rng([HIGHEST_SEASON_SEED + self._bench, *flat])

    def __getattr__(self, name):
        return getattr(np, name)


def _near(colour, rng, spread=0.10):
    """A colour beside another: every channel by some per cent, all of them by more."""
    gains = np.exp(rng.normal(0, spread, 3)) * np.exp(rng.normal(0, 1.6 * spread))
    return tuple(int(v) for v in np.clip(np.array(colour) * gains, 4, 246))


def _change_layout(rng, bench):
    """Camera height, width of view and place; must run before other modules read them."""
    from render import layout

    layout.VIEW_WIDTH_M = float(rng.uniform(0.62, 1.5))
    layout.CAMERA_HEIGHT_M = float(rng.uniform(1.2, 1.9))
    layout.FOCAL_PX = layout.WIDTH * layout.CAMERA_HEIGHT_M / layout.VIEW_WIDTH_M
    layout.PX_PER_CM = layout.FOCAL_PX / layout.CAMERA_HEIGHT_M / 100
    room = max(0.0, 1.36 - layout.VIEW_WIDTH_M) / 2
    place = rng.uniform(-room, room), rng.uniform(-0.75 * room, 0.75 * room)
    if bench >= GROWN_TRAYS and rng.uniform() < 0.6:
        place = rng.uniform(0.1, 0.46), rng.uniform(-0.42, -0.2)
    layout.CAMERA_PLACE = (*map(float, place), layout.CAMERA_HEIGHT_M)
    layout.MOUNTING_TILT_DEG = tuple(rng.normal(0, 1.5, 3))
    kinds = ("terracotta", "plastic")
    from dataclasses import replace

    layout._AT_FIRST = tuple(
        replace(c, kind=str(rng.choice(kinds)), x=c.x + rng.normal(0, 0.01)) if c.is_round else c
        for c in layout._AT_FIRST
    )


def _change_plants(rng, bench):
    """Other species in the pots, other seeds, other colours of leaf."""
    from dataclasses import replace

    from render import story, textures

    plugs = str(rng.choice(PLUGS)) if bench >= FIRST_BENCHES else "corn salad"
    leaves = NARROW_AND_RED if bench >= FIRST_BENCHES else LEAVES

    def other(number, plant):
        species = plugs if plant.group else str(rng.choice(leaves))
        return replace(plant, species=species, vigour=float(rng.uniform(0.8, 1.15)),
                       seed=HIGHEST_SEASON_SEED + 1000 * bench + number)  # fmt: skip

    story.PLANTS = tuple(other(n, p) for n, p in enumerate(story.PLANTS))
    for name, look in list(textures.LOOKS.items()):
        blade, leaf, rib = (_near(c, rng) for c in (look.blade, look.other, look.rib))
        if name == "basil" and bench % 3 == 1:  # the purple kind
            blade, leaf, rib = _near((74, 46, 66), rng), _near((62, 30, 54), rng), (120, 84, 104)
        textures.LOOKS[name] = replace(look, blade=blade, other=leaf, rib=rib)


def _change_things(rng, bench):
    """Other boards, pots, soil, cloth; soil and boards of another pattern."""
    from render import bench as things
    from render import materials, textures
    from render import visitor as visitors

    colour, pattern = BOARDS[bench % len(BOARDS)]
    drawn = textures.wood

    def boards():
        found = drawn().astype(np.float32)
        return np.clip((found - found.mean((0, 1))) * pattern + _near(colour, rng, 0.04), 0, 255)

    textures.wood = boards
    plain = materials._PLAIN
    pots = POTS[rng.integers(len(POTS))]
    plain["terracotta"] = (_near(pots[0], rng, 0.05), _near(pots[1], rng, 0.05), 16, 1.0)
    for name in ("plastic", "trough", "tray", "glove", "straw", "paving"):
        one, two, *rest = plain[name]
        plain[name] = (_near(one, rng, 0.06), _near(two, rng, 0.06), *rest)
    cloth = CLOTHS[rng.integers(len(CLOTHS))]
    plain["cloth"] = (_near(cloth, rng), _near(cloth, rng), 40, 1.0)
    tint, linear = np.exp(rng.normal(0, 0.10, 3)) * np.exp(rng.normal(0, 0.3)), things.to_linear
    things.to_linear = lambda colour: np.clip(linear(colour) * tint, 0, 1)
    things.np = textures.np = _Seeded(bench)

    class Anywhere(dict):
        def __missing__(self, day):
            hand = (*rng.uniform(-0.3, 0.3, 2), rng.uniform(0.12, 0.2))
            self[day] = (hand, (*rng.uniform(-0.35, 0.2, 2), 0.48) if rng.uniform() < 0.5 else None)
            return self[day]

    visitors._POSES = Anywhere()


def _change_flowers(rng):
    """Flowers of other colours and sizes on plants of any kind; straws of other widths."""
    from render import flower, materials, plants, textures
    from render.mesh import Mesh

    petal, disc = (kinds[rng.integers(len(kinds))] for kinds in (PETALS, DISCS))
    materials._PLAIN["petal"] = (_near(petal, rng, 0.05), _near(petal, rng, 0.05), 60, 0.6)
    materials._PLAIN["flower disc"] = (_near(disc, rng, 0.06), _near(disc, rng, 0.06), 320, 1.0)
    look = textures.LOOKS["seed leaf"]
    reddish = np.float32([1, 1, 1]) if rng.uniform() < 0.6 else np.float32([1.0, 0.62, 0.8])
    changed = (tuple(int(v) for v in np.array(c) * reddish) for c in (look.blade, look.other))
    from dataclasses import replace

    textures.LOOKS["seed leaf"] = replace(
        look, **dict(zip(("blade", "other"), changed, strict=True))
    )
    plants.FLOWERS_FROM = float(rng.uniform(25, 62))
    width, tube = float(np.exp(rng.uniform(np.log(0.6), np.log(2.0)))), plants.tube

    def straw(path, thick, thin, *rest):
        return tube(path, thick * width if rest else thick, thin * width if rest else thin, *rest)

    plants.tube = straw
    bare = plants.Plant.mesh

    def flowering(plant, area_cm2, foot, floor, *rest):
        mesh, leaves = bare(plant, area_cm2, foot, floor, *rest)
        draw = np.random.default_rng([plant.seed, int(area_cm2 * 100)])
        if plant.species == "sunflower" or area_cm2 < 20 or draw.uniform() < 0.75:
            return mesh, leaves
        points = np.concatenate(mesh.points)
        for _ in range(int(draw.integers(1, 7))):
            alone = Mesh()
            top = points[draw.integers(len(points))] + [0, 0, draw.uniform(0.005, 0.04)]
            flower.add_flower(alone, np.zeros(3), float(draw.uniform(0.3, 1)), 0.0, draw)
            scale = draw.uniform(0.1, 0.6)
            for at, uv, quads, tint, names in zip(
                alone.points, alone.uv, alone.quads, alone.tint, alone.material, strict=True
            ):
                mesh.points.append(at * scale + top), mesh.uv.append(uv), mesh.tint.append(tint)
                mesh.quads.append(quads + mesh.count), mesh.material.append(names)
            mesh.count += alone.count
        return mesh, leaves

    plants.Plant.mesh = flowering


def _change_moments(rng, bench):
    """Plants of any size together, hanging or eaten; any sky."""
    from render import moment, story, weather

    def size(name, time):
        plant = next(p for p in story.PLANTS if p.name == name)
        draw = np.random.default_rng([SEED, plant.seed, int(time * 1440)])
        if draw.uniform() < 0.06:
            return 0.0
        if bench >= FIRST_BENCHES:
            large = {"chives": 420, "basil": 620, "rocket": 400, "chard": 900, "sunflower": 800,
                     "pak choi": 1000}.get(plant.species, 1800)  # fmt: skip
            if plant.group:
                if bench >= GROWN_TRAYS:
                    return float(np.exp(draw.uniform(np.log(8), np.log(75))))
                large = 60
            return float(large * np.exp(np.log(0.0008 if not plant.group else 0.005)
                                        * draw.uniform() ** 1.3))  # fmt: skip
        largest = {"chives": 420, "corn salad": 40, "basil": 620, "rocket": 400, "chard": 900,
                   "sunflower": 690, "pak choi": 1000}.get(plant.species, 1800)  # fmt: skip
        return float(largest * np.exp(draw.uniform(np.log(0.004), 0)))

    moment.leaf_area_cm2 = size
    skies = np.random.default_rng(rng.integers(1 << 30))
    clouds = {}

    def cloud(at):
        if at not in clouds:
            clear = skies.uniform() < (0.75 if bench >= LOW_SUNS else 0.5)
            clouds[at] = float(skies.uniform(0, 0.12) if clear else skies.uniform(0.3, 1))
        return clouds[at]

    weather.cloud = moment.cloud = cloud
    weather.LATITUDE_DEG = float(rng.uniform(34, 58))
    weather.wetness = lambda time: float(np.random.default_rng(int(time * 1440)).uniform())
    story.gnawed = lambda name, time: float(max(0, np.sin(time * 7)))
    story.limpness = lambda name, time: 0.0


def _moment(rng, bench):
    """When a frame is taken: by day, from May to August, or while the sun stands low."""
    from render import weather

    first = dt.datetime(2029, 5, 1, tzinfo=dt.UTC)
    if bench < LOW_SUNS:
        return first + dt.timedelta(
            days=int(rng.integers(0, 100)), hours=float(rng.uniform(6.5, 16.5))
        )
    while True:
        at = first + dt.timedelta(days=int(rng.integers(-60, 130)), hours=float(rng.uniform(4, 20)))
        if LOW_DEG[0] < np.degrees(weather.sun(at)[1]) < LOW_DEG[1]:
            return at


def make_bench(job):
    """Render one bench's frames; in a process of its own, for it changes the generator."""
    number, frames, out, generator = job
    sys.path.insert(0, str(generator))
    rng = np.random.default_rng([SEED, number])
    _change_layout(rng, number)
    _change_plants(rng, number)
    _change_things(rng, number)
    if number >= FIRST_BENCHES:
        _change_flowers(rng)
    _change_moments(rng, number)
    from render import layout, moment, story, truth
    from render.raster import Buffer
    from render.scene import Studio
    from render.visitor import visitor_at

    wanted = [
        story.Frame(
            _moment(rng, number),
            "obstructed" if (number + k) % 4 == 3 else "usable",
        )
        for k in range(frames)
    ]
    with tempfile.TemporaryDirectory() as scratch:
        studio = None
        for k, frame in enumerate(wanted):
            path = out / f"bench-{number:02d}-{k}.npz"
            if path.exists():
                continue
            studio = studio or Studio(Path(scratch), 4)
            light = studio.picture(frame).astype(np.float16)
            view = layout.View(*story.camera_turn(story.day_time(frame.moment)))
            plants = [(p, *p.mesh.arrays()[:2]) for p in moment.plants_at(frame.moment)]
            at = moment.bench_at(story.day_time(frame.moment))
            things = [t for pot in at for t in truth.container_things(pot)]
            if frame.state == "obstructed":
                things += visitor_at(frame.moment)

            def seen(points, view=view):
                pixels, depth = view.project(points)
                return pixels * truth.FINE, 1 / depth

            shape = (layout.HEIGHT * truth.FINE, layout.WIDTH * truth.FINE)
            fine = truth._visible(Buffer(*shape), plants, things, seen)
            species = [p.species for p in story.PLANTS]
            part = path.with_suffix(".part.npz")
            np.savez_compressed(part, light=light, plant=fine.astype(np.uint8), species=species,
                                px_per_cm=layout.PX_PER_CM)  # fmt: skip
            part.replace(path)
            print(path.name, f"{layout.PX_PER_CM:.1f} px/cm", frame.state, flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--benches", type=int, default=66)
    parser.add_argument("--first", type=int, default=0, help="number of the first bench")
    parser.add_argument("--frames", type=int, default=4)
    parser.add_argument("--generator", type=Path, default=HERE.parent / "sample_frames")
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    for number in range(given.first, given.benches):
        job = (number, given.frames, given.out, given.generator)
        process = multiprocessing.get_context("spawn").Process(target=make_bench, args=(job,))
        process.start()
        process.join()
        if process.exitcode:
            sys.exit(f"bench {number} failed")


if __name__ == "__main__":
    main()
